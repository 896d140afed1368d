"""`fretcheck demo`: the main job on the recordings that come with the project."""

from pathlib import Path
from typing import Annotated

import typer

import fretcheck
from fretcheck import rooms
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
    check_place(report, is_ours=is_page, force=force)
    if picture is not None:
        check_place(picture, is_ours=rooms.is_picture, force=force)
    folder = demo_folder()
    document = rooms.inspect_recorded(rooms.read_neck(folder / "neck.toml"), folder, quiet=json)
    opinions = rooms.disagreements(document, folder, quiet=json) if cross_check else None
    rooms.show(document, as_json=json, opinions=opinions)
    if picture is not None:
        rooms.write_picture(document, picture, force=force)
    rooms.write_report(document, report, force=force)
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
