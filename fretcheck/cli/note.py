"""`fretcheck note FILE`: the pitch of every pluck in a recording."""

from pathlib import Path
from typing import Annotated

import typer

from fretcheck import rooms
from fretcheck.cli.shared_options import JsonOption, console, print_json


def command(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A recording of one string: WAV, FLAC, AIFF or OGG.")],
    reference_hz: Annotated[float, typer.Option("--a4", metavar="HZ", help="Pitch of A4 for note names.")] = 440.0,
    json: JsonOption = False,
) -> None:
    """Measure the pitch of every pluck in a recording, with its uncertainty.

    No neck is needed: this answers what a single note's pitch is, and how well the recording lets it be read.
    """
    rooms.check_reference(reference_hz)
    with rooms.FileSource(file) as source:
        cut = rooms.cut_plucks(source, lambda pluck: rooms.NotePluck(pluck.start_s, rooms.read_whole(pluck)))
    plucks = list(cut.plucks)
    if json:
        print_json(rooms.note_document(plucks))
    else:
        console().print(rooms.note_table(plucks, cut.set_aside, reference_hz=reference_hz))
