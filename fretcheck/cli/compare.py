"""``fretcheck compare``: the same neck before and after work."""

from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from fretcheck.cli.report import document_of
from fretcheck.cli.shared_options import ForceOption, JsonOption, RegisterOption
from fretcheck.cli.shown import exit_code_of
from fretcheck.files import check_place, is_page
from fretcheck.inspection import comparison as comparing
from fretcheck.report.pages.compare_page import compare_page
from fretcheck.report.pages.compare_sheet import compare_sheet
from fretcheck.report.pages.page import write_page
from fretcheck.report.tables.compare_table import print_comparison


def command(
    before: Annotated[str, typer.Argument(metavar="BEFORE", help="Id in the register, or the file of an `inspect --json`.")],
    after: Annotated[str, typer.Argument(metavar="AFTER", help="The same neck after the work.")],
    html: Annotated[Path | None, typer.Option("--html", metavar="FILE", help="Write the comparison as a page too.")] = None,
    sheet: Annotated[
        Path | None, typer.Option("--sheet", metavar="FILE", help="Write it in plain language for the customer, one page.")
    ] = None,
    force: ForceOption = False,
    register: RegisterOption = None,
    json: JsonOption = False,
) -> int:
    """Compare two inspections of one neck: what changed, and whether what was predicted came true.

    The exit code is that of the second inspection's verdict.
    """
    for page in (html, sheet):
        if page is not None:
            check_place(page, is_ours=is_page, force=force)
    first, second = document_of(before, register=register), document_of(after, register=register)
    found = comparing.compare(first, second)
    if html is not None:
        write_page(compare_page(found, first, second), html, force=force)
    if sheet is not None:
        write_page(compare_sheet(found, first, second), sheet, force=force)
    if json:
        print(comparing.to_json(found, first, second))
        return exit_code_of(second)
    console = Console()
    print_comparison(found, first, second, console)
    for page in (html, sheet):
        if page is not None:
            console.print(f"\nPage: {page}", markup=False, highlight=False)
    return exit_code_of(second)
