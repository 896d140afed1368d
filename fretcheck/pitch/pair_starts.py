"""Where fits of pairs begin: splits that the bands make likely, and each band's pair at a given split.

Conventions
-----------
As in `pair_model`.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fretcheck.pitch.pair_model import COUNT, LEVEL, U_LOG_LEVEL, PairProblem, level_of, linear_pairs
from fretcheck.pitch.pair_moments import PairMoments, with_amplitudes
from fretcheck.pitch.turns import turning_and_power

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

_WIDEST_HZ = 8.0
_STEPS_A_CYCLE = 3.0
_SLOWEST_CYCLES = 0.06  # over the note, of a shared split that is looked for
_SLOW_CYCLES = np.array([0.12, 0.25, 0.4])  # over the note: splits too slow for the grid, always tried
_FINE, _CANDIDATES, _FOLLOWED = 240, 4, 3
_SHARED = 0.93  # of what splits of their own are worth to the bands, that the best shared one must be worth
_BESIDE = 3.0  # rad
_FURTHEST = 3.0  # rad/s, in one step
_LEAST_HELD = 1e-6


class Starts(NamedTuple):
    """How a pair of a given split is looked for: by how much the first guess is shifted, and how many steps follow.

    The guess may have followed either plane or something between, and a fit that starts between the planes ends at a wrong pair
    more often than one that starts outside.
    """

    shifts: tuple[tuple[float, float], ...]
    """Parts of the split, and of as much again as half of it, but no more than `_BESIDE` over the note."""
    turns: int


_ABOVE, _FIRST, _BETWEEN, _SECOND, _BELOW = (0.0, 1.0), (0.0, 0.0), (-0.5, 0.0), (-1.0, 0.0), (-1.0, -1.0)
_FEW = Starts((_ABOVE, _BELOW), 3)
MANY = Starts((_ABOVE, _FIRST, _BETWEEN, _SECOND, _BELOW), 4)
MOST = Starts(((0.0, 2.0), *MANY.shifts, (-1.0, -2.0)), 10)


def likely_shared(problem: PairProblem, factor: Array) -> list[float]:
    """The likeliest splits of partial 1, upward: downward is the same with the planes exchanged; none where none suits all bands.

    Bands whose split would be out of reach add nothing.
    """
    grid = linear_pairs(problem, _tied_grid(problem))
    splits = grid.splits[:, 0]
    positive = splits[splits > 0.0]
    fine = np.geomspace(positive[0] / np.max(factor), positive[-1], _FINE)
    least = np.min(grid.gain, axis=0)
    up, down = np.zeros((2, len(fine)))
    for band, times in enumerate(factor):
        up += np.interp(fine * times, splits, grid.gain[:, band], left=least[band], right=least[band])
        down += np.interp(-fine * times, splits, grid.gain[:, band], left=least[band], right=least[band])
    total = np.maximum(up, down)
    if np.max(total) - np.sum(least) < _SHARED * np.sum(np.max(grid.gain, axis=0) - least):
        return []
    peak = np.flatnonzero((total >= np.append(total[1:], -np.inf)) & (total > np.append(-np.inf, total[:-1])))
    shared = fine[peak[np.argsort(total[peak])[::-1][:_CANDIDATES]]]
    shared = np.append(shared, 2.0 * np.pi / problem.span_s / np.max(factor) ** 0.5 * _SLOW_CYCLES)
    _, costs = starts_tied(problem, shared[:, None] * factor, _FEW)
    return [float(shared[at]) for at in np.argsort(costs)[:_FOLLOWED]]


def alone_grid(problem: PairProblem) -> Array:
    """Splits of a single band, downward and upward, as `linear_pairs` takes them."""
    step = 1.0 / (_STEPS_A_CYCLE * problem.span_s)
    splits = step * np.arange(1, int(min(_WIDEST_HZ, 0.2 / (problem.time[1] - problem.time[0])) / step) + 1)
    return np.asarray(2.0 * np.pi * np.concatenate([splits, -splits])[:, None])


def _tied_grid(problem: PairProblem) -> Array:
    """Fine where splits are slow, a few to the cycle where they are fast; in rising order."""
    even = alone_grid(problem)[:, 0]
    even = even[even > 0.0]
    slow = np.geomspace(2.0 * np.pi * _SLOWEST_CYCLES / problem.span_s, even[0], 8, endpoint=False)
    positive = np.concatenate([slow, even])
    return np.asarray(np.concatenate([-positive[::-1], positive])[:, None])


def starts_tied(problem: PairProblem, splits: Array, starts: Starts) -> tuple[Array, Array]:
    """Pairs at given splits: the rate by Gauss–Newton steps, the amplitudes by linear least squares at each.

    Each band takes the shift that suits it best.

    Parameters
    ----------
    splits : ndarray, shape (rows, bands)

    Returns
    -------
    states : ndarray, shape (rows, parameters, bands)
    cost : ndarray, shape (rows,)
        χ² of all bands, with the level's prior.
    """
    rows, bands = splits.shape
    shifts = starts.shifts
    tried = problem.repeated(len(shifts) * rows)
    split = np.tile(splits.ravel(), len(shifts))
    against = turning_and_power(np.asarray(1j * split, dtype=np.complex128), problem.time)
    rate = np.zeros(len(split), complex)
    beside = np.sign(split) * np.minimum(0.5 * np.abs(split), _BESIDE / problem.span_s)
    step = np.asarray(1j * np.sum(np.repeat(shifts, rows * bands, axis=0) * np.stack([split, beside], axis=1), axis=1))
    cost = np.full(len(split), np.inf)
    c0, c2 = np.ones(len(split), complex), np.zeros(len(split), complex)
    for _ in range(starts.turns):
        sums = PairMoments.at(tried, rate + step, against)
        its_c0, its_c2 = sums.amplitudes()
        its_cost = sums.misfit(its_c0, its_c2)
        better = its_cost < cost
        rate, cost = np.where(better, rate + step, rate), np.where(better, its_cost, cost)
        c0, c2 = np.where(better, its_c0, c0), np.where(better, its_c2, c2)
        moved = _shared_step(sums, its_c0, its_c2)
        step = np.where(better, moved.real.clip(-_FURTHEST, _FURTHEST) + 1j * moved.imag.clip(-_FURTHEST, _FURTHEST), 0.25 * step)
    nothing = np.zeros(len(split))
    state = with_amplitudes(np.array([*[nothing] * 2, -rate.real, rate.imag, *[nothing] * 2, split, nothing]), c0, c2)
    with_level = cost + (np.log(level_of(state).clip(1e-3) / LEVEL) / U_LOG_LEVEL) ** 2
    by_shift = with_level.reshape(len(shifts), rows, bands)
    best = np.argmin(by_shift, axis=0)
    chosen = np.take_along_axis(state.reshape(COUNT, len(shifts), rows, bands), best[None, None], axis=1)[:, 0]
    return chosen.transpose(1, 0, 2), np.sum(np.min(by_shift, axis=0), axis=1)


def _shared_step(sums: PairMoments, c0: Complex, c2: Complex) -> Complex:
    """Change of the rate that both planes share, by linear least squares about the best amplitudes, which follow it."""
    by_main = c0 * sums.mm[1] + c2 * sums.ms[1]
    by_second = c0 * sums.ms[1].conj() + c2 * sums.ss[1]
    both = 2.0 * (c0.conj() * c2 * sums.ms[2]).real
    by_rate = np.abs(c0) ** 2 * sums.mm[2] + np.abs(c2) ** 2 * sums.ss[2] + both
    followed = sums.ss[0] * np.abs(by_main) ** 2 + sums.mm[0] * np.abs(by_second) ** 2
    followed -= 2.0 * (sums.ms[0] * by_main.conj() * by_second).real
    held = by_rate - followed / sums.determinant
    pull = c0.conj() * (sums.mr[1] - by_main) + c2.conj() * (sums.sr[1] - by_second)
    return np.asarray(pull / np.maximum(held, _LEAST_HELD * by_rate))
