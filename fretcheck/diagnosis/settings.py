"""What counts as worth mentioning, and how much risk a verdict may carry.

Conventions: practical sizes in mm or cents, costs in settings of one saddle; `limit_cents` None takes the neck's own tolerance.
`risk` is the largest accepted probability of a wrong pass (a note outside passed) or of a wrong fail (a note inside failed).
"""

import math
from dataclasses import dataclass, fields
from typing import Literal

from fretcheck.errors import UsageError

SaddleStyle = Literal["none", "whole", "slant", "per_string"]


@dataclass(frozen=True, kw_only=True)
class DiagnosisSettings:
    """Limits of the diagnosis and of the verdict.

    Raises UsageError when a size is not above 0, the risk not between 0 and 0.5, or the guard band negative.
    """

    limit_cents: float | None = None
    risk: float = 0.05
    # None: decide by probability alone. Otherwise pass within limit − band, fail beyond limit + band.
    guard_band_cents: float | None = None
    # Scatter between inspections that one inspection does not see, from a gauge study; it widens every note's uncertainty
    gauge_repeatability_cents: float | None = None
    judge_open_notes: bool = False  # An open note off its pitch is a matter of tuning, not of the neck

    fret_position_mm: float = 0.10
    fret_tilt_mm: float = 0.10
    fret_wear_mm: float = 0.15
    nut_position_mm: float = 0.25
    nut_height_mm: float = 0.15
    saddle_position_mm: float = 0.5
    saddle_slant_mm: float = 0.5  # At the outer strings
    scale_length_mm: float = 0.5
    string_cents: float = 3.0
    tuning_drift_cents: float = 3.0
    finger_pressure_cents: float = 5.0

    # A cause is reported when it exceeds its practical size with at least this probability; `findings` asks less of frets, and
    # more where the notes stray. With 0.6 one more of a hundred sound necks of a mildly real kind got a finding (180)
    finding_probability: float = 0.7
    most_findings: int = 6

    # How saddles can be moved; None goes by the neck's description, and where that is silent takes the easiest that serves
    saddle: SaddleStyle | None = None
    cost_string: float = 1.0
    cost_saddle: float = 1.0
    cost_slots: float = 3.0
    cost_fret: float = 5.0
    cost_seat: float = 7.0
    cost_nut: float = 9.0  # Work at the bench, in settings of one saddle (common practice, no source)
    # How dear a neck is that comes back, in the same unit: work is worth doing for every 0.05 of probability a setting costs
    cost_neck_back: float = 20.0
    # What a filed nut slot leaves over fret 1 at least; None: with the slot 0.20 mm lower than designed
    least_clearance_mm: float | None = None
    most_saddle_mm: float = 4.0
    most_nut_mm: float = 2.0
    most_crown_mm: float = 0.6  # How far a part can be moved (common practice, no source)

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if (field.name.endswith(("_mm", "_cents")) or field.name.startswith("cost_")) and value is not None:
                least_is_zero = field.name == "guard_band_cents" or field.name.startswith("cost_")
                if not math.isfinite(value) or value < 0 or (value == 0 and not least_is_zero):
                    raise UsageError(f"{field.name} = {value}: must be {'0 or more' if least_is_zero else 'above 0'}")
        if not 0 < self.risk < 0.5:
            raise UsageError(f"risk = {self.risk}: must lie between 0 and 0.5 (0.05 is five in a hundred)")
        if not 0 < self.finding_probability < 1:
            raise UsageError(f"finding_probability = {self.finding_probability}: must lie between 0 and 1")
        if self.most_findings < 1:
            raise UsageError(f"most_findings = {self.most_findings}: must be at least 1")
