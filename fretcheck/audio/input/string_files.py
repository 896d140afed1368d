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
    folder = Path(folder)
    if not folder.exists():
        raise RecordingError(f"there is no folder {folder}; check the path", file=folder)
    if not folder.is_dir():
        return _one_string(folder, set(strings))
    found = _by_string(folder)
    chosen: dict[int, Path] = {}
    for string in sorted(set(strings)):
        files = found.get(string, [])
        if not files:
            expected = folder / f"string-{string}.flac"
            held = ", ".join(str(number) for number in sorted(found)) or "none"
            raise RecordingError(
                f"no recording of string {string}: expected {expected} (or .wav, .aiff, .ogg); the folder holds strings: {held}",
                file=expected,
            )
        if len(files) > 1:
            names = " and ".join(path.name for path in files)
            raise RecordingError(f"string {string} has {len(files)} recordings in {folder}: {names}; keep one", file=files[1])
        chosen[string] = files[0]
    return chosen


def _one_string(file: Path, strings: set[int]) -> dict[int, Path]:
    match = _NAME.fullmatch(file.stem)
    if match is None:
        raise RecordingError(
            f"{file} is a file; name the folder that holds string-1.flac and the others, or call it string-1{file.suffix} or the "
            "like to read it alone",
            file=file,
        )
    if int(match[1]) not in strings:
        raise RecordingError(f"{file.name}: the neck has {len(strings)} strings", file=file)
    return {int(match[1]): file}


def surplus_string_files(folder: Path, strings: Iterable[int]) -> list[Path]:
    """Recordings of strings beyond `strings`; none where `folder` is one string's file."""
    if not folder.is_dir():
        return []
    wanted = set(strings)
    return [path for string, files in _by_string(folder).items() if string not in wanted for path in files]


def _by_string(folder: Path) -> dict[int, list[Path]]:
    found: dict[int, list[Path]] = {}
    for path in sorted(folder.iterdir()):
        match = _NAME.fullmatch(path.stem)
        if match and path.suffix.lower() in SUFFIXES and path.is_file():
            found.setdefault(int(match[1]), []).append(path)
    return found
