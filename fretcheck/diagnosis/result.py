"""What the diagnosis gives back.

Conventions
-----------
Displacements in mm on the neck's axis, positive toward the bridge; tilt is the displacement at string 1's edge minus
half the difference across (positive: the treble end sits nearer the bridge), quoted at the outer strings; heights in mm,
positive is high. Cents are measured minus target. `u_…` is a standard uncertainty, intervals hold 90 %.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Cause = Literal[
    "fret_position", "fret_tilt", "nut_position", "nut_height", "saddle_position", "scale_length",
    "layout_rule", "string", "tuning_drift", "finger_pressure",
]  # fmt: skip
Part = Literal["string", "nut_height", "saddle", "nut", "fret"]
Decision = Literal["pass", "fail", "undecided"]


@dataclass(frozen=True, kw_only=True)
class CauseEstimate:
    """Posterior of one possible cause. `value` and `u` are in `unit`."""

    cause: Cause
    fret: int | None
    string: int | None
    value: float
    u: float
    interval_90: tuple[float, float]
    probability: float
    """That its size exceeds the practical size."""
    practical_size: float
    unit: Literal["mm", "cents"]


@dataclass(frozen=True, kw_only=True)
class Finding:
    """A cause worth acting on, in the trade's words. Exactly one of `value_mm` and `value_cents` is known."""

    cause: Cause
    fret: int | None
    string: int | None
    value_mm: float | None
    u_mm: float | None
    probability: float
    text: str
    value_cents: float | None = None
    u_cents: float | None = None
    interval_90: tuple[float, float] | None = None
    shown_by: tuple[tuple[int, int], ...] = ()
    """The (string, fret) notes that show it most."""


@dataclass(frozen=True, kw_only=True)
class Correction:
    """One move a repairer could make, in the order in which they would try them."""

    part: Part
    string: int | None
    move_mm: float | None
    u_mm: float | None
    text: str
    fret: int | None = None
    worst_after_cents: float | None = None
    """Worst note predicted once this move and those before it are done."""


@dataclass(frozen=True, kw_only=True)
class NoteExplained:
    """Heard = expected of a perfect neck + what the found causes explain + what remains unexplained (cents)."""

    string: int
    fret: int
    heard_cents: float
    expected_cents: float
    caused_cents: float
    unexplained_cents: float
    u_cents: float
    """Of the heard deviation, the hand's scatter included."""
    probability_conforming: float
    decision: Decision


@dataclass(frozen=True, kw_only=True)
class Worst:
    """The note furthest out."""

    string: int
    fret: int
    deviation_cents: float
    probability_conforming: float


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """Pass, fail or undecided against `limit_cents`, by probability of conformity (JCGM 106)."""

    decision: Decision
    limit_cents: float
    worst: Worst | None
    reason: str


@dataclass(frozen=True, kw_only=True)
class LayoutHypothesis:
    """One way the frets may have been laid out, with its posterior probability."""

    name: str
    probability: float
    log_evidence: float
    text: str


@dataclass(frozen=True, kw_only=True)
class Sharpener:
    """A hand measurement that would narrow the diagnosis, with what it would do to which cause."""

    what: str
    fret: int | None
    string: int | None
    cause: Cause
    u_before: float
    u_after: float
    text: str


@dataclass(frozen=True, kw_only=True)
class Diagnosis:
    """Everything concluded about one neck."""

    notes: tuple[NoteExplained, ...]
    causes: tuple[CauseEstimate, ...]
    findings: tuple[Finding, ...]
    corrections: tuple[Correction, ...]
    predicted_worst_after_cents: float | None
    verdict: Verdict
    layout: tuple[LayoutHypothesis, ...] = ()
    sharpeners: tuple[Sharpener, ...] = ()
    hand_scatter_cents: dict[int, float] | None = None
    """Per string, as estimated from the repeats; None where there were none."""
    warnings: tuple[str, ...] = ()
