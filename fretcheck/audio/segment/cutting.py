"""All the plucks of a source that ends, such as a recording."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Generic, TypeVar

from fretcheck.audio.input.file_source import FileSource
from fretcheck.audio.input.source import AudioSource
from fretcheck.audio.segment.pluck import Pluck, SetAside
from fretcheck.audio.segment.segmenter import Event, Segmenter
from fretcheck.errors import RecordingError

Taken = TypeVar("Taken")


@dataclass(frozen=True)
class Cut(Generic[Taken]):
    """What a source held, in order: its plucks, or what was made of each of them."""

    plucks: tuple[Taken, ...]
    set_aside: tuple[SetAside, ...]


def find_plucks(path: str | Path) -> list[Pluck]:
    """The plucks of a recording of one string, in order: WAV, FLAC, AIFF or OGG.

    Parameters
    ----------
    path : str or Path
        Mono or stereo, 8 to 192 kHz.

    Raises
    ------
    RecordingError
        When the file cannot be read, or not a single pluck can be heard in it.

    Examples
    --------
    Three notes that each ring for a second and a half:

    >>> import numpy as np, soundfile, tempfile
    >>> time, n = np.arange(72000) / 48000, np.arange(1, 11)[:, None]
    >>> note = (np.exp(-3 * time) / n * np.sin(2 * np.pi * 220 * n * time)).sum(axis=0)
    >>> with tempfile.NamedTemporaryFile(suffix=".wav") as file:
    ...     soundfile.write(file, 0.1 * np.concatenate([np.zeros(24000), note, note, note]), 48000, format="WAV")
    ...     plucks = find_plucks(file.name)
    >>> [round(pluck.start_s, 1) for pluck in plucks]
    [0.5, 2.0, 3.5]
    """
    with FileSource(Path(path)) as source:
        return list(cut_plucks(source, lambda pluck: pluck).plucks)


def cut_plucks(source: AudioSource, take: Callable[[Pluck], Taken]) -> Cut[Taken]:
    """All plucks of `source`, each handed to `take` as soon as it is cut, so that a long recording is never in memory whole.

    Raises RecordingError when not a single pluck can be heard in it.
    """
    segmenter = Segmenter(source.sample_rate)
    plucks: list[Taken] = []
    aside: list[SetAside] = []
    heard_s = 0.0

    def sort(events: list[Event]) -> None:
        plucks.extend(take(event) for event in events if isinstance(event, Pluck))
        aside.extend(event for event in events if isinstance(event, SetAside))

    for block in source.blocks():
        sort(segmenter.push(block))
        heard_s = (block.start_frame + len(block.samples)) / source.sample_rate
    sort(segmenter.finish())
    if not plucks:
        held = "" if not aside else f" ({len(aside)} other sounds were set aside, the first: {aside[0].reason})"
        raise RecordingError(
            f"{source.name}: no pluck can be heard in {heard_s:.{0 if heard_s >= 1.0 else 2}f} s{held}; "
            "check that it is the right recording and that the string stands out of the noise"
        )
    return Cut(tuple(plucks), tuple(aside))
