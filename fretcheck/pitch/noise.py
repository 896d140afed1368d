"""The noise in the frames of each partial, told from what a model misses: noise is rough from frame to frame, a misfit is not.

Conventions
-----------
Variances of one quadrature of one frame, full scale squared; arrays of shape ``(bands,)``.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_MEDIAN_SQUARE = 0.4549  # of a standard normal variable
_DIFFERENCE_VARIANCE = {2: 6.0 - 8.0 / 6.0, 4: 70.0 - 112.0 / 6.0}  # of half-overlapping Hann frames, correlated by 1/6
_ENOUGH_FRAMES = 12
_REACH = 4  # bands on either side over which it is pooled


def frame_noise(quadrature: Array) -> Array:
    """Variance of one frame's quadrature, by the middle of high differences, which a slow misfit does not reach.

    `quadrature` of shape ``(frames, bands)``; pooled over neighbouring bands.
    """
    order = 4 if len(quadrature) >= _ENOUGH_FRAMES else 2
    high = np.diff(quadrature, n=order, axis=0)
    own = middle(high**2) / _MEDIAN_SQUARE / _DIFFERENCE_VARIANCE[order] + 1e-24
    freedom = 0.37 * len(high)  # the median uses that share of what the mean would
    pooled = np.exp(running_median(np.log(own), _REACH)) * (1.0 + 1.0 / max(1.0, freedom))
    limit = 1.0 + 3.0 * np.sqrt(2.0 / freedom)
    return np.asarray(np.where(own > limit * pooled, own, pooled))


def middle(values: Array) -> Array:
    """Median of `values`, shape ``(rows,)`` or ``(rows, columns)``, over the rows, in a fraction of the time numpy's takes."""
    lower, upper = (len(values) - 1) // 2, len(values) // 2
    ordered = np.partition(values.T, (lower, upper) if lower < upper else upper, axis=-1)
    return np.asarray((ordered[..., lower] + ordered[..., upper]) / 2.0)


def running_median(values: Array, reach: int) -> Array:
    if len(values) > reach:
        padded = np.concatenate([values[reach:0:-1], values, values[-2 : -reach - 2 : -1]])
    else:
        padded = np.pad(values, reach, mode="edge")
    around = padded[np.add.outer(np.arange(len(values)), np.arange(2 * reach + 1))]
    return np.asarray(np.partition(around, reach, axis=1)[:, reach])
