"""Variance of a sum over time whose terms are correlated: W. K. Newey & K. D. West, Econometrica 55, 703, 1987, from memory.

Conventions
-----------
Terms are summed in blocks first; blocks up to a third of the stretch apart count as correlated.
"""

from __future__ import annotations

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
