"""The model of a partial in two planes: a pair of decaying sinusoids in each band, many small fits at once.

The pair of one band is exp(κ − αt + iωt)·(1 + l·exp(−βt + iδt)) against a first guess of the band, with complex level l, split δ
and a decay that differs by β. Weak knowledge goes with it: the second plane is neither absent nor much stronger, and decays
about as fast.

Conventions
-----------
Angular frequencies in rad/s, arrays ``(parameters, bands)`` in the order of `PARAMETERS`; cost is χ² with the priors' share.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

PARAMETERS = ("log_size", "phase", "decay", "turn", "level_real", "level_imaginary", "split", "extra_decay")
DECAY, TURN, REAL, IMAGINARY, SPLIT, EXTRA = 2, 3, 4, 5, 6, 7
COUNT = len(PARAMETERS)
OTHERS = np.array([at for at in range(COUNT) if at != SPLIT])
"""Those that every band has of its own where the split is shared."""
LEVEL, U_LOG_LEVEL = 0.35, 1.2
LARGEST_STEP = np.array([1.0, 1.0, 5.0, 5.0, 1.0, 1.0, 5.0, 5.0])[:, None]
"""Of the parameters, in one step of a fit."""

_SEARCH_FRAMES = 64
_ALIKE = 100.0
_SMALLEST = 1e-6


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
    decay_per_s: Array
    """Of the first guess, shape ``(bands,)``."""
    prior_decay: Array
    """Of `extra_decay`: one over its variance, shape ``(bands,)``."""

    @cached_property
    def weighted(self) -> Complex:
        """`ratio` by its weight."""
        return np.asarray(self.weight * self.ratio)

    @cached_property
    def energy(self) -> Array:
        """χ² of nothing at all, shape ``(bands,)``."""
        return np.asarray(np.sum(self.weight * (self.ratio.real**2 + self.ratio.imag**2), axis=0))

    @cached_property
    def powers(self) -> Array:
        """Powers 0, 1 and 2 of time, shape ``(3, frames)``."""
        return np.stack([np.ones_like(self.time), self.time, self.time**2])

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
        groups = -1, by, self.weight.shape[1]
        # plain means stand for the mean time, whatever the weights; weighted ones would be drawn to a side where trust changes
        ratio = np.mean(self.ratio[:count].reshape(groups), axis=1)
        total = by**2 / np.sum(1.0 / np.maximum(self.weight[:count], 1e-300).reshape(groups), axis=1)
        guess = self.guess[:count:by]
        return replace(self, time=self.time[:count].reshape(-1, by).mean(axis=1), ratio=ratio, guess=guess, weight=total)

    def only(self, bands: NDArray[np.intp]) -> PairProblem:
        """Those bands."""
        ratio, weight, guess = self.ratio[:, bands], self.weight[:, bands], self.guess[:, bands]
        return PairProblem(self.time, ratio, weight, guess, self.decay_per_s[bands], self.prior_decay[bands])

    def repeated(self, times: int) -> PairProblem:
        """The same bands so many times over."""
        return self.only(np.tile(np.arange(self.ratio.shape[1]), times))

    def alike(self) -> PairProblem:
        """The same with it better known that both planes decay alike, behind which slow splits and glides hide at first."""
        return replace(self, prior_decay=_ALIKE * self.prior_decay)

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
    first_is_stronger: bool = True
    """Of pairs with a shared split, by what the bands together say."""


@dataclass(frozen=True)
class LinearPairs:
    """For given splits, c0 + c1·t + c2·exp(iδt) by linear least squares; arrays of shape ``(splits, bands)``."""

    splits: Array
    gain: Array
    """Fall of χ² against nothing at all, the prior of the level included."""
    coefficients: Complex

    def start(self, which: NDArray[np.intp]) -> Array:
        """Parameters of each band at the split chosen for it."""
        every = np.arange(len(which))
        c0, c1, c2 = np.moveaxis(self.coefficients[which, every], -1, 0)
        c0 = off_zero(c0)
        drift, level = c1 / c0, c2 / c0
        level = level / np.maximum(1.0, np.abs(level) / 1.5)
        splits = self.splits[which, every]
        nothing = np.zeros(len(every))
        return np.array([np.log(np.abs(c0)), np.angle(c0), -drift.real, drift.imag, level.real, level.imag, splits, nothing])


def linear_pairs(problem: PairProblem, splits: Array) -> LinearPairs:
    """`splits` of shape ``(splits, 1)`` for all bands alike, or ``(splits, bands)``."""
    time, ratio, weight = problem.time, problem.ratio, problem.weight
    moments = [np.sum(weight * time[:, None] ** power, axis=0) for power in (0, 1, 2)]
    wide = np.broadcast_to(splits, (len(splits), ratio.shape[1]))
    weighted = problem.weighted
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
    gain = gain - 0.5 * (np.log(np.maximum(level, 1e-3) / LEVEL) / U_LOG_LEVEL) ** 2
    return LinearPairs(np.asarray(wide), gain, found)


def off_zero(amplitude: Complex) -> Complex:
    """The same, none too small to be divided by."""
    return np.asarray(np.where(np.abs(amplitude) < _SMALLEST, _SMALLEST, amplitude))


def level_of(state: Array) -> Array:
    """Size of the second plane against the first, of every band."""
    return np.asarray(np.hypot(state[REAL], state[IMAGINARY]))


def exchanged(state: Array) -> Array:
    """The same pairs, first and second plane exchanged."""
    log_size, phase, decay, turn, real, imaginary, split, extra = state
    level = off_zero(real + 1j * imaginary)
    other = 1.0 / level
    size, turned = log_size + np.log(np.abs(level)), phase + np.angle(level)
    return np.array([size, turned, decay + extra, turn + split, other.real, other.imag, -split, -extra])


def damped(normal: Array, damping: Array) -> Array:
    heavier = normal.copy()
    diagonal = np.einsum("pii->pi", heavier)
    diagonal += damping[:, None] * (diagonal + 1e-12)
    return heavier


def inverse_of_many(normal: Array) -> Array:
    """Of many matrices, scaled to ones on the diagonal first."""
    scale = np.sqrt(np.einsum("pii->pi", normal)) + 1e-300
    inverse = np.linalg.inv(normal / scale[:, :, None] / scale[:, None, :] + 1e-10 * np.eye(normal.shape[1]))
    return np.asarray(inverse / scale[:, :, None] / scale[:, None, :])


def covariance_of_others(normal: Array) -> Array:
    """Covariance of each band's parameters, the shared split known; shape ``(bands, parameters, parameters)``."""
    covariance = np.zeros((len(normal), COUNT, COUNT))
    covariance[np.ix_(np.arange(len(normal)), OTHERS, OTHERS)] = inverse_of_many(normal[:, OTHERS[:, None], OTHERS])
    return covariance
