"""Short tones that tell the player, whose eyes are on the fingers, what became of a pluck.

Each cue has a pattern of its own in number and direction, so that they can be told apart on a small loudspeaker and by ears
that hear little above 2 kHz. They are played at a moderate level: whoever turns the loudspeaker or headphones up should do
so with a cue sounding, not before; loud tones close to the ear harm hearing.

Conventions: `play` returns at once. `is_sounding` is True from then until the room has taken the cue away; nothing heard
meanwhile is to be measured. A loudspeaker that fails, is missing or hangs is given up: `failure` says why, and further cues are
dropped.
"""

import queue
import threading
import time
from collections.abc import Callable
from enum import StrEnum

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.errors import UsageError


class Cue(StrEnum):
    """What there is to tell."""

    ACCEPTED = "accepted"
    AGAIN = "again"
    WRONG_FRET = "wrong_fret"
    STRING_FINISHED = "string_finished"


_PATTERNS: dict[Cue, tuple[tuple[float, float], ...]] = {  # tones as (Hz, seconds)
    Cue.ACCEPTED: ((1_500.0, 0.07),),
    Cue.AGAIN: ((500.0, 0.09), (500.0, 0.09)),
    Cue.WRONG_FRET: ((900.0, 0.09), (700.0, 0.09), (500.0, 0.12)),
    Cue.STRING_FINISHED: ((600.0, 0.08), (800.0, 0.08), (1_000.0, 0.08), (1_300.0, 0.14)),
}
_PAUSE_S = 0.04
_RAMP_S = 0.008
TAIL_S = 0.25  # A cue counts as sounding this much longer: the loudspeaker's buffer and the room's echo
HANGS_AFTER_S = 2.0  # A cue that should have ended so long ago never will
MODERATE = 0.1
LOUDEST = 0.25


def cue_sound(cue: Cue, *, sample_rate: float, level: float = MODERATE) -> Reals:
    """The cue as samples of shape ``(frames,)``, peak `level`."""
    pieces = []
    for frequency_hz, seconds in _PATTERNS[cue]:
        time_s = np.arange(round(seconds * sample_rate)) / sample_rate
        ramp = np.clip(np.minimum(time_s, seconds - time_s) / _RAMP_S, 0.0, 1.0)
        pieces += [level * np.sin(np.pi / 2 * ramp) ** 2 * np.sin(2 * np.pi * frequency_hz * time_s)]
        pieces += [np.zeros(round(_PAUSE_S * sample_rate))]
    return np.concatenate(pieces)


def cue_seconds(cue: Cue) -> float:
    """How long a cue takes, its last pause included."""
    return sum(seconds + _PAUSE_S for _, seconds in _PATTERNS[cue])


class CuePlayer:
    """Plays cues; this one plays none, for those who want none and for replays."""

    # Why no cues sound any more; None while they do, or where none are wanted
    failure: str | None = None

    def play(self, cue: Cue) -> None:
        """Let `cue` sound."""

    def say(self, text: str) -> None:
        """Speak, where words and not tones are wanted."""

    @property
    def is_sounding(self) -> bool:
        return False

    def close(self) -> None:
        """End what sounds."""


class SpeakerCues(CuePlayer):
    """Plays cues through an output device, in a thread of its own.

    `device`: output by number or name as PortAudio knows it; None for the system's own. `level`: peak, full scale 1; at most
    0.25. `clock`: seconds, monotonic.
    """

    def __init__(
        self, *, device: int | str | None = None, level: float = MODERATE, clock: Callable[[], float] = time.monotonic
    ) -> None:
        if not 0.0 < level <= LOUDEST:
            raise UsageError(f"cue level = {level} must be above 0 and at most {LOUDEST}: loud tones harm hearing")
        self._device = device
        self._level = level
        self._clock = clock
        self._waiting: queue.SimpleQueue[Cue | str | None] = queue.SimpleQueue()
        self._lock = threading.Lock()
        self._open_cues = 0
        self._silent_at = self._ends_by = clock()
        self._thread = threading.Thread(target=self._work, name="cues", daemon=True)
        self._thread.start()

    def play(self, cue: Cue) -> None:
        """Let `cue` sound after those already waiting."""
        self._let_sound(cue, cue_seconds(cue))

    def _let_sound(self, item: Cue | str, seconds: float) -> None:
        if self.failure is not None:
            return
        with self._lock:
            self._open_cues += 1
            self._ends_by = max(self._ends_by, self._clock()) + seconds
        self._waiting.put(item)

    def _samples(self, item: Cue | str, sample_rate: float) -> Reals:
        return cue_sound(Cue(item), sample_rate=sample_rate, level=self._level)

    @property
    def is_sounding(self) -> bool:
        with self._lock:
            now = self._clock()
            if self._open_cues > 0 and now > self._ends_by + HANGS_AFTER_S and self.failure is None:
                self.failure = "playing a cue failed: the sound output hangs"
            return (self._open_cues > 0 and self.failure is None) or now < self._silent_at

    def close(self) -> None:
        """Let what waits finish, but not for ever: a sound server that hangs must not keep the program."""
        self._waiting.put(None)
        self._thread.join(timeout=2.0)

    def _work(self) -> None:
        while (cue := self._waiting.get()) is not None:
            failure = self.failure or self._sound(cue)
            with self._lock:
                self._open_cues -= 1
                self.failure = self.failure or failure
                if failure is None:
                    self._silent_at = self._clock() + TAIL_S

    def _sound(self, cue: Cue | str) -> str | None:
        """Play one cue to its end; the reason when that was not possible."""
        from fretcheck.audio.input.portaudio import PORTAUDIO_IN_USE, load_sounddevice, translated

        try:
            sounddevice = load_sounddevice()
            with PORTAUDIO_IN_USE:
                rate = float(sounddevice.query_devices(self._device, "output")["default_samplerate"])
                sound = self._samples(cue, rate).astype(np.float32)
                with sounddevice.OutputStream(device=self._device, samplerate=rate, channels=1, dtype="float32") as stream:
                    stream.write(sound[:, np.newaxis])
        except Exception as error:  # noqa: BLE001 - whatever a loudspeaker's driver throws, the inspection goes on
            return translated(error, doing="playing a cue")
        return None
