"""The journal of a live session, written: nothing that was accepted is ever lost.

A session is a folder: `journal.jsonl` and, beside it, `sounds/0001.flac` and so on. An accepted pluck's sound is written and
synced first, then its line; only when that line is on the disk is the pluck accepted. A line that a crash has torn is the last
one by construction, and is cut off when the session is opened again. What the lines say is in `story`.

Conventions: times in seconds of the session's sound; parts that follow each other are placed by the wall clock.
"""

import errno
import hashlib
import json
import os
from collections.abc import Iterable
from dataclasses import asdict, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Self

from filelock import FileLock, Timeout

from fretcheck import __version__
from fretcheck.audio.segment.pluck import Pluck
from fretcheck.errors import StorageError
from fretcheck.files import replacing, sync_folder
from fretcheck.neck.description import Neck
from fretcheck.neck.writing import neck_to_mapping
from fretcheck.session.journal.sounds import flac_bytes
from fretcheck.session.journal.story import (
    JOURNAL_NAME,
    LOCK_NAME,
    SCHEMA,
    SOUND_FIELDS,
    SOUNDS_NAME,
    Line,
    Story,
    read_story,
    story_from,
)
from fretcheck.session.placed_reading import Reading, SoundSetAside
from fretcheck.session.plan import Ask, Plan


class Journal:
    """An open session folder; a context manager that closes it.

    Its `story` is what the session needs while it lasts. What is known of a pluck's sound beyond its length
    is written and not kept in it, so that hours of plucks do not fill the memory; `read_story` gives it back.
    """

    def __init__(self, folder: Path, story: Story, lock: FileLock, handle: int, size: int) -> None:
        self.folder = folder
        self._lock = lock
        self.story = story
        self._handle = handle
        self._size = size

    @classmethod
    def create(
        cls,
        root: Path,
        neck: Neck,
        plan: Plan,
        *,
        step_back: bool = True,
        tune_within_cents: float | None = None,
        follows: str | None = None,
        now: datetime | None = None,
    ) -> Self:
        """Begin a session in a folder of its own below `root`. Raises StorageError when the folder can't be made or written."""
        now = now or datetime.now(UTC).astimezone()
        try:
            folder = _new_folder(root, now, neck)
            (folder / SOUNDS_NAME).mkdir()
            sync_folder(folder)
            sync_folder(root)
            lock, handle = _opened(folder, create=True)
        except OSError as error:
            if isinstance(error, StorageError):
                raise
            raise StorageError(
                f"{root}: a session can't be kept here ({error.strerror}); choose another folder", path=root
            ) from error
        header: Line = {
            "kind": "session",
            "schema": SCHEMA,
            "id": folder.name,
            "taken_at": now.isoformat(timespec="seconds"),
            "software_version": __version__,
            "step_back": step_back,
            "tune_within_cents": tune_within_cents,
            "follows": follows,
            "plan": asdict(plan),
            "neck": neck_to_mapping(neck),
        }
        journal = cls(folder, story_from(header), lock, handle, 0)
        journal._write(header)
        return journal

    @classmethod
    def open(cls, folder: Path) -> Self:
        """Open a session to go on with it; a torn last line is cut off.

        Raises StorageError when it can't be read, is damaged before its last line, or is open elsewhere.
        """
        lock, handle = _opened(folder)
        try:
            story, size = read_story(folder)
            os.ftruncate(handle, size)
            os.fsync(handle)
        except BaseException:
            os.close(handle)
            lock.release()
            raise
        return cls(folder, story, lock, handle, size)

    def begin_part(self, *, device: str, sample_rate: float, now: datetime | None = None) -> float:
        """Sound begins; returns what is to be added to the source's time to make it the session's (seconds)."""
        now = now or datetime.now(UTC).astimezone()
        offset = 0.0
        if self.story.parts:
            heard = max((t.start_s + self.story.plucks[t.number or 0]["duration_s"] for t in self.story.accepted), default=0.0)
            offset = max(heard, self.story.parts[-1]["offset_s"], (now - self.story.taken_at).total_seconds())
        self._write(
            {
                "kind": "part",
                "at": now.isoformat(timespec="seconds"),
                "device": device,
                "sample_rate_hz": sample_rate,
                "offset_s": offset,
                "software_version": __version__,
            }
        )
        return offset

    def keep(self, taken: Reading, pluck: Pluck) -> Reading:
        """Put an accepted pluck on the disk: first its sound, then its line. On return both are there to stay.

        Raises StorageError: on a full disk and the like; the pluck is then not accepted, and all that came before is untouched.
        """
        number = len(self.story.accepted) + 1
        name = f"{SOUNDS_NAME}/{number:04d}.flac"
        content = flac_bytes(pluck.samples, pluck.sample_rate)
        try:
            with replacing(self.folder / name, force=True) as beside:  # a crash before its line may have left one of this name
                beside.write_bytes(content)
        except StorageError as error:
            raise StorageError(f"{error}; what was accepted before is safe", path=error.path) from error
        self._write(
            {
                "kind": "accepted",
                **asdict(replace(taken, number=number, sound_file=name)),
                "pluck": {
                    "sha256": hashlib.sha256(content).hexdigest(),
                    "sample_rate_hz": pluck.sample_rate,
                    "duration_s": len(pluck.samples) / pluck.sample_rate,
                    **{name: getattr(pluck, name) for name in SOUND_FIELDS},
                },
            }
        )
        return self.story.accepted[-1]  # the only copy that is held

    def withdraw(self, numbers: tuple[int, ...], *, step: int | None = None) -> None:
        """Plucks that no longer count, and the step that is asked for again; lines and sounds stay."""
        if numbers or step is not None:
            self._write({"kind": "withdrawn", "numbers": list(numbers), "step": step})

    def skip(self, step: int) -> None:
        self._write({"kind": "skipped", "step": step})

    def grow(self, asks: Iterable[Ask]) -> None:
        """More is asked for."""
        self._write({"kind": "grown", "asks": [asdict(ask) for ask in asks]})

    def set_aside(self, sound: SoundSetAside) -> None:
        """Sound that was heard and not used, with the reason."""
        self._write({"kind": "set_aside", **asdict(sound)})

    def finish(self, *, complete: bool) -> None:
        """The session ends; one that is not complete can be resumed."""
        self._write({"kind": "finished", "complete": complete})

    def close(self) -> None:
        """Release the folder."""
        if self._handle >= 0:
            os.close(self._handle)
            self._handle = -1
            self._lock.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()

    def _write(self, line: Line) -> None:
        content = json.dumps(line, ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode() + b"\n"
        try:
            written = os.write(self._handle, content)
            if written < len(content):
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            os.fsync(self._handle)
        except OSError as error:
            os.ftruncate(self._handle, self._size)
            path = self.folder / JOURNAL_NAME
            raise StorageError(
                f"{path}: can't be written ({error.strerror}); what was accepted before is safe, go on with --resume", path=path
            ) from error
        self._size += len(content)
        if line["kind"] == "accepted":
            line["pluck"] = {"duration_s": line["pluck"]["duration_s"]}
        if line["kind"] != "session":
            self.story.tell(line)


def _new_folder(root: Path, now: datetime, neck: Neck) -> Path:
    root.mkdir(parents=True, exist_ok=True)
    name = "".join(c if c.isalnum() else "-" for c in (neck.serial or neck.name).lower()).strip("-")[:40]
    stem = f"{now:%Y%m%d-%H%M%S}-{name}"
    for attempt in range(1, 1000):
        folder = root / (stem if attempt == 1 else f"{stem}-{attempt}")
        try:
            folder.mkdir()
        except FileExistsError:
            continue
        return folder
    raise StorageError(f"{root}: no free name for a new session", path=root)


def _opened(folder: Path, *, create: bool = False) -> tuple[FileLock, int]:
    """The session's lock, refused while another program has the session open, and its journal opened for appending."""
    path, lock = folder / JOURNAL_NAME, FileLock(folder / LOCK_NAME)
    flags = os.O_RDWR | os.O_APPEND | (os.O_CREAT | os.O_EXCL if create else 0) | getattr(os, "O_BINARY", 0)
    try:
        lock.acquire(timeout=0)
        return lock, os.open(path, flags, 0o644)
    except Timeout:
        raise StorageError(
            f"{folder}: this session is open in another program or window: end it there (q), then go on here", path=folder
        ) from None
    except OSError as error:
        lock.release()
        raise StorageError(f"{path}: can't be opened ({error.strerror})", path=path) from error
