"""Where a sound sets in, and from where on it has settled.

Conventions: samples have shape ``(frames,)``; a cell is a millisecond of them.
"""

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.audio.segment.hops import hops
from fretcheck.audio.segment.levels import SMOOTH

CELLS_LOOKED_AT = 46
ATTACK = hops(0.05)
LATEST_SETTLED = hops(0.15)
_BEFORE, _AHEAD = 8, 3


def frames_since_start(recent: Reals, cell: int) -> int | None:
    """How many frames before the end of `recent` its steepest rise lies; None when it is too short to tell.

    The energy of the sample-to-sample steps stands for the sound: it makes little of the slow swing of a note that still
    rings, and much of an attack.
    """
    steps = np.diff(recent)
    count = len(steps) // cell
    if count < _BEFORE + _AHEAD + 1:
        return None
    energy = np.sum(steps[len(steps) - count * cell :].reshape(count, cell) ** 2, axis=1)
    allowance = 1e-4 * float(energy.max()) + 1e-20
    ahead = np.convolve(energy, np.ones(_AHEAD) / _AHEAD)[_AHEAD - 1 :]
    before = np.lib.stride_tricks.sliding_window_view(energy, _BEFORE)[: count - _BEFORE - _AHEAD + 1].max(axis=1)
    rise = (ahead[_BEFORE : count - _AHEAD + 1] + allowance) / (before + allowance)
    return (count - _BEFORE - int(np.argmax(rise))) * cell


def settled_from(samples: Reals, hop: int) -> int:
    """Index at which the attack is over: 50 ms, or 30 ms after the loudest moment of a slower one."""
    count = min(len(samples) // hop, LATEST_SETTLED)
    if count == 0:
        return len(samples)
    energy = np.mean(samples[: count * hop].reshape(count, hop) ** 2, axis=1)
    loudest = int(np.argmax(np.convolve(energy, np.ones(SMOOTH) / SMOOTH)[:count])) - SMOOTH // 2
    return min(min(max(ATTACK, loudest + hops(0.03)), LATEST_SETTLED) * hop, len(samples))
