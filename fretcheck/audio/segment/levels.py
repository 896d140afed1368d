"""What was heard lately, hop by hop: levels and band powers, and how they fell.

Conventions: powers are mean squares, full scale 1; times are in hops (see `hops`); a fall is positive, in dB. Averages cover as
many hops as there are at the start. What comes out does not depend on how the hops were cut into runs.
"""

from collections import deque
from math import log10

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.audio.segment.hops import RECENT, hops, overlapping
from fretcheck.audio.segment.room import QUIETEST

# Levels are averaged over two periods of the lowest string; the fast one over little more than one
PAIR, FAST, SMOOTH = 2, hops(0.040), hops(0.065)
FALL = hops(0.1)
CELLS = hops(0.6)  # How many levels back the loudest is looked for
STILL = hops(2.0)
KEPT = STILL + 1
# What changes less than this in two seconds is the room, not a string: even a bass string falls 4 dB
STILL_DB, STILL_BANDS_DB = 1.5, 2.0
_STOP_DB = 12.0
_HALF_SECOND = range(0, hops(0.5), 5)
_NOTHING = 1e-20


def decibels(power: float, reference: float) -> float:
    """Ratio of two powers in dB."""
    return 10.0 * log10(max(power, _NOTHING) / max(reference, _NOTHING))


class Levels:
    """Told of each hop, answers about the last two seconds."""

    def __init__(self) -> None:
        self._held = self._stepped = 0  # Hops taken, and of these made known
        self._now = KEPT - 1  # Index of the last one made known; before the first there are zeros
        self._cells = self._falls = np.zeros(KEPT)
        self._means = dict.fromkeys((PAIR, FAST, SMOOTH), np.zeros(KEPT))
        self.bands: deque[Reals] = deque(maxlen=KEPT)

    def take(self, levels: Reals) -> None:
        """Take the levels of a run of new hops, shape ``(hops,)``; `step` makes them known one after the other."""
        count, self._now = len(levels), KEPT - 1
        held = self._held + np.arange(1, count + 1)
        self._held += count
        self._cells = np.concatenate((self._cells[-KEPT:], levels))
        for size, mean in self._means.items():
            new = overlapping(self._cells[KEPT + 1 - size :], size).sum(axis=1) / np.minimum(held, size)
            self._means[size] = np.concatenate((mean[-KEPT:], new))
        level = 10.0 * np.log10(np.maximum(self._means[FAST][-3 * FALL - count :], _NOTHING))
        earliest, before, now = level[:count], level[2 * FALL : 2 * FALL + count], level[3 * FALL :]
        # the natural fall is known once the hops reach back far enough
        natural = np.where(held >= 3 * FALL + FAST, np.maximum(0.0, (earliest - before) / 2.0), 0.0)
        self._falls = np.concatenate((self._falls[-KEPT:], before - now - natural))

    def step(self) -> None:
        """Go on to the next hop's level; its bands follow, when it has been judged against the past."""
        self._now += 1
        self._stepped += 1

    @property
    def smooth(self) -> float:
        """Mean of the last 65 ms; 0 before there is any."""
        return self.mean(SMOOTH)

    def mean(self, count: int, *, ago: int = 0) -> float:
        """Mean power of `PAIR`, `FAST` or `SMOOTH` hops, the last of them `ago` hops back."""
        return float(self._means[count][self._now - ago])

    def loudest(self) -> float:
        """The loudest of the last 0.6 s."""
        return float(self._cells[self._now + 1 - CELLS : self._now + 1].max())

    def fall_db(self, *, ago: int = 0) -> float:
        """How far the fast average fell in 100 ms, beyond the rate at which it fell in the 200 ms before; `ago` hops back."""
        return float(self._falls[self._now - ago])

    def hand_stopped(self, floor: float) -> bool:
        """True when a level well above `floor` has dropped as no string does by itself."""
        return self.fall_db() > _STOP_DB and self.mean(FAST, ago=FALL) >= 10.0 * floor

    def hops_since_fall(self) -> int:
        """How long ago, within 100 ms, the level was last near what it had been."""
        reference = self.mean(FAST, ago=FALL)
        return next((ago for ago in range(FALL) if self._cells[self._now - ago] > 0.5 * reference), FALL)

    def standing_still(self) -> bool:
        """True when neither the level nor the bands have changed in two seconds."""
        if self._stepped <= STILL:
            return False
        recent = sum(self.mean(SMOOTH, ago=ago) for ago in _HALF_SECOND)
        earlier = sum(self.mean(SMOOTH, ago=STILL - since) for since in _HALF_SECOND)
        if abs(decibels(earlier, recent)) > STILL_DB:
            return False
        then = np.mean([self.bands[index] for index in _HALF_SECOND], axis=0)
        change = 10.0 * np.log10((then + QUIETEST) / (self.mean_bands() + QUIETEST))
        return float(np.mean(np.abs(change))) < STILL_BANDS_DB

    def mean_bands(self) -> Reals:
        """Mean of the bands over the last half second."""
        return np.asarray(np.mean([self.bands[-1 - ago] for ago in _HALF_SECOND if ago < len(self.bands)], axis=0))

    def bands_before_rise(self) -> Reals | None:
        """Mean of the bands in the recent past with which a rise is compared; None when there is too little of it."""
        if len(self.bands) <= RECENT[1]:
            return None
        return np.asarray(np.mean([self.bands[-index] for index in range(RECENT[0] + 2, RECENT[1])], axis=0))

    def mean_fall_of_bands_db(self, *, most_db: float) -> float:
        """How far, on average over the bands, the sound has fallen since the first moments held."""
        bands = list(self.bands)
        first = np.max(bands[hops(0.05) : hops(0.12)], axis=0)  # whole windows, past the step from nothing
        last = np.max(bands[-hops(0.08) - RECENT[0] : -RECENT[0]], axis=0)
        allowance = 1e-6 * float(first.sum()) + QUIETEST / len(first)
        fall = 10.0 * np.log10((first + allowance) / (last + allowance))
        return float(np.clip(fall, 0.0, most_db).mean())
