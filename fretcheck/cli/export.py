"""``fretcheck export``: inspections out of the register, as CSV for a spreadsheet or JSON for another register."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from io import TextIOWrapper
from pathlib import Path
from typing import IO, Annotated

import typer
from rich.console import Console
from rich.progress import track

from fretcheck.cli.selection_options import SerialOption, SinceOption, UntilOption, VerdictOption, selection_of
from fretcheck.cli.shared_options import ForceOption, JsonOption, RegisterOption
from fretcheck.errors import UsageError
from fretcheck.files import starts_like, written_whole
from fretcheck.inspection.exchange import CSV_COLUMNS, EXPORT_SCHEMA, write_csv, write_json
from fretcheck.register.store import open_register


def command(
    inspections: Annotated[list[str] | None, typer.Argument(metavar="[ID]...", help="Which; else all that are chosen.")] = None,
    to: Annotated[
        Path | None, typer.Option("--to", metavar="FILE", help="File to write, .csv or .json; else CSV to standard output.")
    ] = None,
    serial: SerialOption = None,
    since: SinceOption = None,
    until: UntilOption = None,
    verdict: VerdictOption = None,
    force: ForceOption = False,
    register: RegisterOption = None,
    json: JsonOption = False,
) -> None:
    """Export inspections: CSV has one row a reading, JSON the whole documents (fretcheck import reads them back)."""
    selection = selection_of(serial=serial, since=since, until=until, verdict=verdict)
    chosen = any(option is not None for option in (serial, since, until, verdict))
    if inspections and chosen:
        raise UsageError("give ids, or --serial, --since, --until and --verdict, not both")
    as_json = _wants_json(to, json)
    with open_register(register, create=False) as store:
        for one in inspections or []:
            store.load(one)  # all are there before the first is written
        ids = inspections or [one.id for one in reversed(store.select(selection))]
        with _writing(to, wants_json=as_json, force=force) as stream:
            console = Console(stderr=True)
            documents = track(
                store.documents(ids),
                "Exporting",
                total=len(ids),
                console=console,
                transient=True,
                disable=to is None or not console.is_terminal,
            )
            count = (write_json if as_json else write_csv)(documents, stream)
    if to is not None:
        print(f"{to}: {count} {'inspections' if as_json else 'readings'}", file=sys.stderr)


def _wants_json(to: Path | None, json: bool) -> bool:
    ending = ".json" if json else ".csv"
    if to is None:
        return json
    if to.suffix.lower() not in (".csv", ".json") or (json and to.suffix.lower() != ".json"):
        raise UsageError(f"--to {to.name}: the name must end in {ending if json else '.csv or .json'}")
    return to.suffix.lower() == ".json"


@contextmanager
def _writing(to: Path | None, *, wants_json: bool, force: bool) -> Iterator[IO[str]]:
    """A stream for UTF-8 text; a file appears under its name only once it is whole."""
    if to is None:
        if isinstance(sys.stdout, TextIOWrapper):
            sys.stdout.reconfigure(encoding="utf-8", newline="")
        yield sys.stdout
        return
    head = f'{{"schema": "{EXPORT_SCHEMA}"' if wants_json else ",".join(CSV_COLUMNS[:4])
    # Spreadsheets take a CSV for UTF-8 only where it starts with the mark.
    encoding = "utf-8" if wants_json else "utf-8-sig"
    with written_whole(to, is_ours=starts_like(head), force=force, encoding=encoding, newline="") as stream:
        yield stream
