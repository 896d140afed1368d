"""What commands that inspect do with a result: keep it, show it, and end with its exit code."""

from pathlib import Path

from fretcheck.cli.shared_options import ResultOptions, console
from fretcheck.errors import EXIT_DONE, EXIT_OUT_OF_TOLERANCE, EXIT_UNDECIDED, FretcheckError
from fretcheck.inspection.document import InspectionDocument
from fretcheck.register.store import open_register
from fretcheck.report.pages.report_file import write_report
from fretcheck.report.tables.terminal import print_result

_CODES = {"pass": EXIT_DONE, "fail": EXIT_OUT_OF_TOLERANCE}


def exit_code_of(document: InspectionDocument) -> int:
    """0 within tolerance, 1 out of tolerance, 3 undecided or not judged."""
    return _CODES.get(document.verdict.decision or "", EXIT_UNDECIDED)


def keep_and_show(
    document: InspectionDocument, options: ResultOptions, *, sounds: Path | None, opinions: list[str] | None = None
) -> int:
    """Keep the result and show it; a register that fails does not cost the result, which is shown all the same.

    Raises FretcheckError when it could not be kept or its page not be written, after it was shown.
    """
    failure: FretcheckError | None = None
    kept_before = False
    if options.keep or (options.keep is None and document.verdict.decision is not None):
        try:
            with open_register(options.register) as store:
                kept = store.keep(document, sound_folder=sounds)
            document, kept_before = kept, kept.taken_at != document.taken_at
        except FretcheckError as error:
            failure = error
    show(document, as_json=options.json, opinions=opinions)
    if kept_before and not options.json:
        print("The same sounds had been kept there before, with the same result: nothing was added.")
    if options.keep is None and document.verdict.decision is None and not options.json:
        print("Not kept, for it is a fragment: --keep keeps it all the same.")
    if options.report is not None or document.conditions.plan == "intake":
        written = write_report(document, options.report, force=options.force)
        if not options.json:
            print(f"Report: {written}")
    if failure is not None:
        raise failure
    return exit_code_of(document)


def show(document: InspectionDocument, *, as_json: bool, opinions: list[str] | None = None) -> None:
    """Print the result, as a document or for the eye.

    `opinions`: what a second pitch estimator disagrees with; None where it was not asked.
    """
    if as_json:
        if opinions:
            document = document.model_copy(update={"warnings": [*document.warnings, *opinions]})
        print(document.to_json())
        return
    screen = console()
    print_result(document, screen)
    if opinions is not None:
        screen.print("", *(opinions or ["The second pitch estimator agrees with every note within 30 cents."]), sep="\n")
    if document.id:
        screen.print(f"\nKept as inspection {document.id}.")
