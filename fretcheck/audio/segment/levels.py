"""What was heard lately, hop by hop: levels and band powers, and how they fell.

Conventions: powers are mean squares, full scale 1; times are in hops (see `hops`); a fall is positive, in dB.
"""

from collections import deque
from math import log10

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.audio.segment.averages import FALL, FAST, PAIR, SMOOTH, Averager, hops
from fretcheck.audio.segment.hops import RECENT
from fretcheck.audio.segment.room import QUIETEST


def decibels(power: float, reference: float) -> float:
    """Ratio of two powers in dB."""
    return 10.0 * log10(max(power, 1e-20) / max(reference, 1e-20))


CELLS = hops(0.6)  # How many levels back the loudest is looked for
STILL = hops(2.0)
KEPT = STILL + 1
# What changes less than this in two seconds is the room, not a string: even a bass string falls 4 dB
STILL_DB, STILL_BANDS_DB = 1.5, 2.0
_STOP_DB = 12.0
_HALF_SECOND = range(0, hops(0.5), 5)


class Levels:
    """Told of each hop, answers about the last two seconds."""

    def __init__(self) -> None:
        self._averager = Averager()
        self._now = -1
        self._cells: list[float] = []
        self._means: dict[int, list[float]] = {PAIR: [], FAST: [], SMOOTH: []}
        self._falls: list[float] = []
        self.bands: deque[Reals] = deque(maxlen=KEPT)

    def take(self, levels: Reals) -> None:
        """Take the levels of a run of new hops, shape ``(hops,)``; `step` makes them known one after the other."""
        if len(self._cells) >= 2 * KEPT:
            for kept in (self._cells, self._falls, *self._means.values()):
                del kept[:-KEPT]
            self._now = KEPT - 1
        averages = self._averager.push(levels)
        self._cells.extend(levels.tolist())
        self._means[PAIR].extend(averages.pair.tolist())
        self._means[FAST].extend(averages.fast.tolist())
        self._means[SMOOTH].extend(averages.smooth.tolist())
        self._falls.extend(averages.fall_db.tolist())

    def step(self) -> None:
        """Go on to the next hop's level; its bands follow, when it has been judged against the past."""
        self._now += 1

    def add_bands(self, bands: Reals) -> None:
        """Take the bands of the same hop."""
        self.bands.append(bands)

    @property
    def smooth(self) -> float:
        """Mean of the last 65 ms; 0 before there is any."""
        return self.mean(SMOOTH)

    def mean(self, count: int, *, ago: int = 0) -> float:
        """Mean power of `PAIR`, `FAST` or `SMOOTH` hops, the last of them `ago` hops back."""
        at = self._now - ago
        return self._means[count][at] if at >= 0 else 0.0

    def loudest(self) -> float:
        """The loudest of the last 0.6 s."""
        return max(self._cells[max(0, self._now + 1 - CELLS) : self._now + 1])

    def fall_db(self, *, ago: int = 0) -> float:
        """How far the level fell in 100 ms, beyond the rate at which it had been falling before; `ago` hops back."""
        return self._falls[self._now - ago]

    def hand_stopped(self, floor: float) -> bool:
        """True when a level well above `floor` has dropped as no string does by itself."""
        return self._falls[self._now] > _STOP_DB and self.mean(FAST, ago=FALL) >= 10.0 * floor

    def hops_since_fall(self) -> int:
        """How long ago, within 100 ms, the level was last near what it had been."""
        reference = self.mean(FAST, ago=FALL)
        return next((ago for ago in range(FALL) if self._cells[self._now - ago] > 0.5 * reference), FALL)

    def standing_still(self) -> bool:
        """True when neither the level nor the bands have changed in two seconds."""
        if self._now < STILL:
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
