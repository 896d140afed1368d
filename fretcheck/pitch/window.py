"""Which stretch of a pluck is to be measured: from the end of the attack to the hand, the next pluck or the end.

Conventions
-----------
Levels are those of all partials together, in dB; times in seconds after the onset. A hand stops a string many times faster
than it dies away by itself; another pluck raises the level.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fretcheck.pitch.frames import Frames

Array = NDArray[np.float64]

ATTACK_S = 0.010

_LOOK_S = 0.060
_STOP_DB = 9.0
_STOP_AGAINST_DECAY = 4.0
_RISE_DB = 6.0
_CAUTION_S = 0.015


def ringing_frames(frames: Frames) -> int:
    """How many frames lie before the note is stopped, or plucked again; all of them when it is neither.

    A fall counts as a stop when it is 9 dB within 60 ms and four times as steep as the decay before it; a rise of 6 dB within
    60 ms counts as another pluck.
    """
    count = len(frames.time_s)
    look = max(1, int(np.ceil(_LOOK_S / frames.step_s)))
    if count < 2 * look + 2:
        return count
    level = 10.0 * np.log10(np.sum(np.abs(frames.values) ** 2, axis=1) + 1e-30)
    change = level[look:] - level[:-look]
    span = look * frames.step_s
    falls = np.cumsum(np.minimum(change, 0.0))
    usual = np.concatenate(([falls[0]], falls[:-1] / np.arange(1.0, len(falls))))
    stopped = change < np.minimum(-_STOP_DB * span / _LOOK_S, _STOP_AGAINST_DECAY * usual)
    risen = change > _RISE_DB
    risen[: look + 1] = False
    found = np.flatnonzero(stopped | risen)
    if not len(found):
        return count
    # the first frame of the fall is still ringing; frames reach half their length beyond their centres
    first = int(found[0])
    within = level[first + 1 : first + look + 1] - level[first : first + look]
    sharp = np.flatnonzero((within < -0.25 * _STOP_DB) | (within > 0.25 * _RISE_DB))
    at = first + (int(sharp[0]) if len(sharp) else 0)
    return max(0, at - int(np.ceil(_CAUTION_S / frames.step_s)) + 1)
