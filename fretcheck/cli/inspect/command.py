"""`fretcheck inspect`: the main job, from recordings, live, or from what was kept."""

from pathlib import Path
from typing import Annotated

import typer

from fretcheck.cli.inspect.inspect_options import DayOptions, ManyOptions
from fretcheck.cli.live.live_options import LiveOptions
from fretcheck.cli.shared_options import JobOptions, LimitOptions, ResultOptions, with_groups


@with_groups
def command(
    neck: Annotated[Path | None, typer.Argument(help="Description of the neck, neck.toml.")] = None,
    recordings: Annotated[
        Path | None,
        typer.Option(
            "--from", metavar="FOLDER", help="Folder of recordings, one file a string: string-1.flac …; or one such file."
        ),
    ] = None,
    again: Annotated[str | None, typer.Option(metavar="ID", help="Read a session's or a kept inspection's sounds again.")] = None,
    serial: Annotated[str | None, typer.Option(help="This neck's serial, in place of the description's.")] = None,
    *,
    day: DayOptions,
    job: JobOptions,
    limits: LimitOptions,
    live: LiveOptions,
    many: ManyOptions,
    cross_check: Annotated[
        bool, typer.Option("--cross-check", help="Ask a second, independent pitch estimator afterwards (slow).")
    ] = False,
    result: ResultOptions,
) -> int:
    """Inspect a neck: read every note, judge it, and say which part is out of place and by how much.

    With --from, notes are read from recordings (of many necks, if the folder holds a folder for each). Without, each note is
    asked for on the screen and heard live; the screen steps on by sound alone, and what is taken is on disk before the next
    note is asked for.
    """
    from fretcheck.cli.inspect.jobs import run  # its rooms take a second to import, and --help needs none of them

    return run(
        neck,
        recordings,
        again=again,
        serial=serial,
        day=day,
        job=job,
        limits=limits,
        live=live,
        many=many,
        cross_check=cross_check,
        result=result,
    )
