"""A folder of necks: one subfolder a neck, each with its recordings and, where necks differ, its own neck.toml.

```
batch/
  neck.toml          used by every neck that has none of its own
  WT-001/string-1.flac …
  WT-002/neck.toml, string-1.flac …
```

Conventions: a neck is called by its subfolder. With a shared description that name is its serial, whatever the description
says: one serial cannot be that of many necks. A neck's fingerprint changes with its description, its recordings and the
software.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from fretcheck import __version__
from fretcheck.errors import RecordingError
from fretcheck.inspection.document import InspectionDocument

_STRING_FILE = re.compile(r"string-\d+\.[a-z]+", re.IGNORECASE)
DESCRIPTION = "neck.toml"


@dataclass(frozen=True, kw_only=True)
class NeckFolder:
    """One neck's recordings and description. `neck_file` is None where there is none."""

    name: str
    folder: Path
    neck_file: Path | None

    @property
    def shared(self) -> bool:
        """Whether the description serves other necks too."""
        return self.neck_file is not None and self.neck_file.parent != self.folder

    def fingerprint(self, how: str = "") -> str:
        """Changes with `how` the neck is judged, its description, its recordings (size and time of change), and the software."""
        described = "" if self.neck_file is None else self.neck_file.read_text(encoding="utf-8", errors="replace")
        parts = [__version__, how, described]
        for path in sorted(self.folder.iterdir()) if self.folder.is_dir() else ():
            if _STRING_FILE.fullmatch(path.name):
                state = path.stat()
                parts.append(f"{path.name}/{state.st_size}/{state.st_mtime_ns}")
        return sha256("\n".join(parts).encode()).hexdigest()


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What became of one neck: a document, or the reason why there is none."""

    neck: NeckFolder
    document: InspectionDocument | None = None
    error: str | None = None


def is_folder_of_necks(folder: Path) -> bool:
    """Whether recordings lie in subfolders, and none in the folder itself."""
    return folder.is_dir() and not _has_recordings(folder) and any(_has_recordings(one) for one in _subfolders(folder))


def find_necks(folder: Path, *, neck_file: Path | None = None, serials: Sequence[str] | None = None) -> tuple[NeckFolder, ...]:
    """The necks of a folder in the order of their names, numbers in their own order.

    `neck_file`: description for necks without one of their own; default: the folder's own neck.toml. `serials`: only these, in
    this order; one without a subfolder stays in, to be told as missing.
    Raises RecordingError when no subfolder holds recordings.
    """
    shared = neck_file or (folder / DESCRIPTION if (folder / DESCRIPTION).is_file() else None)
    necks = []
    found = _subfolders(folder) if folder.is_dir() else []
    for one in found if serials is None else [folder / serial for serial in serials]:
        own = one / DESCRIPTION
        if serials is not None or own.is_file() or _has_recordings(one):
            necks.append(NeckFolder(name=one.name, folder=one, neck_file=own if own.is_file() else shared))
    if not necks:
        raise RecordingError(
            f"no necks in {folder}: each needs a subfolder with string-1.flac and so on, and a neck.toml there or beside it",
            file=folder,
        )
    return tuple(necks)


def _subfolders(folder: Path) -> list[Path]:
    return sorted((one for one in folder.iterdir() if one.is_dir() and not one.name.startswith(".")), key=_by_number)


def _by_number(path: Path) -> list[tuple[int, str]]:
    """Sort key under which WT-9 comes before WT-10."""
    return [(int(piece), "") if piece.isdigit() else (-1, piece) for piece in re.split(r"(\d+)", path.name)]


def _has_recordings(folder: Path) -> bool:
    return any(_STRING_FILE.fullmatch(one.name) for one in folder.iterdir() if one.is_file())
