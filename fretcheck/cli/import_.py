"""``fretcheck import``: inspections that another register exported."""

from pathlib import Path
from typing import Annotated

import typer

from fretcheck.cli.shared_options import JsonOption, RegisterOption, print_json
from fretcheck.inspection.exchange import read_json
from fretcheck.register.store import open_register


def command(
    file: Annotated[Path, typer.Argument(help="JSON that `fretcheck export` wrote, or `fretcheck inspect --json` printed.")],
    register: RegisterOption = None,
    json: JsonOption = False,
) -> None:
    """Add exported inspections to the register, all or none; what is there already is not added twice."""
    documents = read_json(file)
    with open_register(register) as store:
        done = store.import_documents(documents)
    if json:
        rows = [{"id": one.id, "was": one.was, "new": one.new} for one in done]
        print_json({"schema": "fretcheck/import/1", "inspections": rows})
        return
    new = sum(one.new for one in done)
    print(f"{new} added, {len(done) - new} there already.")
    for one in done:
        if one.new and one.was is not None and one.was != one.id:
            print(f"{one.was!r} was taken: kept as {one.id}.")
