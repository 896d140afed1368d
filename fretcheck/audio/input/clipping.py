"""How much of a stretch of sound was cut off at a rail.

Conventions: full scale is 1. A sample is called clipped when it lies, with at least two neighbours, exactly at the stretch's
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


def clipped_fraction(samples: Reals) -> float:
    """Share of `samples`, shape ``(frames,)``, that sits on a rail, 0 to 1."""
    if len(samples) < RUN:
        return 0.0
    clipped = 0
    for rail in (float(samples.max()), float(-samples.min())):
        if rail <= 0.0:
            continue
        sign = 1.0 if rail == float(samples.max()) else -1.0
        at_rail = sign * samples >= rail * (1.0 - 1e-6)
        if np.count_nonzero(at_rail) < RUN:
            continue
        lengths = _run_lengths(at_rail)
        if rail >= NEAR_FULL_SCALE or len(lengths) >= MANY_RUNS:
            clipped += int(lengths.sum())
    return min(clipped / len(samples), 1.0)


def _run_lengths(on: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Lengths of the runs of True that are at least `RUN` long."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], on, [False])).astype(np.int8)))
    lengths = edges[1::2] - edges[::2]
    return lengths[lengths >= RUN]
