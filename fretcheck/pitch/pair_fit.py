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
    normal_equations,
    pair_cost,
    with_amplitudes,
)

Array = NDArray[np.float64]

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
    cost, normal, wanted = normal_equations(problem, state)
    for _ in range(_TURNS):
        change = np.linalg.solve(damped(normal, damping), wanted[:, :, None])[:, :, 0].T
        trial = state + np.clip(change, -LARGEST_STEP, LARGEST_STEP)
        new_cost, new_normal, new_wanted = normal_equations(problem, trial)
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
    alike = replace(few, prior_decay=_ALIKE * few.prior_decay)
    if near is None:
        likely = [(growth, shared) for growth in _GROWTHS for shared in _likely_shared(few, number**growth)]
    else:
        likely = [near, (near[0], -near[1])]
    starts = [(growth, *_start_tied(few, shared * number**growth, _MANY_STARTS)) for growth, shared in likely]
    least = min(cost for _, _, cost in starts)
    found = []
    for growth, start, start_cost in starts:
        if start_cost < _WORSE * least:
            state = _joint_tied(few, _joint_tied(alike, start, number**growth), number**growth)
            cost = pair_cost(few, state)
            found.append((float(np.sum(cost)), growth, float(state[SPLIT, 0] / number[0] ** growth), float(np.median(cost))))
    found.sort()
    first, growth, shared, usual = found[0]
    if usual > _FAR * 2.0 * len(few.time):
        return None
    factor = numbers**growth
    state = _joint_tied(problem, _all_bands(thinned, shared, factor), factor)
    band_cost, normal, wanted = normal_equations(problem, state)
    _, (covariance, moved) = _tied_step(normal, normal, wanted, factor)
    rival = np.zeros_like(state)
    for other, its_growth, its_split, _ in found[1:]:
        if its_growth == growth and 0.5 * (other - first) < _NO_RIVAL:
            share = 1.0 / (1.0 + np.exp(0.5 * (other - first)))
            rival = np.sqrt(share * (1.0 - share)) * (_all_bands(thinned, its_split, factor) - state)
    return PairFit(state, covariance, band_cost, moved, rival, growth)


def _all_bands(problem: PairProblem, shared: float, factor: Array) -> Array:
    """The bands at a split that was found with the strongest of them; those that settle beside their best begin again."""
    alike = replace(problem, prior_decay=_ALIKE * problem.prior_decay)
    start = _joint_tied(alike, _start_tied(problem, shared * factor, _MANY_STARTS)[0], factor)
    state = _joint_tied(problem, start, factor)
    cost = pair_cost(problem, state)
    if np.max(cost) > _STRAYS * np.median(cost):
        again, _ = _start_tied(problem, state[SPLIT], _MANY_STARTS)
        state = _joint_tied(problem, np.where(pair_cost(problem, again) < cost, again, state), factor)
    return state


def _joint_tied(problem: PairProblem, state: Array, factor: Array) -> Array:
    """Damped Gauss–Newton steps of all bands and the split they share; amplitudes follow each step by linear least squares."""
    damping = 1e-6
    cost, normal, wanted = normal_equations(problem, state)
    for _ in range(_TIED_TURNS):
        change, _ = _tied_step(damped(normal, np.full(len(factor), damping)), normal, wanted, factor)
        trial = state + np.clip(change, -LARGEST_STEP, LARGEST_STEP)
        # the bands stay tied even where a step was cut short
        trial[SPLIT] = factor * float(np.median(trial[SPLIT] / factor))
        solved = with_amplitudes(problem, trial)
        trial = np.where(pair_cost(problem, solved) < pair_cost(problem, trial), solved, trial)
        new_cost, new_normal, new_wanted = normal_equations(problem, trial)
        if np.sum(new_cost) < np.sum(cost):
            gained = float(np.sum(cost) - np.sum(new_cost))
            state, cost, normal, wanted = trial, new_cost, new_normal, new_wanted
            damping = max(damping * 0.1, 1e-9)
            if gained < _CONVERGED:
                break
        else:
            damping *= 10.0
            if damping > _STUCK:
                break
    return state


def _start_tied(problem: PairProblem, splits: Array, shifts: tuple[float, ...]) -> tuple[Array, float]:
    """Pairs at given splits, and their χ²: the rate by Gauss–Newton steps, the amplitudes by linear least squares at each.

    The first guess may have followed either plane or something between: it is shifted by those parts of the split.
    """
    time = problem.time[:, None]
    root = np.sqrt(problem.weight)
    apart = np.exp(1j * splits * time)
    best_state, best_cost = np.zeros((COUNT, len(splits))), np.full(len(splits), np.inf)
    for shift in shifts:
        rate = 1j * shift * splits
        c0, c2 = np.ones(len(splits), complex), np.zeros(len(splits), complex)
        for turn in range(_START_TURNS):
            main = np.exp(rate * time)
            slope = time * main * (c0 + c2 * apart) if turn else time * main
            columns = np.stack([main, main * apart, slope]).transpose(2, 1, 0) * root.T[:, :, None]
            adjoint = columns.conj().transpose(0, 2, 1)
            normal = adjoint @ columns
            normal += 1e-9 * np.einsum("pii->pi", normal).real[:, :, None] * np.eye(3)
            c0, c2, moved = np.linalg.solve(normal, adjoint @ (problem.ratio * root).T[:, :, None])[:, :, 0].T
            if turn == 0:
                moved = moved / np.where(np.abs(c0) < 1e-6, 1e-6, c0)
            rate = rate + moved.real.clip(-3.0, 3.0) + 1j * moved.imag.clip(-3.0, 3.0)
        main = np.exp(rate * time)
        model = main * (c0 + c2 * apart)
        cost = np.sum(np.abs((problem.ratio - model) * root) ** 2, axis=0)
        c0 = np.where(np.abs(c0) < 1e-6, 1e-6, c0)
        level = c2 / c0
        cost = cost + (np.log(np.maximum(np.abs(level), 1e-3) / LEVEL) / U_LOG_LEVEL) ** 2
        state = np.array(
            [np.log(np.abs(c0)), np.angle(c0), -rate.real, rate.imag, level.real, level.imag, splits, np.zeros(len(splits))]
        )
        better = np.isfinite(cost) & (cost < best_cost)
        best_state, best_cost = np.where(better, state, best_state), np.where(better, cost, best_cost)
    return best_state, float(np.sum(best_cost))


def _tied_step(damped_normal: Array, normal: Array, wanted: Array, factor: Array) -> tuple[Array, tuple[Array, Array]]:
    """Change of all parameters, their covariance with the shared split known, and their move for one sigma of it."""
    other = [at for at in range(COUNT) if at != SPLIT]
    block = damped_normal[:, other][:, :, other]
    across = normal[:, other, SPLIT] * factor[:, None]
    both = np.linalg.solve(block, np.stack([wanted[:, other], across], axis=2))
    first, moved = both[:, :, 0], both[:, :, 1]
    stiffness = float(np.sum(factor**2 * damped_normal[:, SPLIT, SPLIT]) - np.sum(across * moved))
    pull = float(np.sum(factor * wanted[:, SPLIT]) - np.sum(across * first))
    stiffness = max(stiffness, 1e-12)
    of_shared = pull / stiffness
    change = np.empty((COUNT, len(factor)))
    change[other] = (first - moved * of_shared).T
    change[SPLIT] = factor * of_shared
    covariance = np.zeros_like(normal)
    covariance[np.ix_(range(len(factor)), other, other)] = inverse_of_many(block)
    shared = np.empty_like(change)
    shared[other] = -moved.T / np.sqrt(stiffness)
    shared[SPLIT] = factor / np.sqrt(stiffness)
    return change, (covariance, shared)


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
        costs = [_start_tied(problem, one * factor, _FEW_STARTS)[1] for one in shared]
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
