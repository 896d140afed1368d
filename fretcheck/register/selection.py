"""Which inspections are meant, and the short record of each that lists show.

Conventions: text and serials compare without regard to case, width of characters, or runs of spaces. A date means that whole day
in this machine's time zone; `until` includes it.
"""

import unicodedata
from dataclasses import dataclass, fields
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, Literal, get_args

from sqlalchemy import ColumnElement, Select, select

from fretcheck.errors import UsageError
from fretcheck.register.tables import INSPECTIONS, NECKS

Decision = Literal["pass", "fail", "undecided", "none"]  # As in the table: none where too little was heard to judge the neck
_LAST_DAY = date.max - timedelta(days=2)


@dataclass(frozen=True, kw_only=True)
class Selection:
    """What to look for; None asks for nothing. All that is given must hold."""

    serial: str | None = None
    since: date | None = None
    until: date | None = None
    verdict: str | None = None
    text: str | None = None  # Found anywhere in id, serial, name, operator, device, findings, corrections or the verdict's reason

    def __post_init__(self) -> None:
        if self.verdict is not None and self.verdict not in get_args(Decision):
            raise UsageError(f"verdict {self.verdict!r} is none of {', '.join(get_args(Decision))}")
        if self.since is not None and self.until is not None and self.since > self.until:
            raise UsageError(f"since {self.since.isoformat()} lies after until {self.until.isoformat()}: nothing can be found")


@dataclass(frozen=True, kw_only=True)
class InspectionSummary:
    """One line of a list."""

    id: str
    taken_at: str | None  # ISO 8601 with the bench's offset; None where the document does not tell
    serial: str | None
    name: str
    decision: Decision
    limit_cents: float
    worst_string: int | None
    worst_fret: int | None
    worst_cents: float | None
    findings: int
    operator: str | None
    plan: str


def folded(text: str) -> str:
    """`text` prepared for comparison without regard to case, width or runs of spaces; without NUL, as databases want it."""
    text = text.replace("\0", "\N{REPLACEMENT CHARACTER}")
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())


def conditions(selection: Selection) -> list[ColumnElement[bool]]:
    """The selection as conditions on inspections joined with their necks."""
    wanted: list[ColumnElement[bool]] = []
    if selection.serial is not None:
        wanted.append(NECKS.c.serial_folded.contains(folded(selection.serial), autoescape=True))
    if selection.since is not None:
        wanted.append(INSPECTIONS.c.taken_utc >= _begin(selection.since))
    if selection.until is not None:
        wanted.append(INSPECTIONS.c.taken_utc < _begin(min(selection.until, _LAST_DAY) + timedelta(days=1)))
    if selection.verdict is not None:
        wanted.append(INSPECTIONS.c.decision == selection.verdict)
    if selection.text is not None:
        wanted.append(INSPECTIONS.c.text_folded.contains(folded(selection.text), autoescape=True))
    return wanted


def summaries(selection: Selection) -> Select[*tuple[Any, ...]]:
    """The query for `InspectionSummary` columns, newest first."""
    elsewhere = {"serial": NECKS.c.serial, "name": INSPECTIONS.c.neck_name.label("name")}
    columns: list[Any] = [elsewhere.get(one.name, INSPECTIONS.c.get(one.name)) for one in fields(InspectionSummary)]
    return (
        select(*columns)
        .join_from(INSPECTIONS, NECKS, isouter=True)
        .where(*conditions(selection))
        .order_by(INSPECTIONS.c.taken_utc.desc(), INSPECTIONS.c.key.desc())
    )


def _begin(day: date) -> datetime:
    """First moment of a day in this machine's time zone; at the ends of the calendar, where there is none, in UTC."""
    moment = datetime.combine(day, time.min)
    try:
        return moment.astimezone()
    except (OverflowError, ValueError, OSError):
        return moment.replace(tzinfo=UTC)
