"""What a session comes to: the inspection of its accepted plucks, as read then or read again now."""

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from fretcheck.errors import StorageError
from fretcheck.session.deviation import inspection_from
from fretcheck.session.journal.sounds import read_flac
from fretcheck.session.journal.story import Story, pluck_from, read_story
from fretcheck.session.placed_reading import Inspection, Reading
from fretcheck.session.take import read_whole


def inspection_of(story: Story, *, taken: Sequence[Reading] | None = None) -> Inspection:
    """The inspection of a session's accepted plucks, the withdrawn left out.

    `story`: the session as it stands. `taken`: its plucks, where they have been read again.
    """
    last = story.parts[-1] if story.parts else {}
    inspection = inspection_from(
        story.neck,
        story.taken if taken is None else taken,
        planned=story.plan.notes,
        set_aside=story.set_aside,
        plan=story.plan.name,
        source=last.get("device", "none"),
        sample_rate_hz=last.get("sample_rate_hz"),
    )
    growth = story.plan.growth
    inspection = replace(inspection, follows=story.follows)
    return inspection if growth is None else replace(inspection, judged=growth.judged, look_for_mm=growth.look_for_mm)


def read_again(folder: Path) -> Inspection:
    """Read the stored sounds of a session anew.

    Raises StorageError when the journal or a sound is missing or damaged.
    """
    story, _ = read_story(folder)
    return inspection_of(story, taken=[_read_one(folder, story, one) for one in story.taken])


def _read_one(folder: Path, story: Story, taken: Reading) -> Reading:
    assert taken.number is not None
    assert taken.sound_file is not None
    path, known = folder / taken.sound_file, story.plucks[taken.number]
    try:
        content = path.read_bytes()
    except OSError as error:
        raise StorageError(f"{path}: the sound of this pluck is missing ({error.strerror})", path=path) from error
    if hashlib.sha256(content).hexdigest() != known["sha256"]:
        raise StorageError(f"{path}: this is not the sound that was recorded; its checksum differs", path=path)
    samples, rate = read_flac(path)
    return replace(taken, note=read_whole(pluck_from(samples, rate, known)))
