"""The whole job in one call, for a program of one's own."""

from pathlib import Path

from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.inspection.assemble import judge
from fretcheck.inspection.document import InspectionDocument
from fretcheck.neck.description import Neck
from fretcheck.session.recordings import inspect_recordings


def inspect(
    neck: Neck, folder: str | Path, *, keep: bool = False, settings: DiagnosisSettings | None = None
) -> InspectionDocument:
    """Inspect and judge a neck from a folder of recordings, one file a string: string-1.flac and so on.

    Parameters
    ----------
    neck : Neck
    folder : str or Path
    keep : bool
        Whether the register keeps it; the document then has an id.
    settings : DiagnosisSettings, optional

    Raises
    ------
    RecordingError
        When the folder or a recording cannot be used.
    DiagnosisRefusedError
        When no fretted note was heard.
    StorageError
        When the register cannot keep it.

    Examples
    --------
    Three strings of 648 mm with one fret, 5 cents sharp of the next semitone, each note plucked twice:

    >>> import numpy as np, soundfile, tempfile
    >>> from fretcheck.neck.neck_file import neck_from_mapping
    >>> open_hz = {"A3": 220.0, "E3": 164.814, "C3": 130.813}
    >>> string = {"gauge_mm": 0.432, "construction": "plain", "material": "steel"}
    >>> strings = [{"note": note, **string} for note in open_hz]
    >>> neck = neck_from_mapping({"name": "Board", "scale_length_mm": 648.0, "frets": 1, "strings": strings})
    >>> time, n = np.arange(72000) / 48000, np.arange(1, 11)[:, None]
    >>> room = 1e-5 * np.random.default_rng(1).standard_normal(5 * 72000)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     for number, hz in enumerate(open_hz.values(), start=1):
    ...         played = [hz * 2 ** (cents / 1200) * n * time for cents in (0, 105, 0, 105)]
    ...         notes = [0 * time, *((np.exp(-3 * time) / n * np.sin(2 * np.pi * turns)).sum(axis=0) for turns in played)]
    ...         soundfile.write(f"{folder}/string-{number}.flac", 0.1 * np.concatenate(notes) + room, 48000)
    ...     document = inspect(neck, folder)
    >>> [(note.string, note.fret, round(note.plucked_cents, 1)) for note in document.frets if note.fret]
    [(1, 1, 5.0), (2, 1, 5.0), (3, 1, 5.0)]
    >>> document.verdict.decision, document.coverage.heard
    ('fail', 3)
    """
    # in this process alone: a script without a guard around its main part could start no others
    document = judge(inspect_recordings(neck, Path(folder), processes=1), settings=settings)
    if not keep:
        return document
    from fretcheck.register.store import open_register

    with open_register() as store:
        return store.keep(document, sound_folder=Path(folder))
