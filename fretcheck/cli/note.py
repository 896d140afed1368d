"""`fretcheck note FILE`: the pitch of every pluck in a recording."""

from pathlib import Path
from typing import Annotated

import typer

from fretcheck.cli.shared_options import JsonOption, console, print_json


def command(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A recording of one string: WAV, FLAC, AIFF or OGG.")],
    reference_hz: Annotated[float, typer.Option("--a4", metavar="HZ", help="Pitch of A4 for note names.")] = 440.0,
    json: JsonOption = False,
) -> None:
    """Measure the pitch of every pluck in a recording, with its uncertainty.

    No neck is needed: this answers what a single note's pitch is, and how well the recording lets it be read.
    """
    from fretcheck.audio.input.file_source import FileSource
    from fretcheck.audio.segment.cutting import cut_plucks
    from fretcheck.neck.temperament import check_reference
    from fretcheck.report.tables.note_table import NotePluck, note_document, note_table
    from fretcheck.session.take import read_whole

    check_reference(reference_hz)
    with FileSource(file) as source:
        cut = cut_plucks(source, lambda pluck: NotePluck(pluck.start_s, read_whole(pluck)))
    plucks = list(cut.plucks)
    if json:
        print_json(note_document(plucks))
    else:
        console().print(note_table(plucks, cut.set_aside, reference_hz=reference_hz))
