"""Files that a person names: read whole or refused, written whole or not at all.

Conventions: what is read must be a plain file of bounded size: a pipe or a device would hang or never end. What is written
appears under its name only once it is whole, through a file beside it whose name nobody can foresee, so that a full disk or a
kill destroys nothing; what a kill left beside goes away at a later writing there. A file that is not already fretcheck's output
of the same kind is replaced only by force; a link is never followed.
"""

import os
import stat
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from functools import cache
from pathlib import Path
from typing import IO

from fretcheck.errors import FretcheckError, StorageError, UsageError

PAGE_MARK = b'<meta name="generator" content="fretcheck">'  # Stands at the head of every page that fretcheck writes
HEAD_BYTES = 4096
_PREFIX, _SUFFIX = ".fretcheck-", ".part"
# A file beside, unchanged for so long, is a killed command's: what is being written changes every few seconds
LEFT_OVER_S = 3600.0

# Given the first bytes of an existing file, whether it is fretcheck's own output of the kind to be written
Recogniser = Callable[[bytes], bool]


def is_page(head: bytes) -> bool:
    """A page of fretcheck's."""
    return PAGE_MARK in head


def starts_like(line: str) -> Recogniser:
    """A text file whose first line begins with `line`, as a table with the same columns does; a byte order mark is skipped."""
    start = line.encode()
    return lambda head: head.removeprefix(b"\xef\xbb\xbf").startswith(start)


def read_whole(path: Path, *, most_bytes: int, refuse: Callable[[str], Exception]) -> bytes:
    """The content of a plain file.

    `most_bytes`: a larger file is none of the kind that is wanted. `refuse`: makes the exception to raise from what is wrong
    ("no such file", "is a folder", …).
    """
    try:
        # A named pipe without a writer would wait for one for ever; opened so, it does not.
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    except FileNotFoundError:
        raise refuse("no such file") from None
    except IsADirectoryError:
        raise refuse("is a folder") from None
    except (OSError, ValueError) as error:
        folder = isinstance(error, PermissionError) and os.name == "nt" and path.is_dir()
        raise refuse("is a folder" if folder else f"cannot be read: {getattr(error, 'strerror', None) or error}") from None
    state = os.fstat(handle)
    too_large = refuse(f"is larger than {most_bytes / 1e6:g} MB")
    if not stat.S_ISREG(state.st_mode) or state.st_size > most_bytes:
        os.close(handle)
        if stat.S_ISREG(state.st_mode):
            raise too_large
        raise refuse("is a folder" if stat.S_ISDIR(state.st_mode) else "is a pipe or a device, not a file")
    with os.fdopen(handle, "rb") as stream:
        try:
            raw = stream.read(most_bytes + 1)
        except OSError as error:
            raise refuse(f"cannot be read: {error.strerror or error}") from None
    if len(raw) > most_bytes:  # it grew
        raise too_large
    return raw


def read_text(path: Path, *, most_bytes: int, refuse: Callable[[str], Exception]) -> str:
    """The same as UTF-8 text."""
    try:
        return read_whole(path, most_bytes=most_bytes, refuse=refuse).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise refuse("is no text in UTF-8") from None


@contextmanager
def replacing(path: Path, *, is_ours: Recogniser | None = None, force: bool = False) -> Iterator[Path]:
    """An empty file beside `path`, which takes its place when the context ends well, on the disk with all its content.

    `is_ours`: tells an existing file that may be replaced; None: none may. `force`: replace any plain file.
    Raises UsageError when `path` is a folder, link or device, or a file that is not fretcheck's own; StorageError when it
    cannot be written; what stood there still does.
    """
    check_place(path, is_ours=is_ours, force=force)
    beside: Path | None = None
    _sweep(path.parent.absolute())
    try:
        handle, name = tempfile.mkstemp(prefix=_PREFIX, suffix=_SUFFIX, dir=path.parent)
        os.close(handle)
        beside = Path(name)
        yield beside
        beside.chmod(_mode(path))
        with beside.open("r+b") as written:
            os.fsync(written.fileno())
        os.replace(beside, path)
        sync_folder(path.parent)
    except FretcheckError:
        raise
    except OSError as error:
        raise StorageError(f"{path} cannot be written: {error.strerror or error}", path=path) from error
    finally:
        if beside is not None:
            with suppress(OSError):
                beside.unlink(missing_ok=True)


@contextmanager
def written_whole(
    path: Path, *, is_ours: Recogniser | None = None, force: bool = False, encoding: str = "utf-8", newline: str | None = "\n"
) -> Iterator[IO[str]]:
    """A text stream whose content becomes `path` when the context ends well; see `replacing`."""
    with replacing(path, is_ours=is_ours, force=force) as beside, beside.open("w", encoding=encoding, newline=newline) as stream:
        yield stream


def write_text(path: Path, text: str, *, is_ours: Recogniser | None = None, force: bool = False) -> None:
    """Write `text` as `written_whole` does."""
    with written_whole(path, is_ours=is_ours, force=force) as stream:
        stream.write(text)


def check_place(path: Path, *, is_ours: Recogniser | None, force: bool = False) -> None:
    """Raise what `written_whole` would raise for this place, before the work whose result goes there."""
    try:
        mode = path.lstat().st_mode
    except (FileNotFoundError, NotADirectoryError):
        if not path.parent.is_dir():
            raise StorageError(f"there is no folder {path.parent} to write {path.name} in", path=path) from None
        return
    except (OSError, ValueError) as error:
        raise StorageError(f"{path} cannot be written: {getattr(error, 'strerror', None) or error}", path=path) from None
    if stat.S_ISDIR(mode):
        raise UsageError(f"{path} is a folder: name a file in it")
    if stat.S_ISLNK(mode):
        raise UsageError(f"{path} is a link: name the file itself, or another one")
    if not stat.S_ISREG(mode):
        raise UsageError(f"{path} is a device or a pipe: name a file")
    if force:
        return
    with suppress(OSError), path.open("rb") as existing:
        if is_ours is not None and is_ours(existing.read(HEAD_BYTES)):
            return
    what = "exists" if is_ours is None else "exists and is no output of this kind"
    raise UsageError(f"{path} {what}: name another file, or add --force to replace it")


def sync_folder(folder: Path) -> None:
    """Put a folder's entries on the disk, where the system can (Windows does so by itself)."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@cache  # once a process: a register's folder of sounds may be long
def _sweep(folder: Path) -> None:
    """Take away what a killed command left half written in a folder."""
    with suppress(OSError):
        for entry in os.scandir(folder):
            if entry.name.startswith(_PREFIX) and entry.name.endswith(_SUFFIX):
                state = entry.stat(follow_symlinks=False)
                if stat.S_ISREG(state.st_mode) and time.time() - state.st_mtime > LEFT_OVER_S:
                    os.unlink(entry.path)


def _mode(path: Path) -> int:
    """Permissions of the file that is replaced, else those that a new one gets."""
    try:
        return stat.S_IMODE(path.stat().st_mode)
    except OSError:
        mask = os.umask(0)
        os.umask(mask)
        return 0o666 & ~mask
