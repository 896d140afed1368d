"""The ``--register`` option of every command that keeps or reads inspections, and the selection options of those that search."""

from datetime import date
from typing import Annotated

import typer

from fretcheck.errors import UsageError
from fretcheck.register.selection import Selection

RegisterOption = Annotated[
    str | None,
    typer.Option(
        "--register",
        metavar="PATH|URL",
        help="Where inspections are kept: file, folder, or postgresql:// URL; else FRETCHECK_REGISTER, else the data folder.",
    ),
]
ForceOption = Annotated[bool, typer.Option("--force", help="Replace a file that is no output of this kind, too.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else.")]
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
