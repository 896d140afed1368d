"""Notes that are heard but too faint to begin a pluck: whoever plucks too softly for the room has to be told so.

A pluck is noticed when it stands out of the room; one that does not is passed over in silence, however often it is repeated.
Here the partials of the note that is asked for are looked for below that: lines that stand out of the noise beside them,
that were not there a moment ago, stay where they are, and fade. A fan's lines do not fade, a voice does not keep its pitch, and
noise has no lines; and a single such sound is not told yet, only the second within a quarter of a minute.

Conventions: levels in dB, RMS, full scale 0. A look is at the newest `WINDOW_S` of sound, one each `EVERY_S`.
"""

from collections import deque
from dataclasses import dataclass
from math import log10

import numpy as np
from numpy.typing import NDArray

from fretcheck.arrays import Reals
from fretcheck.audio.segment.tape import Tape

WINDOW_S = 0.4
EVERY_S = 0.1
TWICE_WITHIN_S = 15.0
SILENT_FOR_S = 10.0  # Told once, it is not told again for so long
_HIGHEST_HZ = 4_000.0
_MOST_PARTIALS = 10
_AROUND_CENTS = np.arange(-60.0, 60.1, 4.0)
_FLOOR_HZ = 60.0
# So far from a line the sound is compared with it: a voice's lines are as wide as its pitch wanders, a string's are not
_BESIDE_HZ = (7.0, 15.0)
# A line counts by what it stands out beyond `_NOISE_DB`, at most so much: one strong line is no string
_NOISE_DB, _MOST_DB = 8.0, 12.0
_HEARD, _STILL_HEARD = 18.0, 8.0  # Noise alone, of whatever colour, came to 12 in trials; a note 12 dB below it to 20 and more
_APART = round(WINDOW_S / EVERY_S)  # Looks from one to the next that shares no sound with it
_RISE_DB = 4.0
_FADE_DB = (0.3, 20.0)
_SAME_CENTS = 16.0


@dataclass(frozen=True)
class FaintNote:
    """A note was heard that is too faint to be measured."""

    level_db: float
    room_db: float


@dataclass(frozen=True)
class _Look:
    spectrum: Reals  # Power in each bin
    floor: Reals
    room_db: float
    cents: float  # Where, about the note asked for, its partials are seen best
    score: float


class FaintNotes:
    """Listens for one note at a time, between plucks. `sample_rate`: Hz."""

    def __init__(self, sample_rate: float) -> None:
        self._rate = sample_rate
        self._size = round(WINDOW_S * sample_rate)
        self._length = 1 << int(np.ceil(np.log2(2 * self._size)))
        window = np.hanning(self._size)
        self._window = window * np.sqrt(2.0 / (np.sum(window**2) * self._length))
        self._step_hz = sample_rate / self._length
        self._bins = int(min(_HIGHEST_HZ, 0.45 * sample_rate) / self._step_hz)
        self._since_s = 0.0
        self._last_s = -TWICE_WITHIN_S
        self._announced_s = -SILENT_FOR_S
        self._hz = 0.0
        self.restart()

    def restart(self) -> None:
        """A pluck was heard, or sound was lost: what came before no longer counts."""
        self._tape = Tape()
        self._looks: deque[_Look] = deque(maxlen=2 * _APART + 1)
        self._last_s = -TWICE_WITHIN_S

    def push(self, samples: Reals, expected_hz: float) -> FaintNote | None:
        """Take the next samples, shape ``(frames,)``, while a note of about `expected_hz` is waited for."""
        if expected_hz != self._hz:
            self._hz = expected_hz
            self.restart()
        self._tape.append(samples)
        self._since_s += len(samples) / self._rate
        due = self._size if not self._looks else self._size + round(EVERY_S * self._rate)
        while self._tape.end - self._tape.start >= due:
            self._tape.forget_before(self._tape.start + due - self._size)
            self._looks.append(self._look(self._tape.view(self._tape.start, self._tape.start + self._size)))
            due = self._size + round(EVERY_S * self._rate)
            if (found := self._judge()) is not None:
                return found
        return None

    def _look(self, sound: Reals) -> _Look:
        spectrum = np.abs(np.fft.rfft((sound - np.mean(sound)) * self._window, self._length)[: self._bins]) ** 2
        width = max(8, round(_FLOOR_HZ / self._step_hz))
        count = max(1, self._bins // width)
        medians = np.median(spectrum[: count * width].reshape(count, width), axis=1) / np.log(2.0)  # of the noise's mean
        floor = np.interp(np.arange(self._bins), (np.arange(count) + 0.5) * width, medians) + 1e-20
        sums = np.concatenate(([0.0], np.cumsum(spectrum)))
        near, far = (round(hz / self._step_hz) for hz in _BESIDE_HZ)
        at = np.arange(self._bins)
        below = sums[(at - near + 1).clip(0)] - sums[(at - far).clip(0)]
        above = sums[(at + far + 1).clip(max=self._bins)] - sums[(at + near).clip(max=self._bins)]
        beside = np.maximum(floor, np.maximum(below, above) / (far - near + 1))
        lines = self._lines(_AROUND_CENTS)
        over = 10.0 * np.log10(spectrum[lines] / beside[lines] + 1e-20)
        scores = np.sum(np.clip(over - _NOISE_DB, 0.0, _MOST_DB), axis=1)
        best = int(np.argmax(scores))
        room_db = 10.0 * log10(float(np.mean(sound**2)) + 1e-20)
        return _Look(spectrum, floor, room_db, float(_AROUND_CENTS[best]), float(scores[best]))

    def _lines(self, cents: Reals) -> NDArray[np.intp]:
        """Bins of the partials, shape ``(cents, partials)``."""
        most = max(1, min(_MOST_PARTIALS, int((self._bins - 2) * self._step_hz / (1.04 * self._hz))))
        hz = self._hz * 2.0 ** (cents[:, None] / 1200.0) * np.arange(1, most + 1)
        return np.round(hz / self._step_hz).astype(np.intp).clip(0, self._bins - 1)

    def _near(self, cents: float) -> NDArray[np.intp]:
        """Bins of the partials, as wide as the window makes them."""
        near = self._lines(np.array([cents]))[0][:, None] + np.arange(-3, 4)[None, :]
        return np.unique(near.clip(0, self._bins - 1))

    def _judge(self) -> FaintNote | None:
        """Did a note begin between the oldest look held and the middle one, and does it fade since?"""
        if len(self._looks) <= 2 * _APART:
            return None
        before, *since = list(self._looks)[:: _APART // 2]
        then, now = since[1], since[-1]
        if then.score < _HEARD or min(look.score for look in since[1:]) < _STILL_HEARD:
            return None
        if np.ptp([look.cents for look in since[1:]]) > _SAME_CENTS:
            return None
        near = self._near(then.cents)
        powers = [float(max(np.sum(look.spectrum[near] / then.floor[near] - 1.0), 1e-3)) for look in (before, then, now)]
        rise_db, fade_db = (10.0 * log10(powers[1] / other) for other in (powers[0], powers[2]))
        if rise_db < _RISE_DB or not _FADE_DB[0] <= fade_db <= _FADE_DB[1]:
            return None
        again = self._since_s - self._last_s <= TWICE_WITHIN_S
        self._last_s = self._since_s
        self._looks.clear()
        if not again or self._since_s - self._announced_s < SILENT_FOR_S:
            return None
        self._announced_s = self._since_s
        power = float(max(np.sum(then.spectrum[near] - then.floor[near]), 1e-20))
        return FaintNote(level_db=10.0 * log10(power), room_db=before.room_db)
