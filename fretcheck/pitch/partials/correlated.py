"""Means over time: moving ones, and the variance of a sum whose terms are correlated.

The variance is that of W. K. Newey & K. D. West, Econometrica 55, 703, 1987, from memory.

Conventions: terms are summed in blocks first; blocks up to a third of the stretch apart count as correlated.
"""

import numpy as np

from fretcheck.arrays import Reals

COUNT = 24
_REACH = COUNT // 3
_APART = np.abs(np.subtract.outer(np.arange(COUNT), np.arange(COUNT)))
_KERNEL = np.maximum(0.0, 1.0 - _APART / _REACH)


def blocks(terms: Reals, *, axis: int) -> Reals:
    """Sums of the terms in 24 blocks along `axis`."""
    edges = np.linspace(0, terms.shape[axis], COUNT + 1)[:-1].astype(int)
    return np.asarray(np.add.reduceat(terms, edges, axis=axis))


def variance(summed: Reals, *, axis: int) -> Reals:
    """Of the sum of the blocks along `axis`; the kernel keeps it from being negative."""
    last = np.moveaxis(summed, axis, -1)
    return np.asarray(np.sum((last @ _KERNEL) * last, axis=-1))


def moving_mean(values: Reals, half: int) -> Reals:
    """Mean over so many frames on either side along the last axis, fewer at the ends."""
    count = values.shape[-1]
    summed = np.cumsum(np.concatenate([np.zeros((*values.shape[:-1], 1)), values], axis=-1), axis=-1)
    first = np.maximum(np.arange(count) - half, 0)
    last = np.minimum(np.arange(count) + half + 1, count)
    return np.asarray((summed[..., last] - summed[..., first]) / (last - first))
