"""Fits of pairs of decaying sinusoids: every band on its own, or all tied by a split that they share.

Tied, δ of partial n is D·n^g for all bands, with the one unknown D: g is 0 where the planes differ by the same number of hertz,
1 where they differ by the same number of cents. Gauss–Newton steps with Levenberg's damping; D is eliminated last (Schur
complement), so that a step costs one small system a band, and the amplitudes follow each step by linear least squares. Each band
has a damping of its own: one that overshoots does not hold the others back.

Conventions
-----------
As in `pair_model`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fretcheck.pitch.pair_model import (
    COUNT,
    IMAGINARY,
    LARGEST_STEP,
    OTHERS,
    REAL,
    SPLIT,
    PairFit,
    PairProblem,
    covariance_of_others,
    damped,
    exchanged,
    inverse_of_many,
    level_of,
    linear_pairs,
)
from fretcheck.pitch.pair_moments import PairMoments, with_amplitudes
from fretcheck.pitch.pair_starts import MANY, MOST, alone_grid, likely_shared, starts_tied

Array = NDArray[np.float64]

_OTHERS_ROWS = OTHERS[:, None]

_TURNS, _TIED_TURNS = 8, 20
_CONVERGED = 0.05  # χ²
_TRUSTED = 0.5  # of the fall in χ² that a step foretold
_OUT_OF_REACH = 5.0  # times its last gain, that a fit may lie behind the best and still be followed
_STRAYS, _STUCK = 2.0, 1e3
_SEARCH_BANDS = 14
_GROWTHS = (0.0, 1.0)  # the same in hertz, the same in cents
_WORSE = 10.0  # times the χ² of the best start, beyond which another is not followed
FAR = 5.0
"""χ² for each value, beyond which a fit is none."""
_FAR_ALIKE = 1.5  # times as far, while both planes decay alike
_MENDED = 2  # times
_NO_RIVAL = 12.0  # half a χ²
_SAME = 0.02  # of a split
_MIXED = 0.15  # of the bands
_U_LOG_STRONGER, _SURE = 0.1, 3.0


def fit_alone(problem: PairProblem) -> PairFit:
    """Every band with a split of its own, from the best of a grid."""
    grid = linear_pairs(problem, alone_grid(problem))
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


def fit_tied(problem: PairProblem, numbers: Array, *, far: float = FAR) -> PairFit | None:
    """All bands with one shared split; None where none comes near to what the strongest bands hold.

    Parameters
    ----------
    problem : PairProblem
    numbers : ndarray, shape (bands,)
        Of the partials.
    far : float
        χ² for each value, beyond which a fit is none.
    """
    thinned = problem.thinned()
    strong = np.sort(np.argsort(np.sum(thinned.weight, axis=0))[-_SEARCH_BANDS:])
    few, number = thinned.only(strong), numbers[strong]
    likely = [(growth, shared) for growth in _GROWTHS for shared in likely_shared(few, number**growth)]
    if not likely:
        return None
    growths = np.array([growth for growth, _ in likely])
    factors = number ** growths[:, None]
    states, costs = starts_tied(few, np.array([shared for _, shared in likely])[:, None] * factors, MANY)
    followed = costs < _WORSE * np.min(costs)
    growths, factors, states = growths[followed], factors[followed], states[followed]
    alike = few.alike()
    states, costs = _joint_tied(alike, states, factors)
    if np.min(np.median(costs, axis=1)) > _FAR_ALIKE * far * 2.0 * len(few.time):
        return None
    states = np.stack([_stronger_first(alike, state) for state in states])
    apart = _apart(states[:, SPLIT, 0] / factors[:, 0], growths, np.sum(costs, axis=1))
    growths, factors = growths[apart], factors[apart]
    states, band_costs = _joint_tied(few, states[apart], factors)
    costs, shared = np.sum(band_costs, axis=1), states[:, SPLIT, 0] / factors[:, 0]
    likeliest, *others = _apart(shared, growths, costs)
    if np.median(band_costs[likeliest]) > far * 2.0 * len(few.time):
        return None
    growth, factor = growths[likeliest], numbers ** growths[likeliest]
    state = _all_bands(thinned, factor, _stronger_first(few, states[likeliest]), strong)
    state, _ = _one_joint_tied(problem, state, factor)
    rival = np.zeros_like(state)
    for other in others:
        worse = 0.5 * float(costs[other] - costs[likeliest])
        if growths[other] == growth and worse < _NO_RIVAL:
            share = 1.0 / (1.0 + np.exp(worse))
            (its_state,), _ = starts_tied(thinned, shared[other] * factor[None, :], MANY)
            rival = np.sqrt(share * (1.0 - share)) * (its_state - state)
    return _tied_fit(problem, state, factor, rival, float(growth))


def _apart(shared: Array, growths: Array, costs: Array) -> list[int]:
    """Fits that are not the same again, the best first."""
    chosen: list[int] = []
    for at in np.argsort(costs):
        if all(growths[at] != growths[one] or abs(shared[at] - shared[one]) > _SAME * abs(shared[one]) for one in chosen):
            chosen.append(int(at))
    return chosen


def _stronger_first(problem: PairProblem, state: Array) -> Array:
    """The same pairs, the plane first that is the stronger by what the bands together say."""
    _, normal, _ = _normal_equations(problem, state)
    return state if first_is_stronger(state, inverse_of_many(normal)) else exchanged(state)


def first_is_stronger(state: Array, covariance: Array) -> bool:
    """Whether the bands together say so: each by its level in its own uncertainties, the surest no louder than three."""
    real, imaginary = state[REAL], state[IMAGINARY]
    size2 = real**2 + imaginary**2 + 1e-12
    crossed = 2.0 * real * imaginary * covariance[:, REAL, IMAGINARY]
    variance = (real**2 * covariance[:, REAL, REAL] + imaginary**2 * covariance[:, IMAGINARY, IMAGINARY] + crossed) / size2**2
    says = 0.5 * np.log(size2) / np.sqrt(variance.clip(0.0) + _U_LOG_STRONGER**2)
    return float(np.sum(says.clip(-_SURE, _SURE))) <= 0.0


def fit_tied_near(problem: PairProblem, numbers: Array, near: PairFit) -> PairFit:
    """The same from what is nearly known; the rival is taken over.

    Parameters
    ----------
    problem : PairProblem
    numbers : ndarray, shape (bands,)
        Of the partials.
    near : PairFit
        Of the same bands, with a shared split.
    """
    assert near.growth is not None
    factor = numbers**near.growth
    start = with_amplitudes(near.state, *PairMoments.of(problem, near.state).amplitudes())
    state, _ = _one_joint_tied(problem, start, factor)
    return _tied_fit(problem, state, factor, near.rival, near.growth)


def _tied_fit(problem: PairProblem, state: Array, factor: Array, rival: Array, growth: float) -> PairFit:
    cost, normal, _ = _normal_equations(problem, state)
    covariance, moved = _tied_covariance(normal, factor)
    return PairFit(state, covariance, cost, moved, rival, growth, first_is_stronger(state, covariance))


def _all_bands(problem: PairProblem, factor: Array, known: Array, strong: NDArray[np.intp]) -> Array:
    """The bands at a split that was found with the strongest of them, whose pairs are known."""
    split = known[SPLIT, 0] / factor[strong[0]] * factor
    (start,), _ = starts_tied(problem, split[None, :], MANY)
    start[:, strong] = known
    return _settled(problem, start, factor)


def _settled(problem: PairProblem, start: Array, factor: Array) -> Array:
    """Fitted without strays, and with the planes in the order that suits the bands together."""
    state, cost = _without_strays(problem, start, factor)
    if not _mixed(state):
        return state
    # what the strong bands say is the second plane may have been taken for the first by the weak ones, of which both fit
    other = exchanged(state)
    (again,), _ = starts_tied(problem, other[None, SPLIT], MANY)
    better = PairMoments.of(problem, again).cost(again) < PairMoments.of(problem, other).cost(other)
    other, its_cost = _without_strays(problem, np.where(better, again, other), factor)
    return other if np.sum(its_cost) < np.sum(cost) else state


def _without_strays(problem: PairProblem, start: Array, factor: Array) -> tuple[Array, Array]:
    """A band that settles beside its best draws the split that all share its way: it begins again at what suits the others."""
    state, cost = _one_joint_tied(problem, start, factor)
    for _ in range(_MENDED):
        stray = _strays(cost)
        if not np.any(stray):
            break
        others = ~stray
        state[:, others], _ = _one_joint_tied(problem.only(np.flatnonzero(others)), state[:, others], factor[others])
        split = (state[SPLIT, others] / factor[others])[0] * factor[stray]
        (state[:, stray],), _ = starts_tied(problem.only(np.flatnonzero(stray)), split[None, :], MOST)
        state, cost = _one_joint_tied(problem, state, factor)
    return state, cost


def _strays(cost: Array) -> NDArray[np.bool_]:
    return np.asarray(cost > _STRAYS * np.median(cost))


def _mixed(state: Array) -> bool:
    """True when the second plane is the stronger in not so few of the bands."""
    return bool(np.mean(level_of(state) > 1.0) >= _MIXED)


def mended(problem: PairProblem, fit: PairFit, numbers: Array) -> PairFit | None:
    """The fit without bands that settled beside their best, and its planes in order; None where nothing asks for it."""
    if not (_mixed(fit.state) or np.any(_strays(fit.cost))):
        return None
    assert fit.growth is not None
    thinned, factor = problem.thinned(), numbers**fit.growth
    state = _settled(thinned, fit.state, factor)
    state, _ = _one_joint_tied(problem, state, factor)
    return _tied_fit(problem, state, factor, fit.rival, fit.growth)


def _one_joint_tied(problem: PairProblem, state: Array, factor: Array) -> tuple[Array, Array]:
    (state,), (cost,) = _joint_tied(problem, state[None], factor[None])
    return state, cost


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
    damping = np.full(fits * bands, 1e-6)
    cost, normal, wanted = _normal_equations(whole, state)
    open_fits = np.ones(fits, bool)
    last_gain = np.full(fits, np.inf)
    for _ in range(_TIED_TURNS):
        change = _tied_step(damped(normal, damping), normal, wanted, factors)
        trial = state + change
        moments = PairMoments.of(whole, trial)
        solved = with_amplitudes(trial, *moments.amplitudes())
        trial_cost, solved_cost = moments.cost(trial), moments.cost(solved)
        trial = np.where(solved_cost < trial_cost, solved, trial)
        new_cost = np.minimum(solved_cost, trial_cost)
        fall = cost - new_cost
        gained = np.sum(fall.reshape(fits, bands), axis=1)
        better = open_fits & (gained > 0.0)
        taken = np.repeat(better, bands)
        foretold = 2.0 * np.sum(change.T * wanted, axis=1) - np.einsum("ib,bij,jb->b", change, normal, change)
        trusted = taken & (fall >= _TRUSTED * foretold)
        damping = np.where(fall < 0.0, damping * 10.0, np.where(trusted, np.maximum(damping * 0.1, 1e-9), damping))
        new_normal, new_wanted = moments.normal_equations(trial)
        state, cost = np.where(taken, trial, state), np.where(taken, new_cost, cost)
        normal, wanted = np.where(taken[:, None, None], new_normal, normal), np.where(taken[:, None], new_wanted, wanted)
        open_fits &= np.where(better, gained >= _CONVERGED, np.max(damping.reshape(fits, bands), axis=1) <= _STUCK)
        last_gain = np.where(better, gained, last_gain)
        behind = np.sum(cost.reshape(fits, bands), axis=1)
        open_fits &= behind - np.min(behind) <= np.maximum(_OUT_OF_REACH * last_gain, _NO_RIVAL * 2.0)
        if not np.any(open_fits):
            break
    return state.reshape(COUNT, fits, bands).transpose(1, 0, 2), cost.reshape(fits, bands)


def _normal_equations(problem: PairProblem, state: Array) -> tuple[Array, Array, Array]:
    """Cost, normal matrix and gradient of every pair."""
    moments = PairMoments.of(problem, state)
    return moments.cost(state), *moments.normal_equations(state)


def _tied_step(damped_normal: Array, normal: Array, wanted: Array, factors: Array) -> Array:
    """Change of all parameters, shape ``(parameters, fits·bands)``; the bands of a fit stay tied even where it is cut short."""
    across, stiffness, moved, first = _eliminated(damped_normal, normal, factors, wanted)
    pull = factors.ravel() * wanted[:, SPLIT] - (across * first).sum(axis=1)
    of_shared = pull.reshape(factors.shape).sum(axis=1) / stiffness
    furthest = LARGEST_STEP[SPLIT, 0] / np.median(factors, axis=1)
    change = np.empty((COUNT, factors.size))
    change[OTHERS] = (first - moved * np.repeat(of_shared, factors.shape[1])[:, None]).T.clip(
        -LARGEST_STEP[OTHERS], LARGEST_STEP[OTHERS]
    )
    change[SPLIT] = np.ravel(of_shared.clip(-furthest, furthest)[:, None] * factors)
    return change


def _tied_covariance(normal: Array, factor: Array) -> tuple[Array, Array]:
    """Covariance of the parameters, the shared split known, and their move for one sigma of it."""
    _, (stiffness,), moved, _ = _eliminated(normal, normal, factor[None, :], np.zeros((len(factor), COUNT)))
    shared = np.empty((COUNT, len(factor)))
    shared[OTHERS] = -moved.T / np.sqrt(stiffness)
    shared[SPLIT] = factor / np.sqrt(stiffness)
    return covariance_of_others(normal), shared


def _eliminated(damped_normal: Array, normal: Array, factors: Array, wanted: Array) -> tuple[Array, Array, Array, Array]:
    """The bands' tie to the split, what is left to hold that, how they move with it, and without it (Schur complement)."""
    factor = factors.ravel()
    across = normal[:, OTHERS, SPLIT] * factor[:, None]
    right = np.stack([across, wanted[:, OTHERS]], axis=-1)
    solved = np.linalg.solve(damped_normal[:, _OTHERS_ROWS, OTHERS], right)
    moved, first = np.asarray(solved[:, :, 0]), np.asarray(solved[:, :, 1])
    held = factor**2 * damped_normal[:, SPLIT, SPLIT] - (across * moved).sum(axis=1)
    stiffness = np.asarray(np.maximum(held.reshape(factors.shape).sum(axis=1), 1e-12))
    return across, stiffness, moved, first
