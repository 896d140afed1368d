"""The document of an inspection: what `inspect --json` prints, what the register keeps, what reports are made from.

Conventions: field names carry their units. An unknown is null, with its reason in `flags`, `why_not_used` or `warnings`; never
0. Signs are those of the neck's axis: positive lies nearer the bridge, positive cents are sharp.
"""

from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from fretcheck.inspection.first_version import FIRST_SCHEMA, upgraded

SCHEMA: Literal["fretcheck/inspection/2"] = "fretcheck/inspection/2"

ROUNDING = 1e-9


def _without_rounding(value: Any) -> Any:
    """A sum of probabilities may pass 0 or 1 by a rounding error; that much is taken off, more is refused."""
    if isinstance(value, float) and -ROUNDING <= value <= 1.0 + ROUNDING:
        return min(max(value, 0.0), 1.0)
    return value


Probability = Annotated[float, BeforeValidator(_without_rounding), Field(ge=0, le=1)]
Decision = Literal["pass", "fail", "undecided"]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class NeckPart(_Part):
    name: str
    serial: str | None = None
    description: dict[str, Any] = Field(default_factory=dict)
    """The whole neck.toml as data, so that the document can be judged again without the file."""


class ReadingPart(_Part):
    string: int
    fret: int
    f1_hz: float | None
    target_hz: float
    deviation_cents: float | None
    u_cents: float | None
    length_expected_mm: float
    length_equivalent_error_mm: float | None
    start_s: float
    used: bool
    flags: list[str]
    why_not_used: str | None = None
    press: Literal["light", "firm"] | None = None
    inharmonicity: float | None = None
    u_inharmonicity: float | None = None
    snr_db: float | None = None
    partials: int = 0
    glide_cents: float | None = None
    sound_file: str | None = None
    sound_sha256: str | None = None


class FretPart(_Part):
    """A note: deviation = expected + caused + unexplained; null where it was not judged."""

    string: int
    fret: int
    deviation_cents: float | None
    u_cents: float | None
    expected_cents: float | None = None
    caused_cents: float | None = None
    unexplained_cents: float | None = None
    plucked_cents: float | None = None
    """Robust mean of the plucks themselves; null where the note was not heard."""
    probability_out: Probability | None = None
    decision: Decision | None = None
    plucks: int


class RivalPart(_Part):
    cause: str
    fret: int | None
    string: int | None
    share: Probability
    text: str


class FindingPart(_Part):
    cause: str
    fret: int | None
    string: int | None
    value_mm: float | None
    u_mm: float | None
    probability: Probability
    text: str
    value_cents: float | None = None
    u_cents: float | None = None
    interval_90: tuple[float, float] | None = None
    shown_by: list[tuple[int, int]] = Field(default_factory=list)
    rivals: list[RivalPart] = Field(default_factory=list)
    decided_by: str | None = None

    @property
    def value(self) -> float | None:
        """In millimetres, or in cents where the cause has no length; None where it has neither."""
        return self.value_mm if self.value_mm is not None else self.value_cents

    @property
    def positive(self) -> bool:
        """Whether the value is known and above zero: a part too near the bridge, or too high."""
        return self.value is not None and self.value > 0.0


class CausePart(_Part):
    """Posterior of every possible cause, the harmless ones included; `value` is in `unit`."""

    cause: str
    fret: int | None
    string: int | None
    value: float
    u: float
    interval_90: tuple[float, float]
    probability: Probability
    practical_size: float
    unit: Literal["mm", "cents"]


class MovePart(_Part):
    part: str
    string: int | None = None
    fret: int | None = None
    end: Literal["treble", "bass"] | None = None
    move_mm: float | None = None
    u_mm: float | None = None
    to_clearance_mm: float | None = None

    @property
    def positive(self) -> bool:
        """Whether the size of the move is known and toward the bridge, or up."""
        return self.move_mm is not None and self.move_mm > 0.0


class StepPredictionPart(_Part):
    worst_cents: float | None
    probability_within: Probability | None


class CorrectionPart(_Part):
    """One step of the work."""

    kind: Literal["repair", "further", "measure"]
    moves: list[MovePart]
    predicted: StepPredictionPart
    text: str
    notes: list[tuple[int, int]] = Field(default_factory=list)
    """To be plucked again, where that is the measurement."""


class PredictedPart(_Part):
    worst_cents: float | None
    worst_90: tuple[float, float] | None = None
    probability_within: Probability | None = None


class CoveragePart(_Part):
    """How many notes were asked for and heard, open ones aside, and the frets where none was."""

    asked: int
    heard: int
    frets_not_listened_to: list[int]
    probability_out_there: Probability | None = None


class WorstPart(_Part):
    string: int
    fret: int
    deviation_cents: float
    probability_conforming: Probability


class VerdictPart(_Part):
    """`decision` is null, with the reason, where too little was heard to judge the neck."""

    decision: Decision | None
    limit_cents: float
    probability_within: Probability | None = None
    reason: str | None = None
    worst: WorstPart | None


class LayoutPart(_Part):
    name: str
    probability: Probability
    text: str


class SharpenerPart(_Part):
    what: str
    fret: int | None
    string: int | None
    cause: str
    u_before: float
    u_after: float
    text: str


class SetAsidePart(_Part):
    string: int | None
    start_s: float
    end_s: float
    reason: str


class ConditionsPart(_Part):
    """How it was measured; what was not told is null."""

    plan: str = "full"
    look_for_mm: float | None = Field(default=None, gt=0)
    """Size of the fault that every fret was looked at for, where only what decides was asked for."""
    source: str | None = None
    sample_rate_hz: float | None = None
    reference_hz: float | None = None
    operator: str | None = None
    temperature_c: float | None = None
    humidity_pct: float | None = None
    hand_scatter_cents: dict[int, float] = Field(default_factory=dict)
    """Per string, of a single pluck up the neck."""
    hand_wider_low: float = 0.0
    """By how much it is wider at fret 1, as a share, falling to nothing at fret 5."""
    open_u_cents: dict[int, float] = Field(default_factory=dict)
    """Per string: standard uncertainty of the open reference, common to all its notes."""
    drift_cents: dict[int, float] = Field(default_factory=dict)
    follows: str | None = None
    """Id of the inspection whose corrections were worked on before this fragment was heard."""
    gauge_repeatability_cents: float | None = None
    """From a gauge study, in every note's uncertainty already; null where none was made."""


JobText = Annotated[str, Field(max_length=1000)]


class ShopPart(_Part):
    """Whose paper it is, from the limits file's ``[shop]``."""

    name: JobText
    address: JobText | None = None
    phone: JobText | None = None
    email: JobText | None = None
    web: JobText | None = None


class JobPart(_Part):
    """What a shop's paper tells besides the measurement; what was not told is null, and a blank line on the sheet."""

    customer: JobText | None = None
    instrument: JobText | None = None
    job: JobText | None = None
    string_set: JobText | None = None
    notes: JobText | None = None
    price: JobText | None = None
    shop: ShopPart | None = None


class InspectionDocument(_Part):
    schema_: Literal["fretcheck/inspection/2"] = Field(default=SCHEMA, alias="schema")
    id: str | None = None
    """Given by the register when it is kept."""
    taken_at: str | None = None
    """ISO 8601 with offset."""
    software_version: str | None = None
    neck: NeckPart
    readings: list[ReadingPart]
    frets: list[FretPart]
    findings: list[FindingPart]
    corrections: list[CorrectionPart]
    predicted_after: PredictedPart
    advice: list[str] = Field(default_factory=list)
    """What is to be said of the work besides its steps."""
    rests_on: list[str] = Field(default_factory=list)
    """The measurements by hand that were used."""
    coverage: CoveragePart | None = None
    """Null in a document of version 0.1."""
    verdict: VerdictPart
    warnings: list[str]
    causes: list[CausePart] = Field(default_factory=list)
    layout: list[LayoutPart] = Field(default_factory=list)
    sharpeners: list[SharpenerPart] = Field(default_factory=list)
    pluck_again: list[tuple[int, int]] = Field(default_factory=list)
    """Notes too close to call, the most doubtful first."""
    missing: list[tuple[int, int]] = Field(default_factory=list)
    set_aside: list[SetAsidePart] = Field(default_factory=list)
    conditions: ConditionsPart = Field(default_factory=ConditionsPart)
    job: JobPart = Field(default_factory=JobPart)

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, populate_by_name=True)

    @model_validator(mode="before")
    @classmethod
    def _from_first(cls, content: Any) -> Any:
        return upgraded(content) if isinstance(content, dict) and content.get("schema") == FIRST_SCHEMA else content

    def to_json(self, *, indent: int | None = 2) -> str:
        """The document as JSON text, under its contract names."""
        return self.model_dump_json(by_alias=True, indent=indent)
