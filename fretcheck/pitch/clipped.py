"""Where a recording is cut off."""

import numpy as np
from numpy.typing import NDArray

from fretcheck.arrays import Reals

_FEWEST_TOPS = 3


def flat_tops(sound: Reals) -> NDArray[np.intp]:
    """Frames that sit on a flat top: three or more neighbours at the very largest value, in at least three places.

    A decaying string reaches its largest value once, and so do the rounded tops of a low note in few bits.
    """
    top = float(np.max(np.abs(sound), initial=0.0))
    if top == 0.0 or len(sound) < 3:
        return np.zeros(0, dtype=np.intp)
    at = np.flatnonzero(np.abs(sound) >= top * (1.0 - 1e-6))
    neighbours = (np.diff(at) == 1) & (np.diff(np.sign(sound[at])) == 0.0)
    found = at[1:-1][neighbours[:-1] & neighbours[1:]]
    places = int(np.sum(np.diff(found) > 1)) + 1
    return np.asarray(found if len(found) and places >= _FEWEST_TOPS else found[:0])
