"""The sound of a live session: the microphone, or a recording played in its place.

A recording stands in for the microphone when the environment names one in FRETCHECK_LIVE_FROM; it is played
FRETCHECK_LIVE_PACE times as fast as it sounded (1 unless said otherwise, 0 for as fast as it can be heard). That is how a
session is tried without an instrument.
"""

import os
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from fretcheck.audio.cues import CuePlayer, SpeakerCues
from fretcheck.audio.input.file_source import FileSource
from fretcheck.audio.input.microphone import MicrophoneSource, SourceState
from fretcheck.audio.input.source import AudioSource, Block
from fretcheck.audio.speech import SpokenPrompts
from fretcheck.errors import UsageError

STAND_IN = "FRETCHECK_LIVE_FROM"
PACE = "FRETCHECK_LIVE_PACE"


def open_source(device: str | None, channel: int | None, *, on_state: Callable[[SourceState], None]) -> AudioSource:
    """The microphone, or what the environment puts in its place.

    Raises DeviceError when there is no such device, or none at all.
    """
    if recording := os.environ.get(STAND_IN):
        return PacedSource(Path(recording), pace=_pace())
    wanted = int(device) if device is not None and device.isdecimal() else device
    return MicrophoneSource(wanted, channel=channel or 1, on_state=on_state)


def open_cues(*, wanted: bool, spoken: bool = False) -> CuePlayer:
    """The player of tones, or of words; a silent one where none are wanted, or a recording stands in for the microphone.

    Raises UsageError when words are wanted and there is no voice.
    """
    if os.environ.get(STAND_IN):
        return CuePlayer()
    if spoken:
        return SpokenPrompts()
    return SpeakerCues() if wanted else CuePlayer()


def _pace() -> float:
    text = os.environ.get(PACE, "1")
    try:
        pace = float(text)
    except ValueError:
        pace = -1.0
    if not 0.0 <= pace <= 1000.0:
        raise UsageError(f"{PACE} = {text!r} is no pace; give 0 to 1000")
    return pace


class PacedSource(AudioSource):
    """A recording that arrives as from a microphone, block by block in its own time.

    `path`: a sound file. `pace`: how many times as fast as it sounded; 0 for as fast as it can be heard.
    """

    def __init__(self, path: Path, *, pace: float = 1.0) -> None:
        self._source = FileSource(path)
        self.name, self.sample_rate = self._source.name, self._source.sample_rate
        self._pace = pace
        self._closed = False

    def blocks(self) -> Iterator[Block]:
        """Yield each block when its last frame has sounded."""
        begun = time.monotonic()
        with self._source:
            for block in self._source.blocks():
                if self._pace > 0.0:
                    due = begun + (block.start_frame + len(block.samples)) / self.sample_rate / self._pace
                    time.sleep(max(0.0, due - time.monotonic()))
                if self._closed:
                    return
                yield block

    def close(self) -> None:
        """End the stream; the file is closed by whoever reads it last."""
        self._closed = True
