"""The report of an inspection as a file: the page that fits its plan.

An intake gets the customer's condition sheet, every other plan the technical pages.
"""

import re
from pathlib import Path

from fretcheck.inspection.document import InspectionDocument
from fretcheck.report.pages.condition_sheet import condition_sheet
from fretcheck.report.pages.inspection_page import inspection_page
from fretcheck.report.pages.page import write_page


def write_report(
    document: InspectionDocument, path: Path | None, *, sheet: bool | None = None, technical: bool = False, force: bool = False
) -> Path:
    """Write the report of `document` whole or not at all, and return its path: its usual name here where `path` is None.

    `sheet`: the customer's condition sheet; None: where the plan was ``intake``. `technical`: the technical pages behind the
    sheet, too.
    Raises StorageError when the file cannot be written.
    """
    page = report_page(document, sheet=sheet, technical=technical)
    return write_page(page, path or Path(usual_name(document)), force=force)


def report_page(document: InspectionDocument, *, sheet: bool | None = None, technical: bool = False) -> str:
    """The page that `write_report` writes."""
    if sheet if sheet is not None else document.conditions.plan == "intake":
        return condition_sheet(document, technical=technical)
    return inspection_page(document)


def usual_name(document: InspectionDocument) -> str:
    """A file name for a document's report: plain letters, digits and hyphens of its id, or else its serial or name."""
    name = document.id or document.neck.serial or document.neck.name
    plain = re.sub(r"[^A-Za-z0-9]+", "-", name).strip("-")[:60]
    return f"report-{plain or 'inspection'}.html"
