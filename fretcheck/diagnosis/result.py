"""What the diagnosis gives back.

Conventions: displacements in mm on the neck's axis, positive toward the bridge; tilt is the displacement at string 1's edge
minus half the difference across (positive: the treble end sits nearer the bridge), quoted at the outer strings; heights in mm,
positive is high. Cents are measured minus target. `u_…` is a standard uncertainty, intervals hold 90 %.
"""

from dataclasses import dataclass, field
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, ConfigDict, Field

Cause = Literal[
    "fret_position", "fret_tilt", "fret_wear", "nut_position", "nut_height", "saddle_position", "saddle_slant", "scale_length",
    "layout_rule", "string", "tuning_drift", "finger_pressure",
]  # fmt: skip
Part = Literal["string", "nut_height", "saddle", "nut", "fret"]
Decision = Literal["pass", "fail", "undecided"]

ROUNDING = 1e-9


def _without_rounding(value: Any) -> Any:
    """A sum of probabilities may pass 0 or 1 by a rounding error; that much is taken off, more is refused."""
    return min(max(value, 0.0), 1.0) if isinstance(value, float) and -ROUNDING <= value <= 1.0 + ROUNDING else value


Probability = Annotated[float, BeforeValidator(_without_rounding), Field(ge=0, le=1)]


class _Result:
    """What is checked where a result becomes part of a document, or is read from one."""

    __pydantic_config__ = ConfigDict(extra="forbid", allow_inf_nan=False, revalidate_instances="always")


@dataclass(frozen=True, kw_only=True)
class CauseEstimate(_Result):
    """Posterior of one possible cause. `value` and `u` are in `unit`."""

    cause: Cause
    fret: int | None
    string: int | None
    value: float
    u: float
    interval_90: tuple[float, float]
    probability: Probability  # That its size exceeds the practical size
    practical_size: float
    unit: Literal["mm", "cents"]


@dataclass(frozen=True, kw_only=True)
class Rival(_Result):
    """A cause with the same signature as a finding's, and its share of the probability of what is seen."""

    cause: Cause
    fret: int | None
    string: int | None
    share: Probability
    text: str


@dataclass(frozen=True, kw_only=True)
class Finding(_Result):
    """A cause worth acting on, in the trade's words. Exactly one of `value_mm` and `value_cents` is known."""

    cause: Cause
    fret: int | None
    string: int | None
    value_mm: float | None
    u_mm: float | None
    probability: Probability
    text: str
    value_cents: float | None = None
    u_cents: float | None = None
    interval_90: tuple[float, float] | None = None
    shown_by: tuple[tuple[int, int], ...] = ()  # The (string, fret) notes that show it most
    rivals: tuple[Rival, ...] = ()
    decided_by: str | None = None  # The one measurement that would tell it from its rivals

    @property
    def value(self) -> float | None:
        """In millimetres, or in cents where the cause has no length; None where it has neither."""
        return self.value_mm if self.value_mm is not None else self.value_cents

    @property
    def positive(self) -> bool:
        """Whether the value is known and above zero: a part too near the bridge, or too high."""
        return self.value is not None and self.value > 0.0


@dataclass(frozen=True, kw_only=True)
class Move(_Result):
    """One part to be moved by `move_mm`; a fret, slot or saddle of one string, or all of them where `string` is None."""

    part: Part
    string: int | None = None
    fret: int | None = None
    end: Literal["treble", "bass"] | None = None  # The end of a straight saddle that is moved, where it is slanted
    move_mm: float | None = None
    u_mm: float | None = None
    to_clearance_mm: float | None = None  # Of a nut slot: what is to be left over fret 1

    @property
    def positive(self) -> bool:
        """Whether the size of the move is known and toward the bridge, or up."""
        return self.move_mm is not None and self.move_mm > 0.0


@dataclass(frozen=True, kw_only=True)
class StepPrediction(_Result):
    """Once a step and those before it are done: the worst note to expect, and the probability that all lie within the limit."""

    worst_cents: float | None
    probability_within: Probability | None


@dataclass(frozen=True, kw_only=True)
class Correction(_Result):
    """One step of the work, or a measurement that comes before it, in the order in which they are done."""

    kind: Literal["repair", "further", "measure"]
    moves: tuple[Move, ...]
    predicted: StepPrediction
    text: str
    notes: tuple[tuple[int, int], ...] = ()  # (string, fret) to be plucked again


@dataclass(frozen=True, kw_only=True)
class Predicted(_Result):
    """The neck once all corrections are done (as it is, where there are none)."""

    worst_cents: float | None  # Expected deviation of the worst note
    worst_90: tuple[float, float] | None = None
    probability_within: Probability | None = None


@dataclass(frozen=True, kw_only=True)
class Note:
    """One note: what it reads under this player's hand, and what that is made of (cents).

    `deviation_cents` is the posterior mean, and exactly expected + caused + unexplained.
    """

    string: int
    fret: int
    deviation_cents: float
    u_cents: float
    expected_cents: float  # Of a perfect neck of these strings
    caused_cents: float  # By everything that the model knows: parts, strings, finger; of an open note its tuning
    unexplained_cents: float  # By no part of the model
    # Robust mean of the plucks themselves; None where the note was not heard. Nothing is decided by it.
    plucked_cents: float | None
    probability_out: float
    decision: Decision  # Out ("fail") or within ("pass") beyond the risk, by itself
    plucks: int


@dataclass(frozen=True, kw_only=True)
class Worst(_Result):
    """The note furthest out."""

    string: int
    fret: int
    deviation_cents: float
    probability_conforming: Probability


@dataclass(frozen=True, kw_only=True)
class Verdict(_Result):
    """Pass, fail or undecided against `limit_cents`, by the probability that all notes asked for conform (JCGM 106)."""

    decision: Decision | None  # None: too little was heard to judge the neck
    limit_cents: float
    # That every note asked for lies within the limit; None where the neck is not judged
    probability_within: Probability | None = None
    reason: str | None = None
    worst: Worst | None


@dataclass(frozen=True, kw_only=True)
class Coverage(_Result):
    """What was listened to. Open notes are not counted."""

    asked: int
    heard: int
    frets_not_listened_to: tuple[int, ...]  # Frets of the neck without a single note
    # That a note at one of these lies outside the limit, as far as the rest of the neck tells
    probability_out_there: Probability | None = None


@dataclass(frozen=True, kw_only=True)
class LayoutHypothesis(_Result):
    """One way the frets may have been laid out, with its posterior probability."""

    name: str
    probability: Probability
    text: str


@dataclass(frozen=True, kw_only=True)
class Sharpener(_Result):
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

    notes: tuple[Note, ...]
    causes: tuple[CauseEstimate, ...]
    findings: tuple[Finding, ...]
    corrections: tuple[Correction, ...]
    predicted: Predicted
    advice: tuple[str, ...]  # What is to be said of the work besides its steps: nothing to do, what may stay, how far work can go
    rests_on: tuple[str, ...]  # The measurements by hand that were used
    verdict: Verdict
    coverage: Coverage
    layout: tuple[LayoutHypothesis, ...] = ()
    sharpeners: tuple[Sharpener, ...] = ()
    # Notes too close to call, the most doubtful first: plucked again they would decide most
    pluck_again: tuple[tuple[int, int], ...] = ()
    hand_scatter_cents: dict[int, float] = field(default_factory=dict)  # Per string, of a single pluck up the neck
    hand_wider_low: float = 0.0  # By how much the hand scatters wider at fret 1, as a share; nothing from fret 5 on
    # Per string: standard uncertainty of the open reference, common to all its notes: scatter of the open plucks, drift
    open_u_cents: dict[int, float] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
