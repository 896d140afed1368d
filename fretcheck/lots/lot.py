"""A lot of necks: its serials, its plan, its sample, what was inspected, and what was decided.

Conventions
-----------
A lot is never edited in place: each step gives a new record. The sample can be drawn once only; a second draw would be
picking. Which necks are drawn follows from the recorded seed alone, for ever and on every machine: a neck's rank is the
SHA-256 of "seed/serial", and the lowest ranks are the sample.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import datetime
from hashlib import sha256
from secrets import randbelow
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from fretcheck.errors import UsageError

LARGEST_RANGE = 10_000
_RANGE = re.compile(r"(?P<prefix>.*?)(?P<first>[0-9]+)\.\.(?P<prefix2>.*?)(?P<last>[0-9]+)")
_NAME = re.compile(r"[\w][\w .+-]{0,79}")

Basis = Literal["attributes", "variables"]
Outcome = Literal["accept", "refuse", "open"]
Name = Annotated[str, Field(min_length=1, max_length=80)]


class _Record(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class PlanPart(_Record):
    """The plan of a lot. By variables `k` is known and `accept` is None; by attributes it is the other way round."""

    basis: Basis
    sample: int
    accept: int | None = None
    k: float | None = None
    source: str
    good: int | None = None
    """Bad necks in a lot that the maker still calls good; None for a standard plan."""
    bad: int | None = None


class DecisionPart(_Record):
    """What was decided, on which counts, in words."""

    outcome: Outcome
    decided_at: str
    bad: int
    undecided: int
    unread: int
    text: str
    risks: tuple[str, ...]
    undecided_counted_as_bad: bool = False


class Lot(_Record):
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
    decision: DecisionPart | None = None
    closed_at: str | None = None
    closing_note: str | None = None

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, populate_by_name=True)

    @property
    def state(self) -> Literal["open", "drawn", "decided", "closed"]:
        """Where the lot stands."""
        if self.closed_at is not None:
            return "closed"
        if self.decision is not None and self.decision.outcome != "open":
            return "decided"
        return "drawn" if self.sample else "open"


def open_lot(*, name: str, serials: Sequence[str], plan: PlanPart, template: str | None = None, now: datetime) -> Lot:
    """A new lot.

    Raises
    ------
    UsageError
        For a name with strange characters, no serials, a serial given twice, or a plan larger than the lot.
    """
    if not _NAME.fullmatch(name):
        raise UsageError(f"lot name {name!r} will not do: up to 80 letters, digits, blanks, or . + - _")
    check_serials(serials)
    if plan.sample > len(serials):
        raise UsageError(f"the plan draws {plan.sample} necks but the lot has only {len(serials)}: check every neck instead")
    return Lot(name=name, opened_at=_moment(now), template=template, serials=tuple(serials), plan=plan)


def draw_sample(lot: Lot, *, seed: int | None = None) -> Lot:
    """Draw the sample. A seed is chosen at random when none is given; it is recorded either way.

    Raises
    ------
    UsageError
        When the sample has been drawn before, or the lot is closed.
    """
    refuse_closed(lot)
    if lot.sample:
        raise UsageError(f"the sample of lot {lot.name!r} was drawn already (seed {lot.seed}): drawing again would be picking")
    chosen = randbelow(1_000_000_000) if seed is None else seed
    drawn = set(sorted(lot.serials, key=lambda serial: rank(serial, seed=chosen))[: lot.plan.sample])
    return lot.model_copy(update={"seed": chosen, "sample": tuple(s for s in lot.serials if s in drawn)})


def rank(serial: str, *, seed: int) -> str:
    """A neck's place in the draw: the smaller, the earlier."""
    return sha256(f"{seed}/{serial}".encode()).hexdigest()


def add_inspections(lot: Lot, inspections: dict[str, str]) -> Lot:
    """Let inspections count for their necks; a later one replaces the earlier one of the same neck.

    Raises
    ------
    UsageError
        For a serial that is not in the lot, a lot without a sample, or one that is decided or closed.
    """
    refuse_closed(lot)
    if not lot.sample:
        raise UsageError(f"lot {lot.name!r} has no sample yet: draw it before inspecting, so that the choice stays random")
    if lot.state == "decided":
        raise UsageError(f"lot {lot.name!r} is decided: later inspections cannot change its sample")
    if strangers := sorted(set(inspections) - set(lot.serials)):
        raise UsageError(f"serial {strangers[0]!r} is not in lot {lot.name!r}")
    return lot.model_copy(update={"inspections": {**lot.inspections, **inspections}})


def close_lot(lot: Lot, *, note: str | None = None, now: datetime) -> Lot:
    """Close a lot; one without a decision needs a note that says why.

    Raises
    ------
    UsageError
        When closed already, or undecided without a note.
    """
    refuse_closed(lot)
    if lot.state != "decided" and not note:
        raise UsageError(f"lot {lot.name!r} is not decided: decide it first, or close it with --note and the reason")
    return lot.model_copy(update={"closed_at": _moment(now), "closing_note": note})


def refuse_closed(lot: Lot) -> None:
    """Raise when the lot is closed."""
    if lot.closed_at is not None:
        raise UsageError(f"lot {lot.name!r} was closed at {lot.closed_at}: open a new one")


def serials_from(words: Iterable[str]) -> tuple[str, ...]:
    """Serials from words such as ``WT-001`` or ``WT-001..WT-060``.

    Examples
    --------
    >>> serials_from(["WT-09..11", "X1"])
    ('WT-09', 'WT-10', 'WT-11', 'X1')
    """
    serials: list[str] = []
    for word in words:
        found = _RANGE.fullmatch(word.strip())
        if found is None:
            if ".." in word:
                raise UsageError(f"{word!r} is no range of serials: write it as WT-001..WT-060")
            serials.append(word.strip())
            continue
        first, last = found["first"], found["last"]
        count = int(last) - int(first) + 1
        if found["prefix2"] not in ("", found["prefix"]) or not 1 <= count <= LARGEST_RANGE:
            raise UsageError(f"{word!r} is no range of serials: write it as WT-001..WT-060")
        serials += [f"{found['prefix']}{number:0{len(first)}d}" for number in range(int(first), int(last) + 1)]
    return tuple(serial for serial in serials if serial)


def check_serials(serials: Sequence[str]) -> None:
    """Raise for none at all, or for one given twice."""
    if not serials:
        raise UsageError("a lot needs the serials of its necks: WT-001..WT-060, or a file with one a line")
    if len(set(serials)) < len(serials):
        twice = next(serial for serial in serials if serials.count(serial) > 1)
        raise UsageError(f"serial {twice!r} is given twice")


def _moment(now: datetime) -> str:
    return now.astimezone().isoformat(timespec="seconds")
