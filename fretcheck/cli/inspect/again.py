"""`fretcheck inspect --again`: what was heard then, read with the estimator as it is now.

An id is that of a session (its folder's name) or of an inspection in the register. Sounds of a session are found by their
checksum, so an inspection leads to its session; recordings are read from the register's own copies.
"""

import shutil
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

from fretcheck.errors import StorageError, UsageError
from fretcheck.folders import data_folder
from fretcheck.inspection.document import InspectionDocument
from fretcheck.neck.neck_file import neck_from_mapping
from fretcheck.register.store import Register, open_register
from fretcheck.session.journal.outcome import read_again
from fretcheck.session.journal.story import find_by_sounds, find_session, sessions_folder
from fretcheck.session.placed_reading import Inspection
from fretcheck.session.recordings import inspect_recordings


def inspect_again(wanted: str, *, data: Path | None, register: str | None) -> tuple[Inspection, Path | None]:
    """Read a session or a kept inspection again; with the folder below which its sounds lie, None where the register has them.

    Raises UsageError when neither is known by this id, or its sounds were never kept; StorageError when a sound is missing or
    is not what was recorded.
    """
    root = sessions_folder(data_folder(data))
    try:
        folder = find_session(root, wanted)
    except UsageError:
        with open_register(register, create=False) as store:
            document = store.load(wanted)
            checksums = {one.sound_sha256 for one in document.readings if one.sound_sha256 is not None}
            if not checksums:
                raise UsageError(f"inspection {wanted} was kept without its sounds; there is nothing to read again") from None
            found = find_by_sounds(root, checksums)
            if found is None:
                return _recordings_again(document, store), None
            folder = found
    return read_again(folder), folder


def _recordings_again(document: InspectionDocument, store: Register) -> Inspection:
    """Inspect the register's copies of the recordings, put together in one folder under the names they had."""
    for sound in store.sounds_of(document):
        if sound.state in ("missing", "changed"):
            raise StorageError(f"{sound.file}: this sound is {sound.state}; it can't be read again", path=sound.file)
    heard = [(one.string, one.sound_file) for one in document.readings if one.sound_file is not None]
    files = {string: store.folder / name for string, name in heard}
    if len(set(files.values())) != len({name for _, name in heard}):
        raise UsageError(f"inspection {document.id} was taken live, and its session is not on this computer; give --data")
    with TemporaryDirectory(prefix="fretcheck-again-") as name:
        for string, file in files.items():
            shutil.copyfile(file, Path(name) / f"string-{string}{file.suffix}")
        inspection = inspect_recordings(neck_from_mapping(document.neck.description), Path(name))
    return replace(inspection, source=document.conditions.source or inspection.source)
