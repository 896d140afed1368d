"""Where a stretch of sound was cut off at a rail.

Conventions: full scale is 1. A frame is called clipped when it lies, with at least two neighbours, exactly at the stretch's
own extreme: either a rail near full scale, or (a recording clipped first and turned down later) a level at which the wave is
cut off again and again. The flat top of a quantised sine also shows equal samples, but only a few times, because a plucked
string decays.
"""

import numpy as np
from numpy.typing import NDArray

from fretcheck.arrays import Reals

NEAR_FULL_SCALE = 0.97  # 8-bit full scale is 0.992; converters clip within 0.2 dB of their rail (common practice, no source)
RUN = 3
MANY_RUNS = 10


def clipped_frames(samples: Reals) -> NDArray[np.intp]:
    """Indices, ascending, of the frames of `samples`, shape ``(frames,)``, that sit on a rail."""
    found = [np.zeros(0, dtype=np.intp)]
    for towards in (samples, -samples):
        rail = float(np.max(towards, initial=0.0))
        at = np.flatnonzero(towards >= rail * (1.0 - 1e-6)) if rail > 0.0 else found[0]
        lengths = np.diff(np.flatnonzero(np.diff(at, prepend=-2) > 1), append=len(at))
        if rail >= NEAR_FULL_SCALE or np.count_nonzero(lengths >= RUN) >= MANY_RUNS:
            found.append(at[np.repeat(lengths >= RUN, lengths)])
    return np.sort(np.concatenate(found))


def clipped_fraction(samples: Reals) -> float:
    """Share of `samples`, shape ``(frames,)``, that sits on a rail, 0 to 1."""
    return len(clipped_frames(samples)) / max(len(samples), 1)
