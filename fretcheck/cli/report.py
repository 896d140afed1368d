"""``fretcheck report``: one kept inspection as a page to read, print or send."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fretcheck import rooms
from fretcheck.cli.shared_options import (
    ForceOption,
    JobOptions,
    JsonOption,
    LimitsOption,
    RegisterOption,
    print_json,
    with_groups,
)
from fretcheck.errors import UsageError
from fretcheck.files import check_place, is_page

if TYPE_CHECKING:
    from fretcheck.inspection.document import InspectionDocument


@with_groups
def command(
    inspection: Annotated[
        str, typer.Argument(metavar="ID|FILE", help="As `fretcheck list` shows it, or the file of an `inspect --json`.")
    ],
    out: Annotated[Path | None, typer.Option("--out", metavar="FILE", help="Page to write; else report-ID.html here.")] = None,
    sheet: Annotated[
        bool | None,
        typer.Option(
            "--sheet/--no-sheet", help="The customer's condition sheet, one page; usual for an intake, else the technical pages."
        ),
    ] = None,
    technical: Annotated[bool, typer.Option("--technical", help="The technical pages behind the sheet, too.")] = False,
    *,
    job: JobOptions,
    limits: LimitsOption = None,
    force: ForceOption = False,
    register: RegisterOption = None,
    json: JsonOption = False,
) -> None:
    """Write one inspection as a page: a single HTML file that needs nothing else, for screen, phone and paper.

    What was told of customer and job when it was taken stands on the sheet; told here, it stands on this page alone.
    """
    if out is not None:
        check_place(out, is_ours=is_page, force=force)
    document = document_of(inspection, register=register)
    given = {name: value for name, value in rooms.job_part(job, limits=limits) if value is not None}
    document = document.model_copy(update={"job": document.job.model_copy(update=given)})
    path = rooms.write_report(document, out, sheet=sheet, technical=technical, force=force)
    if json:
        print_json({"schema": "fretcheck/report/1", "inspection": document.id, "file": str(path.resolve())})
    else:
        print(f"Report: {path}")


def document_of(wanted: str, *, register: str | None) -> InspectionDocument:
    """The document of an inspection of the register, or of a JSON file.

    Raises UsageError, StorageError when there is none of that id, or the file is none of an inspection.
    """
    if wanted.lower().endswith(".json"):
        documents = rooms.read_json(Path(wanted))
        if len(documents) != 1:
            raise UsageError(f"{wanted} holds {len(documents)} inspections, not one: import it, then ask for one by its id")
        return documents[0]
    with rooms.open_register(register, create=False) as store:
        return store.load(wanted)
