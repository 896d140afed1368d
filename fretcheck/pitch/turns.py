"""Exponentials at times in equal steps: a few of them, and products of two short tables for the rest."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]


def turns(cycles: Array, half: int) -> Complex:
    """exp(2πi·cycles·t) for t = −half+½ … half−½, shape ``(2·half, bands)``, by products of two short tables."""
    coarse = max(1, int(np.sqrt(2 * half)))
    rows = -(-2 * half // coarse)
    outer = np.exp(2j * np.pi * np.outer(np.arange(rows) * coarse - (half - 0.5), cycles))
    inner = np.exp(2j * np.pi * np.outer(np.arange(coarse), cycles))
    return _products(outer, inner)[: 2 * half]


def turning_and_power(rate: Complex, time: Array) -> tuple[Complex, Array]:
    """exp(rate·time) and the square of its size, shape ``(times, rates)``; `time` in equal steps."""
    step = float(time[-1] - time[0]) / (len(time) - 1)
    by = int(np.ceil(np.sqrt(len(time))))
    fine = np.exp(rate * (step * np.arange(by))[:, None])
    coarse = np.exp(rate * (time[0] + by * step * np.arange(-(-len(time) // by)))[:, None])
    sizes = (each.real**2 + each.imag**2 for each in (coarse, fine))
    return _products(coarse, fine)[: len(time)], _products(*sizes)[: len(time)]


def _products(coarse: NDArray[Any], fine: NDArray[Any]) -> NDArray[Any]:
    return np.asarray((coarse[:, None, :] * fine[None, :, :]).reshape(-1, coarse.shape[1]))
