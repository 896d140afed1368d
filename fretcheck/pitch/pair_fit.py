"""Each partial as a pair of decaying sinusoids: many small fits at once, each on its own or tied by a split they share.

The pair of one band is exp(κ − αt + iωt)·(1 + l·exp(−βt + iδt)) against a first guess of the band, with complex level l, split δ
and a decay that differs by β. Tied, δ of partial n is D·n^g for all bands, with the one unknown D: g is 0 where the planes differ
by the same number of hertz, 1 where they differ by the same number of cents. Gauss–Newton steps with Levenberg's damping; D is
eliminated last (Schur complement), so that a step costs one small system a band.

Conventions
-----------
Angular frequencies in rad/s, arrays ``(parameters, bands)`` in the order of `PARAMETERS`; cost is χ² with the priors' share.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

PARAMETERS = ("log_size", "phase", "decay", "turn", "level_real", "level_imaginary", "split", "extra_decay")
TURN, SPLIT = 3, 6
_COUNT = len(PARAMETERS)

_WIDEST_HZ = 8.0
_STEPS_A_CYCLE = 3.0
_SLOWEST_CYCLES = 0.06  # over the note, of a shared split that is looked for
_TURNS, _TIED_TURNS, _START_TURNS = 8, 20, 5
_CONVERGED = 0.05  # χ²
_STRAYS, _STUCK = 2.0, 1e3
_FINE, _CANDIDATES = 240, 3
_SLOW_CYCLES = 0.25  # over the note: a split too slow for the grid, always tried
_SEARCH_FRAMES, _SEARCH_BANDS = 64, 14
_NO_RIVAL = 12.0  # half a χ²
_FEW_STARTS, _MANY_STARTS = (0.0, -1.0), (0.0, -1.0, -0.5, 0.5)
_LEVEL, _U_LOG_LEVEL = 0.35, 1.2
_LARGEST_STEP = np.array([1.0, 1.0, 5.0, 5.0, 1.0, 1.0, 5.0, 5.0])[:, None]


@dataclass(frozen=True)
class PairProblem:
    """What is to be fitted."""

    time: Array
    """Shape ``(frames,)``."""
    ratio: Complex
    """The bands over a first guess of their stronger plane, of mean size 1; shape ``(frames, bands)``."""
    weight: Array
    """One over the variance of a quadrature of `ratio`; same shape."""
    guess: Complex
    """What `ratio` times its bands' first guess is taken of: the two multiply to the bands' values."""
    prior_decay: Array
    """Of `extra_decay`: one over its variance, shape ``(bands,)``."""

    def planes(self, state: Array) -> tuple[Complex, Complex]:
        """Both members of each pair, as parts of `ratio`."""
        log_size, phase, decay, turn, real, imaginary, split, extra = state
        at = self.time[:, None]
        main = np.exp(log_size + 1j * phase + (-decay + 1j * turn) * at)
        return main, main * (real + 1j * imaginary) * np.exp((-extra + 1j * split) * at)

    def thinned(self) -> PairProblem:
        """The same with means of neighbouring frames, so few that a search is quick."""
        by = len(self.time) // _SEARCH_FRAMES
        if by < 2:
            return self
        count = len(self.time) // by * by
        weight = self.weight[:count].reshape(-1, by, self.weight.shape[1])
        total = np.sum(weight, axis=1)
        ratio = np.sum(weight * self.ratio[:count].reshape(weight.shape), axis=1) / np.maximum(total, 1e-300)
        guess = self.guess[: count : by]
        return replace(self, time=self.time[:count].reshape(-1, by).mean(axis=1), ratio=ratio, guess=guess, weight=total)

    def only(self, bands: NDArray[np.intp]) -> PairProblem:
        """Those bands."""
        return PairProblem(
            self.time, self.ratio[:, bands], self.weight[:, bands], self.guess[:, bands], self.prior_decay[bands]
        )

    @property
    def span_s(self) -> float:
        """From the first frame to the last."""
        return float(self.time[-1] - self.time[0])


@dataclass(frozen=True)
class PairFit:
    """Pairs of all bands."""

    state: Array
    covariance: Array
    """Of each band's parameters, the shared split known; shape ``(bands, parameters, parameters)``."""
    cost: Array
    """Shape ``(bands,)``."""
    shared: Array
    """By how much each parameter moves for one sigma of the shared split, shape ``(parameters, bands)``; 0 where untied."""
    rival: Array
    """One sigma of which of two shared splits it is, one upward and one downward; same shape as `shared`."""
    growth: float | None = None
    """g of a shared split; None where untied."""


def fit_alone(problem: PairProblem) -> PairFit:
    """Every band with a split of its own, from the best of a grid."""
    grid = _linear_pairs(problem, _alone_grid(problem))
    best = np.argmax(grid.gain, axis=0)
    state = grid.start(best)
    damping = np.full(problem.ratio.shape[1], 1e-2)
    cost, normal, wanted = _normal(problem, state)
    for _ in range(_TURNS):
        change = np.linalg.solve(_damped(normal, damping), wanted[:, :, None])[:, :, 0].T
        trial = state + np.clip(change, -_LARGEST_STEP, _LARGEST_STEP)
        new_cost, new_normal, new_wanted = _normal(problem, trial)
        better = new_cost < cost
        state = np.where(better, trial, state)
        cost = np.where(better, new_cost, cost)
        normal = np.where(better[:, None, None], new_normal, normal)
        wanted = np.where(better[:, None], new_wanted, wanted)
        damping = np.where(better, damping * 0.2, damping * 8.0).clip(1e-9, 1e6)
    nothing = np.zeros_like(state)
    return PairFit(state, _inverse(normal), cost, nothing, nothing)


def fit_tied(
    problem: PairProblem, numbers: Array, *, growth: float, at_most: float = np.inf, near: float | None = None
) -> PairFit | None:
    """All bands with one shared split; None where that leaves more than `at_most` of the strongest bands.

    Parameters
    ----------
    problem : PairProblem
    numbers : ndarray, shape (bands,)
        Of the partials.
    growth : float
        The split of partial n is that of partial 1 times n**growth.
    at_most : float
        χ² for each value.
    near : float, optional
        The split of partial 1, rad/s, where it is nearly known; it is looked for when not given.
    """
    factor = numbers**growth
    thinned = problem.thinned()
    strong = np.sort(np.argsort(np.sum(thinned.weight, axis=0))[-_SEARCH_BANDS:])
    few = thinned.only(strong)
    found = []
    for shared in _likely_shared(few, factor[strong]) if near is None else (near, -near):
        state, cost = _start_tied(few, shared * factor[strong], _MANY_STARTS)
        if cost < at_most * 2.0 * few.ratio.size:
            state = _joint_tied(few, state, factor[strong])
            found.append((float(np.sum(_cost(few, state))), float(state[SPLIT, 0] / factor[strong[0]])))
    if not found:
        return None
    found.sort()
    state = _joint_tied(problem, _all_bands(thinned, found[0][1], factor), factor)
    cost, normal, wanted = _normal(problem, state)
    _, (covariance, moved) = _tied_step(normal, normal, wanted, factor)
    rival = np.zeros_like(state)
    if len(found) > 1 and (apart := 0.5 * (found[1][0] - found[0][0])) < _NO_RIVAL:
        share = 1.0 / (1.0 + np.exp(apart))
        rival = np.sqrt(share * (1.0 - share)) * (_all_bands(thinned, found[1][1], factor) - state)
    return PairFit(state, covariance, cost, moved, rival, growth)


def _all_bands(problem: PairProblem, shared: float, factor: Array) -> Array:
    """The bands at a split that was found with the strongest of them; those that settle beside their best begin again."""
    state = _joint_tied(problem, _start_tied(problem, shared * factor, _MANY_STARTS)[0], factor)
    cost = _cost(problem, state)
    if np.max(cost) > _STRAYS * np.median(cost):
        again, _ = _start_tied(problem, state[SPLIT], _MANY_STARTS)
        state = _joint_tied(problem, np.where(_cost(problem, again) < cost, again, state), factor)
    return state


def _joint_tied(problem: PairProblem, state: Array, factor: Array) -> Array:
    """Damped Gauss–Newton steps of all bands and the split they share; amplitudes follow each step by linear least squares."""
    damping = 1e-6
    cost, normal, wanted = _normal(problem, state)
    for _ in range(_TIED_TURNS):
        change, _ = _tied_step(_damped(normal, np.full(len(factor), damping)), normal, wanted, factor)
        trial = state + np.clip(change, -_LARGEST_STEP, _LARGEST_STEP)
        # the bands stay tied even where a step was cut short
        trial[SPLIT] = factor * float(np.median(trial[SPLIT] / factor))
        solved = _with_amplitudes(problem, trial)
        trial = np.where(_cost(problem, solved) < _cost(problem, trial), solved, trial)
        new_cost, new_normal, new_wanted = _normal(problem, trial)
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


def _with_amplitudes(problem: PairProblem, state: Array) -> Array:
    """The state with both planes' complex amplitudes solved for."""
    _, _, decay, turn, _, _, split, extra = state
    at = problem.time[:, None]
    root = np.sqrt(problem.weight)
    main = np.exp((-decay + 1j * turn) * at) * root
    second = main * np.exp((-extra + 1j * split) * at)
    wanted = problem.ratio * root
    aa, bb = np.sum(np.abs(main) ** 2, axis=0), np.sum(np.abs(second) ** 2, axis=0)
    ab, ra, rb = np.sum(main.conj() * second, axis=0), np.sum(main.conj() * wanted, axis=0), np.sum(second.conj() * wanted, axis=0)
    determinant = np.maximum(aa * bb - np.abs(ab) ** 2, 1e-12 * aa * bb)
    c0, c2 = (bb * ra - ab * rb) / determinant, (aa * rb - ab.conj() * ra) / determinant
    c0 = np.where(np.abs(c0) < 1e-6, 1e-6, c0)
    level = c2 / c0
    return np.array([np.log(np.abs(c0)), np.angle(c0), decay, turn, level.real, level.imag, split, extra])


def _start_tied(problem: PairProblem, splits: Array, shifts: tuple[float, ...]) -> tuple[Array, float]:
    """Pairs at given splits, and their χ²: the rate by Gauss–Newton steps, the amplitudes by linear least squares at each.

    The first guess may have followed either plane or something between: it is shifted by those parts of the split.
    """
    time = problem.time[:, None]
    root = np.sqrt(problem.weight)
    apart = np.exp(1j * splits * time)
    best_state, best_cost = np.zeros((_COUNT, len(splits))), np.full(len(splits), np.inf)
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
        cost = cost + (np.log(np.maximum(np.abs(level), 1e-3) / _LEVEL) / _U_LOG_LEVEL) ** 2
        state = np.array(
            [np.log(np.abs(c0)), np.angle(c0), -rate.real, rate.imag, level.real, level.imag, splits, np.zeros(len(splits))]
        )
        better = np.isfinite(cost) & (cost < best_cost)
        best_state, best_cost = np.where(better, state, best_state), np.where(better, cost, best_cost)
    return best_state, float(np.sum(best_cost))


def _tied_step(damped: Array, normal: Array, wanted: Array, factor: Array) -> tuple[Array, tuple[Array, Array]]:
    """Change of all parameters, their covariance with the shared split known, and their move for one sigma of it."""
    other = [at for at in range(_COUNT) if at != SPLIT]
    block = damped[:, other][:, :, other]
    across = normal[:, other, SPLIT] * factor[:, None]
    both = np.linalg.solve(block, np.stack([wanted[:, other], across], axis=2))
    first, moved = both[:, :, 0], both[:, :, 1]
    stiffness = float(np.sum(factor**2 * damped[:, SPLIT, SPLIT]) - np.sum(across * moved))
    pull = float(np.sum(factor * wanted[:, SPLIT]) - np.sum(across * first))
    stiffness = max(stiffness, 1e-12)
    of_shared = pull / stiffness
    change = np.empty((_COUNT, len(factor)))
    change[other] = (first - moved * of_shared).T
    change[SPLIT] = factor * of_shared
    covariance = np.zeros_like(normal)
    covariance[np.ix_(range(len(factor)), other, other)] = _inverse(block)
    shared = np.empty_like(change)
    shared[other] = -moved.T / np.sqrt(stiffness)
    shared[SPLIT] = factor / np.sqrt(stiffness)
    return change, (covariance, shared)


def _damped(normal: Array, damping: Array) -> Array:
    diagonal = np.einsum("pii->pi", normal)
    return np.asarray(normal + damping[:, None, None] * np.eye(_COUNT) * (diagonal[:, :, None] + 1e-12))


def _inverse(normal: Array) -> Array:
    """Of many matrices, scaled to ones on the diagonal first."""
    scale = np.sqrt(np.einsum("pii->pi", normal)) + 1e-300
    inverse = np.linalg.inv(normal / scale[:, :, None] / scale[:, None, :] + 1e-10 * np.eye(normal.shape[1]))
    return np.asarray(inverse / scale[:, :, None] / scale[:, None, :])


@dataclass(frozen=True)
class _LinearPairs:
    """For given splits, c0 + c1·t + c2·exp(iδt) by linear least squares; arrays of shape ``(splits, bands)``."""

    splits: Array
    gain: Array
    """Fall of χ² against nothing at all, the prior of the level included."""
    coefficients: Complex

    def start(self, which: NDArray[np.intp]) -> Array:
        """Parameters of each band at the split chosen for it."""
        every = np.arange(len(which))
        c0, c1, c2 = np.moveaxis(self.coefficients[which, every], -1, 0)
        c0 = np.where(np.abs(c0) < 1e-6, 1e-6, c0)
        drift, level = c1 / c0, c2 / c0
        level = level / np.maximum(1.0, np.abs(level) / 1.5)
        splits = self.splits[which, every]
        nothing = np.zeros(len(every))
        return np.array([np.log(np.abs(c0)), np.angle(c0), -drift.real, drift.imag, level.real, level.imag, splits, nothing])


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


def _linear_pairs(problem: PairProblem, splits: Array) -> _LinearPairs:
    """`splits` of shape ``(splits, 1)`` for all bands alike, or ``(splits, bands)``."""
    time, ratio, weight = problem.time, problem.ratio, problem.weight
    moments = [np.sum(weight * time[:, None] ** power, axis=0) for power in (0, 1, 2)]
    wide = np.broadcast_to(splits, (len(splits), ratio.shape[1]))
    weighted = weight * ratio
    if splits.shape[1] == 1:
        spin = np.exp(1j * splits * time)  # (splits, frames)
        cross = spin @ weight.astype(complex), (spin * time) @ weight.astype(complex)
        turned = spin.conj() @ weighted
    else:
        spins = np.exp(1j * splits[:, None, :] * time[None, :, None])
        cross = np.sum(spins * weight, axis=1), np.sum(spins * weight * time[:, None], axis=1)
        turned = np.sum(spins.conj() * weighted, axis=1)
    right = [
        np.broadcast_to(np.sum(weighted, axis=0), cross[0].shape),
        np.broadcast_to(np.sum(weighted * time[:, None], axis=0), cross[0].shape),
        turned,
    ]
    normal = np.empty((*cross[0].shape, 3, 3), complex)
    normal[..., 0, 0], normal[..., 0, 1], normal[..., 1, 1], normal[..., 2, 2] = moments[0], moments[1], moments[2], moments[0]
    normal[..., 0, 2], normal[..., 1, 2] = cross
    normal[..., 1, 0], normal[..., 2, 0], normal[..., 2, 1] = moments[1], cross[0].conj(), cross[1].conj()
    normal += 1e-7 * np.eye(3) * moments[0][:, None, None]
    wanted = np.stack(right, axis=-1)
    found = np.linalg.solve(normal, wanted[..., None])[..., 0]
    gain = np.sum(found.conj() * wanted, axis=-1).real
    level = np.abs(found[..., 2]) / (np.abs(found[..., 0]) + 1e-12)
    gain = gain - 0.5 * (np.log(np.maximum(level, 1e-3) / _LEVEL) / _U_LOG_LEVEL) ** 2
    return _LinearPairs(np.asarray(wide), gain, found)


def _likely_shared(problem: PairProblem, factor: Array) -> list[float]:
    """The likeliest split of partial 1 upward, and downward; bands whose split would be out of reach add nothing."""
    grid = _linear_pairs(problem, _tied_grid(problem))
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
        shared = np.append(shared, sign * 2.0 * np.pi * _SLOW_CYCLES / problem.span_s / np.max(factor) ** 0.5)
        costs = [_start_tied(problem, one * factor, _FEW_STARTS)[1] for one in shared]
        likely.append(float(shared[int(np.argmin(costs))]))
    return likely


def _cost(problem: PairProblem, state: Array) -> Array:
    """χ² of every pair, the priors' share included."""
    first, second = problem.planes(state)
    log_level = np.log((np.hypot(state[4], state[5]) + 1e-6) / _LEVEL) / _U_LOG_LEVEL
    left = np.sum(problem.weight * np.abs(problem.ratio - first - second) ** 2, axis=0)
    return np.asarray(left + log_level**2 + problem.prior_decay * state[7] ** 2)


def _normal(problem: PairProblem, state: Array) -> tuple[Array, Array, Array]:
    """Cost, normal matrix and gradient of every pair."""
    log_size, phase, decay, turn, real, imaginary, split, extra = state
    at = problem.time[:, None]
    main = np.exp(log_size + 1j * phase + (-decay + 1j * turn) * at)
    second = main * np.exp((-extra + 1j * split) * at)
    level = real + 1j * imaginary
    model = main + level * second
    rotating = level * second * at
    columns = np.stack([model, 1j * model, -at * model, 1j * at * model, second, 1j * second, 1j * rotating, -rotating])
    left = problem.ratio - model
    root = np.sqrt(problem.weight)
    flat = (columns * root).transpose(2, 0, 1)
    flat = np.concatenate([flat.real, flat.imag], axis=2)
    error = (left * root).T
    error = np.concatenate([error.real, error.imag], axis=1)
    normal = flat @ flat.transpose(0, 2, 1)
    wanted = (flat @ error[:, :, None])[:, :, 0]
    cost = np.sum(error**2, axis=1)
    # weak knowledge: the second plane is neither absent nor much stronger, and decays about as fast
    size = np.abs(level) + 1e-6
    log_level = np.log(size / _LEVEL) / _U_LOG_LEVEL
    gradient = np.stack([real, imaginary]) / size**2 / _U_LOG_LEVEL
    normal[:, 4:6, 4:6] += np.einsum("ip,jp->pij", gradient, gradient)
    wanted[:, 4:6] -= (log_level * gradient).T
    normal[:, 7, 7] += problem.prior_decay
    wanted[:, 7] -= problem.prior_decay * extra
    return cost + log_level**2 + problem.prior_decay * extra**2, normal, wanted
