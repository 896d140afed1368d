"""``fretcheck search``: inspections by serial, day, verdict or words."""

from typing import Annotated

import typer

from fretcheck.cli.list import LimitOption, print_found
from fretcheck.cli.selection_options import SerialOption, SinceOption, UntilOption, VerdictOption, selection_of
from fretcheck.cli.shared_options import JsonOption, RegisterOption


def command(
    text: Annotated[
        str | None, typer.Argument(help="Words as they stand in a name, serial, operator, device, finding or correction.")
    ] = None,
    serial: SerialOption = None,
    since: SinceOption = None,
    until: UntilOption = None,
    verdict: VerdictOption = None,
    limit: LimitOption = 50,
    register: RegisterOption = None,
    json: JsonOption = False,
) -> None:
    """Find inspections; all that is given must hold. Shows the newest first."""
    selection = selection_of(serial=serial, since=since, until=until, verdict=verdict, text=text)
    print_found(selection, register=register, limit=limit, as_json=json)
