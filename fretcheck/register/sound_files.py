"""Sound files of kept inspections: where they lie, and paths that must not lead out of the register's folder.

Conventions: a path is relative to the register's folder, with forward slashes on every system. Kept files lie under
``sounds/``, named by the start of their SHA-256 and their own name, so the same recording is kept once and two registers can be
joined.
"""

import hashlib
import re
import shutil
from pathlib import Path, PurePosixPath

from fretcheck.errors import StorageError, UsageError
from fretcheck.files import replacing

SOUND_FOLDER = "sounds"
_NAME_LENGTH = 80


def checked_sound_path(path: str) -> str:
    """`path`, if it stays below the register's folder by its text.

    Raises UsageError for an absolute path, a drive, a backslash, ``..``, or control characters.
    """
    parts = PurePosixPath(path).parts
    leaves = not parts or path.startswith("/") or ".." in parts or re.search(r"[\\:]", path)
    if leaves or not path.isprintable() or len(path) > 1000:
        raise UsageError(
            f"sound file {path[:80]!r} is refused: a path in the register is relative, with forward slashes, "
            "and stays below its folder"
        )
    return path


def sound_file_below(folder: Path, path: str) -> Path:
    """The file that `path` stands for; symbolic links must not lead out of `folder` either.

    Raises UsageError when it lies elsewhere.
    """
    file = (folder / checked_sound_path(path)).resolve()
    if not file.is_relative_to(folder.resolve()):
        raise UsageError(f"sound file {path[:80]!r} is refused: a link leads out of the register's folder")
    return file


def sha256_of(file: Path) -> str:
    """SHA-256 of a file's content, in hex. Raises StorageError when it cannot be read."""
    try:
        with file.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError as error:
        raise StorageError(f"sound file {file} cannot be read: {error.strerror or error}", path=file) from error


def keep_sound(source: Path, folder: Path) -> tuple[str, str]:
    """Copy a recording into the register's folder, unless it lies there already.

    Returns relative path and SHA-256 of what was copied.
    Raises StorageError when it cannot be read, or not be written (disk full, folder read-only).
    """
    digest = sha256_of(source)
    name = re.sub(r"[^A-Za-z0-9._-]+", "_", source.name)[-_NAME_LENGTH:]
    path = f"{SOUND_FOLDER}/{digest[:16]}-{name}"
    copy_whole(source, folder / path)
    return path, digest


def copy_whole(source: Path, target: Path) -> None:
    """Copy a file, unless `target` is there already, so that it is either whole or absent, even after a crash.

    Raises StorageError when it cannot be written.
    """
    if target.exists():
        return
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with replacing(target, force=True) as beside:
            shutil.copyfile(source, beside)
    except OSError as error:
        raise StorageError(f"{source} cannot be copied to {target}: {error.strerror or error}", path=target) from error
