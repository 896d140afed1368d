"""Options that select inspections of the register."""

from datetime import date
from typing import Annotated

import typer

from fretcheck.errors import UsageError
from fretcheck.register.selection import Selection

SerialOption = Annotated[str | None, typer.Option("--serial", help="Of the neck, or part of it; capitals do not matter.")]
SinceOption = Annotated[str | None, typer.Option("--since", metavar="DATE", help="First day, such as 2026-03-14.")]
UntilOption = Annotated[str | None, typer.Option("--until", metavar="DATE", help="Last day, included.")]
VerdictOption = Annotated[str | None, typer.Option("--verdict", metavar="pass|fail|undecided", help="Of the inspection.")]


def selection_of(
    *, serial: str | None, since: str | None, until: str | None, verdict: str | None, text: str | None = None
) -> Selection:
    """The options as a selection. Raises UsageError for a date that is none, an unknown verdict, or days in the wrong order."""
    return Selection(serial=serial, since=_day("--since", since), until=_day("--until", until), verdict=verdict, text=text)


def _day(option: str, text: str | None) -> date | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise UsageError(f"{option} {text[:40]!r} is no date: write year-month-day, such as 2026-03-14") from None
