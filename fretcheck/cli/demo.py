"""`fretcheck demo`: the main job on the recordings that come with the project."""

from pathlib import Path
from typing import Annotated

import typer

import fretcheck
from fretcheck.cli.shared_options import CrossCheckOption, ForceOption, JsonOption
from fretcheck.errors import RecordingError
from fretcheck.files import check_place, is_page

FOLDER_NAME = "recordings_demo"


def command(
    cross_check: CrossCheckOption = False,
    report: Annotated[Path, typer.Option("--report", metavar="FILE", help="Where to write its page.")] = Path("demo-report.html"),
    picture: Annotated[Path | None, typer.Option("--picture", metavar="FILE", help="Save the screen as an SVG, too.")] = None,
    force: ForceOption = False,
    json: JsonOption = False,
) -> int:
    """Inspect the demo neck: an invented workshop's, with three faults that its truth.json tells.

    Ends with exit code 0 though the neck is out of tolerance: nothing is judged in earnest.
    """
    from fretcheck.cli.inspect.from_folder import inspect_recorded
    from fretcheck.cli.inspect.second_opinion import disagreements
    from fretcheck.cli.shown import show
    from fretcheck.neck.neck_file import read_neck
    from fretcheck.report.pages.report_file import write_report
    from fretcheck.report.pages.screen_picture import is_picture, write_picture

    check_place(report, is_ours=is_page, force=force)
    if picture is not None:
        check_place(picture, is_ours=is_picture, force=force)
    folder = demo_folder()
    document = inspect_recorded(read_neck(folder / "neck.toml"), folder, quiet=json)
    opinions = disagreements(document, folder, quiet=json) if cross_check else None
    show(document, as_json=json, opinions=opinions)
    if picture is not None:
        write_picture(document, picture, force=force)
    write_report(document, report, force=force)
    if not json:
        print(f"\nReport: {report}")
    return 0


def demo_folder() -> Path:
    """Where the demo recordings are: in the installed package, or beside it in a clone.

    Raises RecordingError when neither holds them.
    """
    package = Path(fretcheck.__file__).resolve().parent
    for base in (package, package.parent):
        if (base / FOLDER_NAME / "neck.toml").is_file():
            return base / FOLDER_NAME
    raise RecordingError(f"the folder {FOLDER_NAME} was not found; install fretcheck anew")
