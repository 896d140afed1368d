"""`fretcheck layout NECK`: where every fret and pitch should be."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from fretcheck import rooms
from fretcheck.cli.shared_options import JsonOption, console, print_json
from fretcheck.errors import UsageError


class _Unit(StrEnum):
    MM = "mm"
    IN = "in"


def command(
    neck: Annotated[Path, typer.Argument(metavar="NECK", help="The neck.toml.")],
    unit: Annotated[_Unit, typer.Option(help="Unit of all lengths.")] = _Unit.MM,
    step: Annotated[
        str | None, typer.Option("--round", metavar="STEP", help="Smallest step of your rule in that unit: 0.5, or 1/64.")
    ] = None,
    as_csv: Annotated[bool, typer.Option("--csv", help="Print CSV for a spreadsheet.")] = False,
    json: JsonOption = False,
) -> None:
    """Show where every fret should be and how every note should sound.

    With --round, marks fall on the divisions of your rule and the table tells what that costs in cents at each fret.
    """
    if as_csv and json:
        raise UsageError("choose --csv or --json, not both")
    rounding = None if step is None else rooms.parse_rounding(step, unit=unit.value)
    result = rooms.layout_of(rooms.read_neck(neck), rounding=rounding)
    if json:
        print_json(rooms.layout_document(result, unit=unit.value))
    elif as_csv:
        print(rooms.layout_csv(result, unit=unit.value), end="")
    else:
        console().print(rooms.layout_table(result, unit=unit.value))
