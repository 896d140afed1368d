"""The register's own commands: `list`, `show`, `search`, `export`, `import` and `backup`."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import date
from io import TextIOWrapper
from pathlib import Path
from typing import IO, TYPE_CHECKING, Annotated

import typer

from fretcheck import rooms
from fretcheck.cli.shared_options import ForceOption, JsonOption, RegisterOption, console, print_json, with_groups
from fretcheck.errors import UsageError
from fretcheck.files import starts_like, written_whole
from fretcheck.plain_text import plain_line

if TYPE_CHECKING:
    from fretcheck.register.selection import Selection

LimitOption = Annotated[int, typer.Option("--limit", min=1, help="Show at most this many.")]


@dataclass(frozen=True, kw_only=True)
class ChoiceOptions:
    """Options that select inspections of the register."""

    serial: Annotated[str | None, typer.Option(help="Of the neck, or part of it; capitals do not matter.")] = None
    since: Annotated[str | None, typer.Option(metavar="DATE", help="First day, such as 2026-03-14.")] = None
    until: Annotated[str | None, typer.Option(metavar="DATE", help="Last day, included.")] = None
    verdict: Annotated[str | None, typer.Option(metavar="pass|fail|undecided", help="Of the inspection.")] = None

    def selection(self, *, text: str | None = None) -> Selection:
        """The options as a selection. Raises UsageError for no date, an unknown verdict, or days in the wrong order."""
        since, until = _day("--since", self.since), _day("--until", self.until)
        return rooms.Selection(serial=self.serial, since=since, until=until, verdict=self.verdict, text=text)


def _day(option: str, text: str | None) -> date | None:
    try:
        return None if text is None else date.fromisoformat(text.strip())
    except ValueError:
        raise UsageError(f"{option} {str(text)[:40]!r} is no date: write year-month-day, such as 2026-03-14") from None


@with_groups
def list_(*, limit: LimitOption = 50, register: RegisterOption = None, json: JsonOption = False) -> None:
    """List the inspections kept, newest first."""
    _print_found(ChoiceOptions().selection(), register=register, limit=limit, as_json=json)


@with_groups
def search_(
    text: Annotated[
        str | None, typer.Argument(help="Words as they stand in a name, serial, operator, device, finding or correction.")
    ] = None,
    *,
    choice: ChoiceOptions,
    limit: LimitOption = 50,
    register: RegisterOption = None,
    json: JsonOption = False,
) -> None:
    """Find inspections; all that is given must hold. Shows the newest first."""
    _print_found(choice.selection(text=text), register=register, limit=limit, as_json=json)


def _print_found(selection: Selection, *, register: str | None, limit: int, as_json: bool) -> None:

    with rooms.open_register(register, create=False) as store:
        found = store.select(selection, limit=limit)
        total = len(found) if len(found) < limit else store.count(selection)
        place = str(store.location)
    if as_json:
        print_json({"schema": "fretcheck/list/1", "total": total, "inspections": [asdict(one) for one in found]})
    elif not found:
        print(f"No inspection found in {plain_line(place)}.")
    else:
        screen = console()
        screen.print(rooms.summary_table(found, width=screen.width))
        if total > len(found):
            print(f"The newest {len(found)} of {total}; --limit {total} shows all.")


def show_(
    inspection: Annotated[str, typer.Argument(metavar="ID", help="As `fretcheck list` shows it, such as 260314-2.")],
    register: RegisterOption = None,
    json: JsonOption = False,
) -> None:
    """Show one inspection from the register."""
    with rooms.open_register(register, create=False) as store:
        document = store.load(inspection)
        if json:
            print(document.to_json())
        else:
            rooms.print_result(document, console())
            console().print(rooms.circumstances(document, sounds=store.sounds_of(document)))


@with_groups
def export_(
    inspections: Annotated[list[str] | None, typer.Argument(metavar="[ID]...", help="Which; else all that are chosen.")] = None,
    to: Annotated[
        Path | None, typer.Option("--to", metavar="FILE", help="File to write, .csv or .json; else CSV to standard output.")
    ] = None,
    *,
    choice: ChoiceOptions,
    force: ForceOption = False,
    register: RegisterOption = None,
    json: JsonOption = False,
) -> None:
    """Export inspections: CSV has one row a reading, JSON the whole documents (fretcheck import reads them back)."""
    from rich.progress import track

    selection = choice.selection()
    if inspections and any(value is not None for value in asdict(choice).values()):
        raise UsageError("give ids, or --serial, --since, --until and --verdict, not both")
    as_json = _wants_json(to, json)
    head = f'{{"schema": "{rooms.EXPORT_SCHEMA}"' if as_json else ",".join(rooms.CSV_COLUMNS[:4])
    with rooms.open_register(register, create=False) as store:
        for one in inspections or []:
            store.load(one)  # all are there before the first is written
        ids = inspections or [one.id for one in reversed(store.select(selection))]
        screen = console(stderr=True)
        quiet = to is None or not screen.is_terminal
        with _writing(to, head, as_json=as_json, force=force) as stream:
            documents = track(store.documents(ids), "Exporting", len(ids), console=screen, transient=True, disable=quiet)
            count = (rooms.write_json if as_json else rooms.write_csv)(documents, stream)
    if to is not None:
        print(f"{to}: {count} {'inspections' if as_json else 'readings'}", file=sys.stderr)


def _wants_json(to: Path | None, json: bool) -> bool:
    if to is None:
        return json
    ending = to.suffix.lower()
    if ending not in (".csv", ".json") or (json and ending != ".json"):
        raise UsageError(f"--to {to.name}: the name must end in {'.json' if json else '.csv or .json'}")
    return ending == ".json"


@contextmanager
def _writing(to: Path | None, head: str, *, as_json: bool, force: bool) -> Iterator[IO[str]]:
    """A stream for UTF-8 text; a file appears under its name only once it is whole."""
    if to is None:
        if isinstance(sys.stdout, TextIOWrapper):
            sys.stdout.reconfigure(encoding="utf-8", newline="")
        yield sys.stdout
        return
    encoding = "utf-8" if as_json else "utf-8-sig"  # Spreadsheets take a CSV for UTF-8 only where it starts with the mark
    with written_whole(to, is_ours=starts_like(head), force=force, encoding=encoding, newline="") as stream:
        yield stream


def import_(
    file: Annotated[Path, typer.Argument(help="JSON that `fretcheck export` wrote, or `fretcheck inspect --json` printed.")],
    register: RegisterOption = None,
    json: JsonOption = False,
) -> None:
    """Add exported inspections to the register, all or none; what is there already is not added twice."""
    documents = rooms.read_json(file)
    with rooms.open_register(register) as store:
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


def backup_(
    file: Annotated[Path, typer.Argument(help="New file; of a register on PostgreSQL, one that ends in .json.")],
    register: RegisterOption = None,
    json: JsonOption = False,
) -> None:
    """Copy the register to a new file, and its sound files beside it; the copy opens as a register itself."""
    with rooms.open_register(register, create=False) as store:
        count = rooms.back_up(store, file)
    if json:
        print_json({"schema": "fretcheck/backup/1", "file": str(file), "inspections": count})
    else:
        print(f"{file}: {count} inspections")
