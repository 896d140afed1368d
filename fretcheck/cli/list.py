"""``fretcheck list``: the inspections in the register, newest first."""

from dataclasses import asdict
from typing import Annotated

import typer
from rich.console import Console
from rich.text import Text

from fretcheck.cli.shared_options import JsonOption, RegisterOption, print_json
from fretcheck.plain_text import plain_line
from fretcheck.register.selection import Selection
from fretcheck.register.store import open_register
from fretcheck.report.tables.register_tables import summary_table

LimitOption = Annotated[int, typer.Option("--limit", min=1, help="Show at most this many.")]
SCHEMA = "fretcheck/list/1"


def command(limit: LimitOption = 50, register: RegisterOption = None, json: JsonOption = False) -> None:
    """List the inspections kept, newest first."""
    print_found(Selection(), register=register, limit=limit, as_json=json)


def print_found(selection: Selection, *, register: str | None, limit: int, as_json: bool) -> None:
    """Open the register, and print what `selection` finds in it: at most `limit`, newest first."""
    with open_register(register, create=False) as store:
        found = store.select(selection, limit=limit)
        total = len(found) if len(found) < limit else store.count(selection)
        place = str(store.location)
    if as_json:
        print_json({"schema": SCHEMA, "total": total, "inspections": [asdict(one) for one in found]})
        return
    console = Console()
    if not found:
        console.print(Text(f"No inspection found in {plain_line(place)}."))
        return
    console.print(summary_table(found, width=console.width))
    if total > len(found):
        console.print(Text(f"The newest {len(found)} of {total}; --limit {total} shows all."))
