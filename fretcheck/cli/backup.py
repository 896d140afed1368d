"""``fretcheck backup``: a copy of the register, made while it may be in use."""

from pathlib import Path
from typing import Annotated

import typer

from fretcheck.cli.shared_options import JsonOption, RegisterOption, print_json
from fretcheck.register.copying import back_up
from fretcheck.register.store import open_register


def command(
    file: Annotated[Path, typer.Argument(help="New file; of a register on PostgreSQL, one that ends in .json.")],
    register: RegisterOption = None,
    json: JsonOption = False,
) -> None:
    """Copy the register to a new file, and its sound files beside it; the copy opens as a register itself."""
    with open_register(register, create=False) as store:
        count = back_up(store, file)
    if json:
        print_json({"schema": "fretcheck/backup/1", "file": str(file), "inspections": count})
    else:
        print(f"{file}: {count} inspections")
