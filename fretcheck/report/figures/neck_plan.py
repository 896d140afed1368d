"""Where the parts of a neck should be and where they were found: the geometry behind the drawings of it.

Conventions: `along` in mm from the design nut line toward the bridge, `across` 0 at the edge of the last string and 1 at that
of string 1. The spacing of the strings is not known and drawn even. Displacements are multiplied by `NeckPlan.factor` when they
are drawn, so that they can be seen; those of saddles, which may be out by more, by a factor of their own.
"""

from dataclasses import dataclass, replace
from functools import cached_property

from fretcheck.diagnosis.model.as_designed import as_designed
from fretcheck.diagnosis.result import Cause, Finding
from fretcheck.errors import NeckError
from fretcheck.inspection.document import InspectionDocument
from fretcheck.inspection.from_design import causes_from_design
from fretcheck.neck.description import Neck
from fretcheck.neck.neck_file import neck_from_mapping

FACTORS = (40, 30, 20, 10, 5, 2, 1)
SADDLE_REACH_MM = 40.0  # No saddle is drawn farther from its place than this
EDGE = 0.07  # Of the board's width, beyond the outer strings


@dataclass(frozen=True, kw_only=True)
class Displacement:
    """How far a part lies from its place, mm, and its 90 % interval; `tilt` at the outer strings."""

    value: float
    low: float
    high: float
    practical_size: float
    probability: float
    tilt: float = 0.0
    finding: Finding | None = None
    tilt_finding: Finding | None = None

    @property
    def reach(self) -> float:
        """Largest size that is drawn."""
        return max(abs(self.low), abs(self.high), abs(self.value) + abs(self.tilt))


@dataclass(frozen=True, kw_only=True)
class NeckPlan:
    """A neck with what was found of it."""

    neck: Neck
    frets: dict[int, Displacement]
    nut: Displacement | None
    saddles: dict[int, Displacement]

    def across(self, string: int) -> float:
        """Place of a string across the board."""
        count = len(self.neck.strings)
        return 0.5 if count == 1 else 1.0 - EDGE - (string - 1) / (count - 1) * (1.0 - 2.0 * EDGE)

    def side(self, string: int) -> float:
        """+1 at string 1, −1 at the last: what a tilt is multiplied by."""
        count = len(self.neck.strings)
        return 0.0 if count == 1 else 1.0 - 2.0 * (string - 1) / (count - 1)

    def along(self, fret: int, string: int) -> float:
        """Design place of a fret (0: the nut) under a string."""
        return self.neck.nut_offset_mm(string) + self.neck.nut_distance_mm(fret, string)

    def saddle(self, string: int) -> float:
        """Design place of a string's saddle, its setback included."""
        one = self.neck.string(string)
        return self.neck.nut_offset_mm(string) + one.scale_length_mm + self._setbacks_mm[string - 1]

    @cached_property
    def _setbacks_mm(self) -> list[float]:
        return [float(one) for one in as_designed(self.neck).setbacks_mm]

    def nut_edge(self, string: int) -> float:
        """Design place of the nut's edge under a string: before the nut line where the nut is set forward on purpose."""
        return self.along(0, string) + self.neck.string(string).nut_compensation_mm

    def ends(self, fret: int) -> tuple[tuple[int, float], tuple[int, float]]:
        """First and last string that a fret runs under, each with the place across the board where the fret ends there."""
        strings = next((one.strings for one in self.neck.partial_frets if one.fret == fret), None)
        first, last = (1, len(self.neck.strings)) if strings is None else (min(strings), max(strings))
        top = 1.0 if first == 1 else self.across(first) + EDGE
        return (first, top), (last, 0.0 if last == len(self.neck.strings) else self.across(last) - EDGE)

    @cached_property
    def factor(self) -> int:
        """By how much displacements of frets and nut are exaggerated: none may be drawn at its neighbour's place."""
        outer = (1, len(self.neck.strings))
        room = min(
            0.6 * abs(self.along(fret + step, string) - self.along(fret, string)) / max(found.reach, 1e-9)
            for fret, found in self.frets.items()
            for step in (-1, 1)
            if 0 <= fret + step <= self.neck.frets
            for string in outer
        )
        return next((factor for factor in FACTORS if factor < room), 1)

    @cached_property
    def saddle_factor(self) -> int:
        """By how much those of the saddles are."""
        reach = max((found.reach for found in self.saddles.values()), default=0.0)
        return next((one for one in FACTORS if one <= self.factor and one * reach <= SADDLE_REACH_MM), 1)


def plan_of(document: InspectionDocument) -> NeckPlan | None:
    """The plan of a document's neck; None where its description cannot be read or nothing was concluded about frets."""
    try:
        neck = neck_from_mapping(document.neck.description)
    except NeckError:
        return None
    causes = {(one.cause, one.fret, one.string): one for one in reversed(causes_from_design(document, neck))}
    findings = {(one.cause, one.fret, one.string): one for one in document.findings}
    layout = next((one for one in document.findings if one.cause == "layout_rule"), None)

    def found(cause: Cause, fret: int | None, string: int | None) -> Displacement | None:
        part = causes.get((cause, fret, string))
        if part is None or part.unit != "mm":
            return None
        tilt = causes.get(("fret_tilt", fret, None)) if cause == "fret_position" else None
        return Displacement(
            value=part.value,
            low=part.interval_90[0],
            high=part.interval_90[1],
            practical_size=part.practical_size,
            probability=part.probability,
            tilt=0.0 if tilt is None else tilt.value,
            finding=findings.get((cause, fret, string)),
            tilt_finding=findings.get(("fret_tilt", fret, None)),
        )

    frets = {fret: one for fret in range(1, neck.frets + 1) if (one := found("fret_position", fret, None)) is not None}
    if not frets:
        return None
    saddles = {
        string: one
        for string in range(1, len(neck.strings) + 1)
        if (one := found("saddle_position", None, string) or found("saddle_position", None, None)) is not None
    }
    if layout is not None:
        frets = {
            fret: replace(one, finding=one.finding or layout) if abs(one.value) > one.practical_size else one
            for fret, one in frets.items()
        }
    return NeckPlan(neck=neck, frets=frets, nut=found("nut_position", None, None), saddles=saddles)
