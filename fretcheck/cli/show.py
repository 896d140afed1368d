"""``fretcheck show``: one kept inspection, as it was shown when it was made, and how it was measured."""

from typing import Annotated

import typer
from rich.console import Console

from fretcheck.cli.shared_options import JsonOption, RegisterOption
from fretcheck.register.store import open_register
from fretcheck.report.tables.register_tables import circumstances
from fretcheck.report.tables.terminal import print_result


def command(
    inspection: Annotated[str, typer.Argument(metavar="ID", help="As `fretcheck list` shows it, such as 260314-2.")],
    register: RegisterOption = None,
    json: JsonOption = False,
) -> None:
    """Show one inspection from the register."""
    with open_register(register, create=False) as store:
        document = store.load(inspection)
        if json:
            print(document.to_json())
            return
        console = Console()
        print_result(document, console)
        console.print(circumstances(document, sounds=store.sounds_of(document)))
