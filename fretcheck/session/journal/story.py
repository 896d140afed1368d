"""What a session's journal tells: its lines read back into plan, accepted plucks and what became of them.

Conventions: one JSON object a line, UTF-8, each with its `kind`: `session` (the first), `part` (sound begins, at the start and
after each interruption), `accepted`, `withdrawn`, `skipped`, `set_aside`, `grown` (more is asked for), `finished`.
"""

import json
from collections.abc import Collection, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from fretcheck.arrays import Reals
from fretcheck.audio.segment.pluck import Pluck
from fretcheck.errors import StorageError, UsageError
from fretcheck.neck.description import Neck
from fretcheck.neck.neck_file import neck_from_mapping
from fretcheck.pitch.reading import NoteReading
from fretcheck.pitch.remarks import Remark
from fretcheck.session.placed_reading import Reading, SoundSetAside
from fretcheck.session.plan import WORK_PLAN, Ask, Growth, Plan

SCHEMA = "fretcheck/journal/1"
JOURNAL_NAME = "journal.jsonl"
LOCK_NAME = "journal.lock"
SOUNDS_NAME = "sounds"
SOUND_FIELDS = ("start_frame", "settled_from", "noise_rms", "clipped_fraction", "end")  # Of a `Pluck`, besides its samples

Line = dict[str, Any]


@dataclass(kw_only=True)
class Story:
    """What a journal tells: the session as it stands."""

    id: str
    neck: Neck
    plan: Plan
    taken_at: datetime
    step_back: bool
    tune_within_cents: float | None
    follows: str | None = None  # Id of the inspection whose corrections are worked on
    parts: list[Line] = field(default_factory=list)
    accepted: list[Reading] = field(default_factory=list)  # Every pluck ever accepted, in order; `taken` leaves out the withdrawn
    plucks: dict[int, Line] = field(default_factory=dict)  # By number: what else is known of an accepted pluck's sound
    withdrawn: set[int] = field(default_factory=set)
    skipped: set[int] = field(default_factory=set)
    set_aside: list[SoundSetAside] = field(default_factory=list)
    complete: bool = False

    @property
    def taken(self) -> tuple[Reading, ...]:
        """Accepted plucks that count."""
        return tuple(taken for taken in self.accepted if taken.number not in self.withdrawn)

    def tell(self, line: Line) -> None:
        """Add what one line says."""
        match line["kind"]:
            case "part":
                self.parts.append(line)
                self.complete = False
            case "accepted":
                taken = _taken_from(line)
                assert taken.number is not None
                self.accepted.append(taken)
                self.plucks[taken.number] = line["pluck"]
                self.skipped.discard(-1 if taken.step is None else taken.step)
            case "withdrawn":
                self.withdrawn.update(line["numbers"])
                self.skipped.discard(line["step"])
            case "skipped":
                self.skipped.add(line["step"])
            case "set_aside":
                self.set_aside.append(SoundSetAside(**{k: line[k] for k in ("string", "start_s", "end_s", "reason")}))
            case "grown":
                self.plan = self.plan.grown(Ask(**ask) for ask in line["asks"])
            case "finished":
                self.complete = bool(line["complete"])
            case other:
                raise ValueError(f"unknown kind {other!r}")


def sessions_folder(data: Path) -> Path:
    """Where sessions lie within the data folder."""
    return data / "sessions"


def read_story(folder: Path) -> tuple[Story, int]:
    """What a session's journal tells, and how many of its bytes are whole lines.

    Raises StorageError when there is no journal, or a line before the last is damaged.
    """
    path = folder / JOURNAL_NAME
    try:
        content = path.read_bytes()
    except OSError as error:
        raise StorageError(f"{path}: no session can be read here ({error.strerror})", path=path) from error
    story: Story | None = None
    size = 0
    lines = content.splitlines(keepends=True)
    for number, raw in enumerate(lines, start=1):
        try:
            if not raw.endswith(b"\n"):
                raise ValueError("cut off")
            line = json.loads(raw)
            if story is None:
                story = story_from(line)
            else:
                story.tell(line)
        except (ValueError, KeyError, TypeError) as error:
            if number == len(lines) and story is not None:
                break
            raise StorageError(f"{path}: line {number} is damaged ({error})", path=path) from error
        size += len(raw)
    if story is None:
        raise StorageError(f"{path}: the journal is empty", path=path)
    return story, size


def find_session(root: Path, session_id: str) -> Path:
    """Folder of a session by its id. Raises UsageError when there is none of that id."""
    folder = root / session_id
    if Path(session_id).name != session_id or not (folder / JOURNAL_NAME).is_file():
        raise UsageError(f"no session {session_id!r} in {root}")
    return folder


def find_unfinished(root: Path, neck: Neck, *, session_id: str | None = None) -> Path:
    """The session of this neck that was not completed; `session_id` says which where there are several.

    Raises UsageError when there is none, or none of that id, or several and none was named: then they are listed.
    """
    found = [
        one
        for one in _stories(root)
        if not one.complete and one.plan.name != WORK_PLAN and (one.neck.name, one.neck.serial) == (neck.name, neck.serial)
    ]
    if not found:
        raise UsageError(f"no interrupted session of {neck.name!r} in {root}; leave --resume out to begin one")
    listed = ", ".join(f"{one.id} ({len(one.taken)} plucks)" for one in found)
    if session_id is None and len(found) > 1:
        raise UsageError(
            f"{len(found)} interrupted sessions of {neck.name!r}: {listed}; say which: --resume --session {found[0].id}"
        )
    chosen = next((one for one in found if session_id in (None, one.id)), None)
    if chosen is None:
        raise UsageError(f"no interrupted session {session_id!r} of {neck.name!r}; there are {listed}")
    if (chosen.neck.fret_cents, chosen.neck.strings) != (neck.fret_cents, neck.strings):
        raise UsageError(f"session {chosen.id} was begun with other frets or strings of {neck.name!r}; begin a new one")
    return root / chosen.id


def find_by_sounds(root: Path, checksums: Collection[str]) -> Path | None:
    """The session that holds a sound with one of these SHA-256 checksums; None when there is none."""
    held = (one.id for one in _stories(root) if any(known["sha256"] in checksums for known in one.plucks.values()))
    return next((root / session_id for session_id in held), None)


def _stories(root: Path) -> Iterator[Story]:
    """Every session that can be read, the newest first."""
    for path in sorted(root.glob(f"*/{JOURNAL_NAME}"), reverse=True):
        with suppress(StorageError):
            yield read_story(path.parent)[0]


def pluck_from(samples: Reals, sample_rate: float, known: Mapping[str, Any]) -> Pluck:
    """The pluck of a stored sound and what its line tells of it."""
    return Pluck(samples=samples, sample_rate=sample_rate, **{name: known[name] for name in SOUND_FIELDS})


def _taken_from(line: Line) -> Reading:
    note = dict(line["note"])
    note.pop("details", None)  # as written before remarks had that name
    note["remarks"] = tuple(Remark(remark) for remark in note.pop("flags", None) or note.get("remarks", ()))
    note["window_s"] = None if note["window_s"] is None else tuple(note["window_s"])
    rest = {name: line[name] for name in ("step", "start_s", "number", "sound_file")}
    return Reading(ask=Ask(**line["ask"]), note=NoteReading(**note), **rest)


def _plan_from(record: Line) -> Plan:
    growth = record.get("growth")
    if growth is not None:
        growth = Growth(**{**growth, "judged": tuple((string, fret) for string, fret in growth["judged"])})
    return Plan(name=record["name"], asks=tuple(Ask(**ask) for ask in record["asks"]), growth=growth)


def story_from(header: Line) -> Story:
    if header.get("schema") != SCHEMA:
        raise ValueError(f"its schema is {header.get('schema')!r}, not {SCHEMA!r}")
    return Story(
        id=header["id"],
        neck=neck_from_mapping(header["neck"]),
        plan=_plan_from(header["plan"]),
        taken_at=datetime.fromisoformat(header["taken_at"]),
        step_back=header["step_back"],
        tune_within_cents=header.get("tune_within_cents"),
        follows=header.get("follows"),
    )
