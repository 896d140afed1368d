"""Fits of pairs of decaying sinusoids: every band on its own, or all tied by a split that they share.

Tied, δ of partial n is D·n^g for all bands, with the one unknown D: g is 0 where the planes differ by the same number of hertz,
1 where they differ by the same number of cents. Gauss–Newton steps with Levenberg's damping; D is eliminated last (Schur
complement), so that a step costs one small system a band, and the amplitudes follow each step by linear least squares.

Conventions
-----------
As in `pair_model`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fretcheck.pitch.pair_model import (
    COUNT,
    LARGEST_STEP,
    LEVEL,
    SPLIT,
    U_LOG_LEVEL,
    PairFit,
    PairProblem,
    damped,
    inverse_of_many,
    linear_pairs,
)
from fretcheck.pitch.pair_moments import PairMoments, with_amplitudes

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

_OTHER = np.array([at for at in range(COUNT) if at != SPLIT])
_OTHERS_ROWS = _OTHER[:, None]

_WIDEST_HZ = 8.0
_STEPS_A_CYCLE = 3.0
_SLOWEST_CYCLES = 0.06  # over the note, of a shared split that is looked for
_SLOW_CYCLES = np.array([0.12, 0.25, 0.4])  # over the note: splits too slow for the grid, always tried
_TURNS, _TIED_TURNS, _START_TURNS = 8, 20, 5
_CONVERGED = 0.05  # χ²
_STRAYS, _STUCK = 2.0, 1e3
_FINE, _CANDIDATES, _FOLLOWED = 240, 3, 2
_SEARCH_BANDS = 14
_GROWTHS = (0.0, 1.0)  # the same in hertz, the same in cents
_WORSE = 100.0  # times the χ² of the best start, beyond which another is not followed
_FAR = 5.0  # χ² for each value
_ALIKE = 100.0  # tighter, at first, is it known that both planes decay alike: a slow split hides behind unequal decays
_NO_RIVAL = 12.0  # half a χ²
_FEW_STARTS, _MANY_STARTS = (0.0, -1.0), (0.0, -1.0, -0.5, 0.5)


def fit_alone(problem: PairProblem) -> PairFit:
    """Every band with a split of its own, from the best of a grid."""
    grid = linear_pairs(problem, _alone_grid(problem))
    best = np.argmax(grid.gain, axis=0)
    state = grid.start(best)
    damping = np.full(problem.ratio.shape[1], 1e-2)
    cost, normal, wanted = _normal_equations(problem, state)
    for _ in range(_TURNS):
        change = np.linalg.solve(damped(normal, damping), wanted[:, :, None])[:, :, 0].T
        trial = state + np.clip(change, -LARGEST_STEP, LARGEST_STEP)
        new_cost, new_normal, new_wanted = _normal_equations(problem, trial)
        better = new_cost < cost
        state = np.where(better, trial, state)
        cost = np.where(better, new_cost, cost)
        normal = np.where(better[:, None, None], new_normal, normal)
        wanted = np.where(better[:, None], new_wanted, wanted)
        damping = np.where(better, damping * 0.2, damping * 8.0).clip(1e-9, 1e6)
    nothing = np.zeros_like(state)
    return PairFit(state, inverse_of_many(normal), cost, nothing, nothing)


def fit_tied(problem: PairProblem, numbers: Array, *, near: tuple[float, float] | None = None) -> PairFit | None:
    """All bands with one shared split; None where none comes near to what the strongest bands hold.

    Parameters
    ----------
    problem : PairProblem
    numbers : ndarray, shape (bands,)
        Of the partials.
    near : (float, float), optional
        By which power of n the split of partial n grows, and the split of partial 1 in rad/s, where these are nearly known.
    """
    thinned = problem.thinned()
    strong = np.sort(np.argsort(np.sum(thinned.weight, axis=0))[-_SEARCH_BANDS:])
    few, number = thinned.only(strong), numbers[strong]
    if near is None:
        likely = [(growth, shared) for growth in _GROWTHS for shared in _likely_shared(few, number**growth)]
    else:
        likely = [near, (near[0], -near[1])]
    growths = np.array([growth for growth, _ in likely])
    factors = number ** growths[:, None]
    states, costs = _starts_tied(few, np.array([shared for _, shared in likely])[:, None] * factors, _MANY_STARTS)
    followed = costs < _WORSE * np.min(costs)
    growths, factors, states = growths[followed], factors[followed], states[followed]
    alike = replace(few, prior_decay=_ALIKE * few.prior_decay)
    states, _ = _joint_tied(alike, states, factors)
    states, band_costs = _joint_tied(few, states, factors)
    costs = np.sum(band_costs, axis=1)
    first = int(np.argmin(costs))
    if np.median(band_costs[first]) > _FAR * 2.0 * len(few.time):
        return None
    growth, shared = growths[first], float(states[first, SPLIT, 0] / factors[first, 0])
    factor = numbers**growth
    state = _one_joint_tied(problem, _all_bands(thinned, shared, factor), factor)
    band_cost, normal, _ = _normal_equations(problem, state)
    covariance, moved = _tied_covariance(normal, factor)
    rival = np.zeros_like(state)
    for other in range(len(costs)):
        worse = 0.5 * float(costs[other] - costs[first])
        if other != first and growths[other] == growth and worse < _NO_RIVAL:
            share = 1.0 / (1.0 + np.exp(worse))
            its_split = float(states[other, SPLIT, 0] / factors[other, 0])
            (its_state,), _ = _starts_tied(thinned, its_split * factor[None, :], _MANY_STARTS)
            rival = np.sqrt(share * (1.0 - share)) * (its_state - state)
    return PairFit(state, covariance, band_cost, moved, rival, float(growth))


def _all_bands(problem: PairProblem, shared: float, factor: Array) -> Array:
    """The bands at a split that was found with the strongest of them; those that settle beside their best begin again."""
    alike = replace(problem, prior_decay=_ALIKE * problem.prior_decay)
    start, _ = _starts_tied(problem, shared * factor[None, :], _MANY_STARTS)
    states, _ = _joint_tied(alike, start, factor[None, :])
    states, costs = _joint_tied(problem, states, factor[None, :])
    state, cost = states[0], costs[0]
    if np.max(cost) > _STRAYS * np.median(cost):
        (again,), _ = _starts_tied(problem, state[None, SPLIT], _MANY_STARTS)
        state = _one_joint_tied(problem, np.where(PairMoments.of(problem, again).cost(again) < cost, again, state), factor)
    return np.asarray(state)


def _one_joint_tied(problem: PairProblem, state: Array, factor: Array) -> Array:
    states, _ = _joint_tied(problem, state[None], factor[None])
    return np.asarray(states[0])


def _joint_tied(problem: PairProblem, states: Array, factors: Array) -> tuple[Array, Array]:
    """Damped Gauss–Newton steps of all bands and the split they share; amplitudes follow each step by linear least squares.

    Parameters
    ----------
    states : ndarray, shape (fits, parameters, bands)
        Where to start; the fits have nothing to do with each other.
    factors : ndarray, shape (fits, bands)
        Each band's split for one of the shared split.

    Returns
    -------
    states : ndarray, shape (fits, parameters, bands)
    costs : ndarray, shape (fits, bands)
    """
    fits, bands = factors.shape
    whole = problem.repeated(fits)
    state = states.transpose(1, 0, 2).reshape(COUNT, fits * bands)
    damping = np.full(fits, 1e-6)
    cost, normal, wanted = _normal_equations(whole, state)
    open_fits = np.ones(fits, bool)
    for _ in range(_TIED_TURNS):
        trial = state + _tied_step(damped(normal, np.repeat(damping, bands)), normal, wanted, factors)
        moments = PairMoments.of(whole, trial)
        solved = with_amplitudes(trial, *moments.amplitudes())
        trial_cost, solved_cost = moments.cost(trial), moments.cost(solved)
        trial = np.where(solved_cost < trial_cost, solved, trial)
        new_cost = np.minimum(solved_cost, trial_cost)
        gained = np.sum((cost - new_cost).reshape(fits, bands), axis=1)
        better = open_fits & (gained > 0.0)
        taken = np.repeat(better, bands)
        new_normal, new_wanted = moments.normal_equations(trial)
        state, cost = np.where(taken, trial, state), np.where(taken, new_cost, cost)
        normal, wanted = np.where(taken[:, None, None], new_normal, normal), np.where(taken[:, None], new_wanted, wanted)
        damping = np.where(better, np.maximum(damping * 0.1, 1e-9), damping * 10.0)
        open_fits &= np.where(better, gained >= _CONVERGED, damping <= _STUCK)
        if not np.any(open_fits):
            break
    return state.reshape(COUNT, fits, bands).transpose(1, 0, 2), cost.reshape(fits, bands)


def _normal_equations(problem: PairProblem, state: Array) -> tuple[Array, Array, Array]:
    """Cost, normal matrix and gradient of every pair."""
    moments = PairMoments.of(problem, state)
    return moments.cost(state), *moments.normal_equations(state)


def _starts_tied(problem: PairProblem, splits: Array, shifts: tuple[float, ...]) -> tuple[Array, Array]:
    """Pairs at given splits: the rate by Gauss–Newton steps, the amplitudes by linear least squares at each.

    The first guess may have followed either plane or something between: it is shifted by those parts of the split, and each
    band takes what suits it best.

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
    tried = problem.repeated(len(shifts) * rows)
    split = np.tile(splits.ravel(), len(shifts))
    apart = np.asarray(1j * split, dtype=np.complex128)
    rate = np.asarray(1j * np.repeat(shifts, rows * bands) * split, dtype=np.complex128)
    c0, c2 = np.ones(len(split), complex), np.zeros(len(split), complex)
    for _ in range(_START_TURNS):
        sums = PairMoments.at(tried, rate, apart)
        c0, c2, moved = _linear_step(sums, c0, c2)
        rate = rate + moved.real.clip(-3.0, 3.0) + 1j * moved.imag.clip(-3.0, 3.0)
    nothing = np.zeros(len(split))
    state = with_amplitudes(np.array([*[nothing] * 2, -rate.real, rate.imag, *[nothing] * 2, split, nothing]), c0, c2)
    cost = PairMoments.at(tried, rate, apart).misfit(c0, c2)
    cost += (np.log(np.hypot(state[4], state[5]).clip(1e-3) / LEVEL) / U_LOG_LEVEL) ** 2
    cost = np.where(np.isfinite(cost), cost, np.inf).reshape(len(shifts), rows, bands)
    best = np.argmin(cost, axis=0)
    chosen = np.take_along_axis(state.reshape(COUNT, len(shifts), rows, bands), best[None, None], axis=1)[:, 0]
    return chosen.transpose(1, 0, 2), np.sum(np.min(cost, axis=0), axis=1)


def _linear_step(sums: PairMoments, c0: Complex, c2: Complex) -> tuple[Complex, Complex, Complex]:
    """Amplitudes, and change of the rate they share, by linear least squares about given amplitudes."""
    by_main = c0 * sums.mm[1] + c2 * sums.ms[1]
    by_second = c0 * sums.ms[1].conj() + c2 * sums.ss[1]
    both = 2.0 * (c0.conj() * c2 * sums.ms[2]).real
    by_rate = np.abs(c0) ** 2 * sums.mm[2] + np.abs(c2) ** 2 * sums.ss[2] + both
    parts = np.array(
        [sums.mm[0], sums.ms[0], by_main, sums.ms[0].conj(), sums.ss[0], by_second, by_main.conj(), by_second.conj(), by_rate]
    )
    parts[::4] *= 1.0 + 1e-9
    wanted = np.array([sums.mr[0], sums.sr[0], c0.conj() * sums.mr[1] + c2.conj() * sums.sr[1]])
    c0, c2, moved = np.linalg.solve(parts.T.reshape(-1, 3, 3), wanted.T[:, :, None])[:, :, 0].T
    return c0, c2, moved


def _tied_step(damped_normal: Array, normal: Array, wanted: Array, factors: Array) -> Array:
    """Change of all parameters, shape ``(parameters, fits·bands)``; the bands of a fit stay tied even where it is cut short."""
    across, stiffness, moved, first = _eliminated(damped_normal, normal, factors, wanted)
    pull = factors.ravel() * wanted[:, SPLIT] - (across * first).sum(axis=1)
    of_shared = pull.reshape(factors.shape).sum(axis=1) / stiffness
    furthest = LARGEST_STEP[SPLIT, 0] / np.median(factors, axis=1)
    change = np.empty((COUNT, factors.size))
    change[_OTHER] = (first - moved * np.repeat(of_shared, factors.shape[1])[:, None]).T.clip(
        -LARGEST_STEP[_OTHER], LARGEST_STEP[_OTHER]
    )
    change[SPLIT] = np.ravel(of_shared.clip(-furthest, furthest)[:, None] * factors)
    return change


def _tied_covariance(normal: Array, factor: Array) -> tuple[Array, Array]:
    """Covariance of the parameters, the shared split known, and their move for one sigma of it."""
    _, (stiffness,), moved, _ = _eliminated(normal, normal, factor[None, :], np.zeros((len(factor), COUNT)))
    covariance = np.zeros_like(normal)
    covariance[np.ix_(np.arange(len(factor)), _OTHER, _OTHER)] = inverse_of_many(normal[:, _OTHERS_ROWS, _OTHER])
    shared = np.empty((COUNT, len(factor)))
    shared[_OTHER] = -moved.T / np.sqrt(stiffness)
    shared[SPLIT] = factor / np.sqrt(stiffness)
    return covariance, shared


def _eliminated(damped_normal: Array, normal: Array, factors: Array, wanted: Array) -> tuple[Array, Array, Array, Array]:
    """The bands' tie to the split, what is left to hold that, how they move with it, and without it (Schur complement)."""
    factor = factors.ravel()
    across = normal[:, _OTHER, SPLIT] * factor[:, None]
    right = np.stack([across, wanted[:, _OTHER]], axis=-1)
    solved = np.linalg.solve(damped_normal[:, _OTHERS_ROWS, _OTHER], right)
    moved, first = np.asarray(solved[:, :, 0]), np.asarray(solved[:, :, 1])
    held = factor**2 * damped_normal[:, SPLIT, SPLIT] - (across * moved).sum(axis=1)
    stiffness = np.asarray(np.maximum(held.reshape(factors.shape).sum(axis=1), 1e-12))
    return across, stiffness, moved, first


def _likely_shared(problem: PairProblem, factor: Array) -> list[float]:
    """The likeliest splits of partial 1 upward, and downward; bands whose split would be out of reach add nothing."""
    grid = linear_pairs(problem, _tied_grid(problem))
    splits = grid.splits[:, 0]
    positive = splits[splits > 0.0]
    fine = np.geomspace(positive[0] / np.max(factor), positive[-1], _FINE)
    least = np.min(grid.gain, axis=0)
    likely = []
    for sign in (1.0, -1.0):
        total = np.zeros(len(fine))
        for band, times in enumerate(factor):
            total += np.interp(sign * fine * times, splits, grid.gain[:, band], left=least[band], right=least[band])
        peak = np.flatnonzero((total >= np.append(total[1:], -np.inf)) & (total > np.append(-np.inf, total[:-1])))
        shared = sign * fine[peak[np.argsort(total[peak])[::-1][:_CANDIDATES]]]
        shared = np.append(shared, sign * 2.0 * np.pi / problem.span_s / np.max(factor) ** 0.5 * _SLOW_CYCLES)
        _, costs = _starts_tied(problem, shared[:, None] * factor, _FEW_STARTS)
        likely += [float(shared[at]) for at in np.argsort(costs)[:_FOLLOWED]]
    return likely


def _alone_grid(problem: PairProblem) -> Array:
    step = 1.0 / (_STEPS_A_CYCLE * problem.span_s)
    splits = step * np.arange(1, int(min(_WIDEST_HZ, 0.2 / (problem.time[1] - problem.time[0])) / step) + 1)
    return np.asarray(2.0 * np.pi * np.concatenate([splits, -splits])[:, None])


def _tied_grid(problem: PairProblem) -> Array:
    """Fine where splits are slow, a few to the cycle where they are fast; in rising order."""
    even = _alone_grid(problem)[:, 0]
    even = even[even > 0.0]
    slow = np.geomspace(2.0 * np.pi * _SLOWEST_CYCLES / problem.span_s, even[0], 8, endpoint=False)
    positive = np.concatenate([slow, even])
    return np.asarray(np.concatenate([-positive[::-1], positive])[:, None])
