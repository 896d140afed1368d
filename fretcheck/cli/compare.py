"""``fretcheck compare``: the same neck before and after work."""

from pathlib import Path
from typing import Annotated

import typer

from fretcheck import rooms
from fretcheck.cli.shared_options import ForceOption, HtmlOption, JsonOption, RegisterOption, console
from fretcheck.files import check_place, is_page


def command(
    before: Annotated[str, typer.Argument(metavar="BEFORE", help="Id in the register, or the file of an `inspect --json`.")],
    after: Annotated[str, typer.Argument(metavar="AFTER", help="The same neck after the work.")],
    html: HtmlOption = None,
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
    pages = ((html, rooms.compare_page), (sheet, rooms.compare_sheet))
    for path, _ in pages:
        if path is not None:
            check_place(path, is_ours=is_page, force=force)
    first, second = rooms.document_of(before, register=register), rooms.document_of(after, register=register)
    found = rooms.compare(first, second)
    for path, page in pages:
        if path is not None:
            rooms.write_page(page(found, first, second), path, force=force)
    if json:
        print(rooms.to_json(found, first, second))
    else:
        screen = console()
        rooms.print_comparison(found, first, second, screen)
        for path, _ in pages:
            if path is not None:
                screen.print(f"\nPage: {path}")
    return rooms.exit_code_of(second)
