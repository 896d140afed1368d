"""Which file of a folder of recordings belongs to which string: `string-1.flac`, `string-2.wav`, …"""

import re
from collections.abc import Iterable
from pathlib import Path

from fretcheck.errors import RecordingError

SUFFIXES = (".wav", ".flac", ".aif", ".aiff", ".ogg", ".oga")
_NAME = re.compile(r"string-0*([1-9][0-9]*)", re.IGNORECASE)


def find_string_files(folder: Path | str, strings: Iterable[int]) -> dict[int, Path]:
    """The recording of each string in `strings`, keyed and ordered by string number; of one alone where `folder` is its file.

    Raises RecordingError when the folder is missing, a string has no file, or more than one.
    """
    folder, wanted = Path(folder), sorted(set(strings))
    if not folder.exists():
        raise RecordingError(f"there is no folder {folder}; check the path", file=folder)
    if not folder.is_dir():
        return _one_string(folder, wanted)
    found = _by_string(folder)
    for string in wanted:
        files = found.get(string, [])
        if not files:
            expected, held = folder / f"string-{string}.flac", ", ".join(map(str, sorted(found))) or "none"
            text = (
                f"no recording of string {string}: expected {expected} (or .wav, .aiff, .ogg); the folder holds strings: {held}"
            )
            raise RecordingError(text, file=expected)
        if len(files) > 1:
            names = " and ".join(path.name for path in files)
            raise RecordingError(f"string {string} has {len(files)} recordings in {folder}: {names}; keep one", file=files[1])
    return {string: found[string][0] for string in wanted}


def _one_string(file: Path, strings: list[int]) -> dict[int, Path]:
    match = _NAME.fullmatch(file.stem)
    if match is None:
        cure = f"name the folder that holds string-1.flac and the others, or call it string-1{file.suffix} or the like"
        raise RecordingError(f"{file} is a file; {cure} to read it alone", file=file)
    if int(match[1]) not in strings:
        raise RecordingError(f"{file.name}: the neck has {len(strings)} strings", file=file)
    return {int(match[1]): file}


def surplus_string_files(folder: Path, strings: Iterable[int]) -> list[Path]:
    """Recordings of strings beyond `strings`; none where `folder` is one string's file."""
    wanted, found = set(strings), _by_string(folder) if folder.is_dir() else {}
    return [path for string, files in found.items() if string not in wanted for path in files]


def _by_string(folder: Path) -> dict[int, list[Path]]:
    found: dict[int, list[Path]] = {}
    for path in sorted(folder.iterdir()):
        match = _NAME.fullmatch(path.stem)
        if match and path.suffix.lower() in SUFFIXES and path.is_file():
            found.setdefault(int(match[1]), []).append(path)
    return found
