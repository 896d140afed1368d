"""What is kept of a lot: its plan, its necks, every inspection of each, and what was decided.

Conventions: of each neck its first inspection counts, unless that was undecided or has been marked spoiled with a reason: then
the next one does. Work on a neck between two inspections so cannot turn a failed sample into a passed one; all inspections stay
on record.
"""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from fretcheck.diagnosis.result import Decision

Outcome = Literal["accept", "refuse", "open"]
Name = Annotated[str, Field(min_length=1, max_length=80)]


class Record(BaseModel):
    """What is kept as JSON, and never edited in place."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, populate_by_name=True)


class PlanPart(Record):
    """The plan of a lot. Version 0.1 also knew plans by variables (`k`), which are still shown."""

    basis: Literal["attributes", "variables"] = "attributes"
    sample: int
    accept: int | None = None
    k: float | None = None
    source: str
    good: int | None = None  # Bad necks in a lot that the maker still calls good; None for a standard plan
    bad: int | None = None


class ReadPart(Record):
    """One inspection of a neck of the lot."""

    id: str
    decision: Decision | None
    spoiled: str | None = None  # Why it does not count, where it was marked so


class CorrectionPart(Record):
    """The template was corrected: what was cut before `since` (a moment with offset) says nothing of it any more."""

    since: str
    fret: int | None = None  # None: all of it


class DecisionPart(Record):
    """What was decided, on which counts, in words."""

    outcome: Outcome
    decided_at: str
    bad: int
    undecided: int
    unread: int
    text: str
    risks: tuple[str, ...]
    undecided_counted_as_bad: bool = False


class Lot(Record):
    """A lot and its history. `inspections` gives the inspection that counts for each serial read so far."""

    schema_: Literal["fretcheck/lot/1"] = Field(default="fretcheck/lot/1", alias="schema")
    name: Name
    opened_at: str
    template: str | None = None
    serials: tuple[str, ...]
    plan: PlanPart
    seed: int | None = None
    sample: tuple[str, ...] = ()
    inspections: dict[str, str] = Field(default_factory=dict)
    # By serial, in the order in which they were taken; lots of version 0.1 have none
    reads: dict[str, tuple[ReadPart, ...]] = Field(default_factory=dict)
    decision: DecisionPart | None = None
    # Corrections of its template that were told; kept with the template's first lot that was drawn
    template_corrected: tuple[CorrectionPart, ...] = ()
    closed_at: str | None = None
    closing_note: str | None = None

    @property
    def state(self) -> Literal["open", "drawn", "decided", "closed"]:
        """Where the lot stands."""
        if self.closed_at is not None:
            return "closed"
        if self.decision is not None and self.decision.outcome != "open":
            return "decided"
        return "drawn" if self.sample else "open"


def that_counts(reads: tuple[ReadPart, ...]) -> ReadPart | None:
    """The inspection of a neck that counts; None when all were spoiled."""
    valid = [one for one in reads if one.spoiled is None]
    return next((one for one in valid if one.decision in ("pass", "fail")), valid[-1] if valid else None)
