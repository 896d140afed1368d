"""The level of each hop averaged over the last few, and how fast it falls.

Conventions: levels are mean squares, full scale 1, shape ``(hops,)``; averages cover as many hops as there are at the start.
What comes out does not depend on how the hops were cut into runs.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fretcheck.arrays import Reals
from fretcheck.audio.segment.hops import HOP_S
from fretcheck.audio.segment.windows import overlapping


def hops(seconds: float) -> int:
    return round(seconds / HOP_S)


# Levels are averaged over two periods of the lowest string; the fast one over little more than one
PAIR, FAST, SMOOTH = 2, hops(0.040), hops(0.065)
FALL = hops(0.1)
_NOTHING = 1e-20


@dataclass(frozen=True)
class Averages:
    """Of a run of hops, one value each."""

    pair: Reals
    fast: Reals
    smooth: Reals
    # How far the fast average fell in 100 ms, beyond the rate at which it had been falling in the 200 ms before
    fall_db: Reals


class Averager:
    """Takes runs of levels, gives their averages."""

    def __init__(self) -> None:
        self._held = 0
        self._levels = np.zeros(SMOOTH - 1)
        self._fast = np.zeros(3 * FALL)

    def push(self, levels: Reals) -> Averages:
        """Take the levels of the next hops."""
        held = self._held + np.arange(1, len(levels) + 1)
        self._held += len(levels)
        known = np.concatenate((self._levels, levels))
        self._levels = known[-len(self._levels) :]
        pair, fast, smooth = (
            overlapping(known[SMOOTH - count :], count).sum(axis=1) / np.minimum(held, count) for count in (PAIR, FAST, SMOOTH)
        )
        self._fast = np.concatenate((self._fast[-3 * FALL :], fast))
        return Averages(pair, fast, smooth, _fall_db(self._fast, held))


def _fall_db(fast: Reals, held: NDArray[np.intp]) -> Reals:
    """Of the last ``len(held)`` values of `fast`; the natural fall is known once the hops `held` reach back far enough."""
    count = len(held)
    level = 10.0 * np.log10(np.maximum(fast, _NOTHING))
    earliest, before, now = level[:count], level[2 * FALL : 2 * FALL + count], level[3 * FALL :]
    natural = np.maximum(0.0, (earliest - before) / 2.0)
    return np.asarray(before - now - np.where(held >= 3 * FALL + FAST, natural, 0.0))
