"""What commands that inspect do with a result: keep it, show it, and end with its exit code."""

from __future__ import annotations

from pathlib import Path

from rich.console import Console

from fretcheck.cli.exits import exit_code_of
from fretcheck.errors import FretcheckError
from fretcheck.inspection.document import InspectionDocument
from fretcheck.register.store import open_register
from fretcheck.report.report_file import usual_name, write_report
from fretcheck.report.terminal import print_result


def keep_and_show(
    document: InspectionDocument,
    *,
    keep: bool | None,
    register: str | None,
    sounds: Path | None,
    as_json: bool,
    opinions: list[str] | None = None,
    report: Path | None = None,
    force: bool = False,
) -> int:
    """Keep the result and show it; a register that fails does not cost the result, which is shown all the same.

    Parameters
    ----------
    keep : bool or None
        None keeps whole inspections, and no fragment.
    report : Path, optional
        Where to write its page; an intake always gets one, for the customer.
    force : bool
        Replace a file there that is no page of fretcheck's.

    Raises
    ------
    FretcheckError
        When it could not be kept or its page not be written, after it was shown.
    """
    failure: FretcheckError | None = None
    if keep or (keep is None and document.verdict.decision is not None):
        try:
            with open_register(register) as store:
                document = store.keep(document, sound_folder=sounds)
        except FretcheckError as error:
            failure = error
    show(document, as_json=as_json, opinions=opinions)
    if keep is None and document.verdict.decision is None and not as_json:
        print("Not kept, for it is a fragment: --keep keeps it all the same.")
    if report is not None or document.conditions.plan == "intake":
        write_page(document, report, as_json=as_json, force=force)
    if failure is not None:
        raise failure
    return exit_code_of(document)


def write_page(document: InspectionDocument, path: Path | None, *, as_json: bool, force: bool) -> None:
    """Write the page of a result, under its usual name in the working folder unless `path` says where, and name it."""
    written = write_report(document, path or Path(usual_name(document)), force=force)
    if not as_json:
        print(f"Report: {written}")


def show(document: InspectionDocument, *, as_json: bool, opinions: list[str] | None = None) -> None:
    """Print the result, as a document or for the eye.

    Parameters
    ----------
    opinions : list of str, optional
        What a second pitch estimator disagrees with; None where it was not asked.
    """
    if as_json:
        if opinions:
            document = document.model_copy(update={"warnings": [*document.warnings, *opinions]})
        print(document.to_json())
        return
    console = Console()
    print_result(document, console)
    if opinions is not None:
        console.print()
        for line in opinions or ["The second pitch estimator agrees with every note within 30 cents."]:
            console.print(line, markup=False, highlight=False)
    if document.id:
        console.print(f"\nKept as inspection {document.id}.", markup=False, highlight=False)
