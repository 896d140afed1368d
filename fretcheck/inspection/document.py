"""The document of an inspection: what `inspect --json` prints, what the register keeps, what reports are made from.

Conventions: field names carry their units. An unknown is null, with its reason in `flags`, `why_not_used` or `warnings`; never
0. Signs are those of the neck's axis: positive lies nearer the bridge, positive cents are sharp.
"""

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from fretcheck.diagnosis.result import (
    CauseEstimate,
    Correction,
    Coverage,
    Decision,
    Finding,
    LayoutHypothesis,
    Predicted,
    Probability,
    Sharpener,
    Verdict,
)  # fmt: skip
from fretcheck.session.placed_reading import ReadingPart, SoundSetAside

SCHEMA: Literal["fretcheck/inspection/2"] = "fretcheck/inspection/2"
FIRST_SCHEMA = "fretcheck/inspection/1"


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class NeckPart(_Part):
    name: str
    serial: str | None = None
    # The whole neck.toml as data, so that the document can be judged again without the file
    description: dict[str, Any] = Field(default_factory=dict)


class FretPart(_Part):
    """A note: deviation = expected + caused + unexplained; null where it was not judged."""

    string: int
    fret: int
    deviation_cents: float | None
    u_cents: float | None
    expected_cents: float | None = None
    caused_cents: float | None = None
    unexplained_cents: float | None = None
    plucked_cents: float | None = None  # Robust mean of the plucks themselves; null where the note was not heard
    probability_out: Probability | None = None
    decision: Decision | None = None
    plucks: int


class ConditionsPart(_Part):
    """How it was measured; what was not told is null."""

    plan: str = "full"
    # Size of the fault that every fret was looked at for, where only what decides was asked for
    look_for_mm: float | None = Field(default=None, gt=0)
    source: str | None = None
    sample_rate_hz: float | None = None
    reference_hz: float | None = None
    operator: str | None = None
    bench: str | None = None
    temperature_c: float | None = None
    humidity_pct: float | None = None
    hand_scatter_cents: dict[int, float] = Field(default_factory=dict)  # Per string, of a single pluck up the neck
    hand_wider_low: float = 0.0  # By how much it is wider at fret 1, as a share, falling to nothing at fret 5
    # Per string: standard uncertainty of the open reference, common to all its notes
    open_u_cents: dict[int, float] = Field(default_factory=dict)
    drift_cents: dict[int, float] = Field(default_factory=dict)
    follows: str | None = None  # Id of the inspection whose corrections were worked on before this fragment was heard
    # From a gauge study, in every note's uncertainty already; null where none was made
    gauge_repeatability_cents: float | None = None


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
    id: str | None = None  # Given by the register when it is kept
    taken_at: str | None = None  # ISO 8601 with offset
    software_version: str | None = None
    neck: NeckPart
    readings: list[ReadingPart]
    frets: list[FretPart]
    findings: list[Finding]
    corrections: list[Correction]
    predicted_after: Predicted
    advice: list[str] = Field(default_factory=list)  # What is to be said of the work besides its steps
    rests_on: list[str] = Field(default_factory=list)  # The measurements by hand that were used
    coverage: Coverage | None = None  # Null in a document of version 0.1
    verdict: Verdict
    warnings: list[str]
    causes: list[CauseEstimate] = Field(default_factory=list)
    layout: list[LayoutHypothesis] = Field(default_factory=list)
    sharpeners: list[Sharpener] = Field(default_factory=list)
    pluck_again: list[tuple[int, int]] = Field(default_factory=list)  # Notes too close to call, the most doubtful first
    missing: list[tuple[int, int]] = Field(default_factory=list)
    set_aside: list[SoundSetAside] = Field(default_factory=list)
    conditions: ConditionsPart = Field(default_factory=ConditionsPart)
    job: JobPart = Field(default_factory=JobPart)

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, populate_by_name=True)

    @model_validator(mode="before")
    @classmethod
    def _from_first(cls, content: Any) -> Any:
        return _upgraded(content) if isinstance(content, dict) and content.get("schema") == FIRST_SCHEMA else content

    def to_json(self, *, indent: int | None = 2) -> str:
        """The document as JSON text, under its contract names."""
        return self.model_dump_json(by_alias=True, indent=indent)


def _upgraded(content: dict[str, Any]) -> dict[str, Any]:
    """A document of version 0.1 in today's shape: shown as it was judged then, what was not known then null.

    A note's value was the mean of its plucks, so it is both deviation and plucked. What is not of its kind is left to be refused.
    """
    answer = {key: value for key, value in content.items() if key != "schema"}
    for name, one_by_one in (("frets", _note), ("corrections", _correction)):
        parts = content.get(name)
        if isinstance(parts, list):
            answer[name] = [one_by_one(part) if isinstance(part, dict) else part for part in parts]
    return answer


def _note(part: dict[str, Any]) -> dict[str, Any]:
    part = dict(part)
    within = part.pop("probability_conforming", None)
    if isinstance(within, float | int):
        part["probability_out"] = 1.0 - within
    part["plucked_cents"] = part.get("deviation_cents")
    return part


def _correction(part: dict[str, Any]) -> dict[str, Any]:
    move = {name: part[name] for name in ("part", "string", "fret", "move_mm", "u_mm") if name in part}
    rest = {name: value for name, value in part.items() if name not in move and name != "worst_after_cents"}
    predicted = {"worst_cents": part.get("worst_after_cents"), "probability_within": None}
    return {**rest, "kind": "repair", "moves": [move], "predicted": predicted}
