"""Pairs with a shared split, fitted together with the glide of the pitch.

A beat and a glide bend the phase alike, so that a glide which is fitted to one plane alone is drawn by the other. Here both are
free: a Gauss–Newton step of every band's pair, the split they share, and the glide's size and time constant, in which the bands'
own parameters are eliminated first (Schur complement).

Conventions
-----------
As in `pair_model`; what all bands share stands in the order split, c, log τ.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fretcheck.pitch.glide import Glide
from fretcheck.pitch.pair_fit import FAR, first_is_stronger, mended
from fretcheck.pitch.pair_model import (
    COUNT,
    EXTRA,
    IMAGINARY,
    LARGEST_STEP,
    OTHERS,
    REAL,
    SPLIT,
    TURN,
    PairFit,
    PairProblem,
    covariance_of_others,
    damped,
    off_zero,
)
from fretcheck.pitch.pair_moments import PairMoments, with_amplitudes

Array = NDArray[np.float64]

_TURNS = 10
_CONVERGED = 0.05  # χ²
_STUCK = 1e3
_ASTRAY = 1.5  # χ² for each value, beyond which the glide may be far off
_HOPEFUL, _HALF = 10.0, 0.3  # χ² for each value, beyond which a step must take away so large a share


@dataclass(frozen=True)
class GlidingPairs:
    """Pairs, and the glide that both planes have."""

    problem: PairProblem
    """With that glide taken off."""
    fit: PairFit
    glide: Glide
    covariance: Array
    """Of (c, log τ), shape (2, 2)."""
    effect: Array
    """By how much these two move the stronger plane, rad/s, the split following them; shape ``(2, bands)``."""


@dataclass(frozen=True)
class GlidingProblem:
    """What is to be fitted, as it depends on the glide."""

    problem_of: Callable[[Glide], PairProblem]
    """With a given glide taken off."""
    columns_of: Callable[[Glide], list[Array]]
    """Derivatives of the bands' phases by c and log τ, each of shape ``(frames, bands)``."""
    frames: int

    def alike(self) -> GlidingProblem:
        """As `PairProblem.alike`."""
        return replace(self, problem_of=lambda glide: self.problem_of(glide).alike())

    def per_value(self, fit: PairFit) -> float:
        """χ² for each value, of the middle band."""
        return float(np.median(fit.cost)) / (2.0 * self.frames)


def fit_gliding(gliding: GlidingProblem, start: PairFit, numbers: Array, glide: Glide) -> GlidingPairs:
    """From pairs that were fitted with a fixed glide.

    Parameters
    ----------
    gliding : GlidingProblem
    start : PairFit
        With a shared split.
    numbers : ndarray, shape (bands,)
        Of the partials.
    glide : Glide
    """
    found = None
    if gliding.per_value(start) > _ASTRAY:
        # what is wrong with the glide hides behind unequal decays
        state = start.state.copy()
        state[EXTRA] = 0.0
        alike = _fit(gliding.alike(), replace(start, state=state), numbers, glide)
        found = _settled(gliding, alike.fit, numbers, alike.glide)
    if found is None or gliding.per_value(found.fit) > _ASTRAY:
        direct = _settled(gliding, start, numbers, glide)
        found = direct if found is None or np.sum(direct.fit.cost) < np.sum(found.fit.cost) else found
    return found


def _settled(gliding: GlidingProblem, start: PairFit, numbers: Array, glide: Glide) -> GlidingPairs:
    """Without strays, and with the planes in order, where there is hope."""
    found = _fit(gliding, start, numbers, glide)
    again = mended(found.problem, found.fit, numbers) if gliding.per_value(found.fit) < FAR else None
    return found if again is None else _fit(gliding, again, numbers, found.glide)


def _fit(gliding: GlidingProblem, start: PairFit, numbers: Array, glide: Glide) -> GlidingPairs:
    assert start.growth is not None
    factor = numbers**start.growth
    problem_of, columns_of = gliding.problem_of, gliding.columns_of
    problem, state = problem_of(glide), start.state
    moments = PairMoments.of(problem, state)
    cost = moments.cost(state)
    normal, wanted = _with_glide(problem, moments, state, columns_of(glide))
    damping = 1e-6
    for _ in range(_TURNS):
        step, shared = _step(normal, wanted, factor, damping)
        its_glide = glide.moved(shared[1], shared[2])
        its_problem = problem_of(its_glide)
        trial = state + step
        its_moments = PairMoments.of(its_problem, trial)
        trial = with_amplitudes(trial, *its_moments.amplitudes())
        its_cost = its_moments.cost(trial)
        gained = float(np.sum(cost - its_cost))
        if gained > 0.0:
            problem, state, cost, glide = its_problem, trial, its_cost, its_glide
            normal, wanted = _with_glide(problem, its_moments, state, columns_of(glide))
            damping = max(damping * 0.1, 1e-9)
        else:
            damping *= 10.0
        left = float(np.sum(cost))
        slow = left > _HOPEFUL * 2.0 * problem.ratio.size and 0.0 < gained < _HALF * left
        if damping > _STUCK or 0.0 < gained < _CONVERGED or slow:
            break
    return _known(problem, state, cost, normal, factor, glide, start)


def _with_glide(problem: PairProblem, moments: PairMoments, state: Array, columns: list[Array]) -> tuple[Array, Array]:
    """Normal matrix and gradient of every pair and the glide, shape ``(bands, 10, 10)`` and ``(bands, 10)``."""
    first, second = problem.planes(state)
    both, at = first + second, problem.time[:, None]
    unit = second / off_zero(state[REAL] + 1j * state[IMAGINARY])
    glided = [1j * both * column for column in columns]
    made = np.stack([both, 1j * both, -at * both, 1j * at * both, unit, 1j * unit, 1j * at * second, -at * second, *glided])
    root = np.sqrt(problem.weight)
    made = np.ascontiguousarray((made * root).transpose(2, 0, 1)).view(np.float64)
    left = np.ascontiguousarray(((problem.ratio - both) * root).T).view(np.float64)
    by_glide = made[:, COUNT:].transpose(0, 2, 1)
    crossed = made @ by_glide
    normal, wanted = np.empty((state.shape[1], COUNT + 2, COUNT + 2)), np.empty((state.shape[1], COUNT + 2))
    normal[:, :COUNT, :COUNT], wanted[:, :COUNT] = moments.normal_equations(state)
    normal[:, :, COUNT:] = crossed
    normal[:, COUNT:, :] = crossed.transpose(0, 2, 1)
    wanted[:, COUNT:] = (left[:, None, :] @ by_glide)[:, 0]
    return normal, wanted


def _shared_of(normal: Array, factor: Array, heavier: Array) -> tuple[Array, Array, Array]:
    """What all share: its normal matrix, others left free, its ties to them, and how they move with it."""
    spread = np.zeros((len(factor), COUNT + 2, 3))
    spread[:, SPLIT, 0], spread[:, COUNT, 1], spread[:, COUNT + 1, 2] = factor, 1.0, 1.0
    tied = normal @ spread
    across = tied[:, OTHERS]
    moved = np.linalg.solve(heavier[:, OTHERS[:, None], OTHERS], across)
    held = np.sum(spread.transpose(0, 2, 1) @ (heavier @ spread) - across.transpose(0, 2, 1) @ moved, axis=0)
    return np.asarray(held), across, np.asarray(moved)


def _step(normal: Array, wanted: Array, factor: Array, damping: float) -> tuple[Array, Array]:
    """Change of the pairs, shape ``(parameters, bands)``, and of what they share."""
    heavier = damped(normal, np.full(len(normal), damping))
    held, across, moved = _shared_of(normal, factor, heavier)
    first = np.linalg.solve(heavier[:, OTHERS[:, None], OTHERS], wanted[:, OTHERS, None])[:, :, 0]
    pull = np.array([factor @ wanted[:, SPLIT], *np.sum(wanted[:, COUNT:], axis=0)])
    pull -= np.einsum("bos,bo->s", across, first)
    scale = np.sqrt(np.diag(held).clip(1e-30))
    shared = np.linalg.solve(held / np.outer(scale, scale) + 1e-9 * np.eye(3), pull / scale) / scale
    change = np.zeros((COUNT, len(factor)))
    change[OTHERS] = (first - moved @ shared).T.clip(-LARGEST_STEP[OTHERS], LARGEST_STEP[OTHERS])
    furthest = LARGEST_STEP[SPLIT, 0] / np.median(factor)
    shared[0] = np.clip(shared[0], -furthest, furthest)
    change[SPLIT] = factor * shared[0]
    return change, shared


def _known(
    problem: PairProblem, state: Array, cost: Array, normal: Array, factor: Array, glide: Glide, start: PairFit
) -> GlidingPairs:
    """Covariances about the fit's end."""
    held, _, moved = _shared_of(normal, factor, normal)
    scale = np.sqrt(np.diag(held).clip(1e-30))
    covariance = np.linalg.inv(held / np.outer(scale, scale) + 1e-9 * np.eye(3)) / np.outer(scale, scale)
    of_glide = covariance[1:, 1:]
    follows = np.linalg.solve(of_glide, covariance[1:, 0])
    split_sigma = float(np.sqrt(max(covariance[0, 0] - follows @ covariance[1:, 0], 0.0)))
    own = covariance_of_others(normal)
    by_shared = np.zeros((3, COUNT, len(factor)))
    by_shared[:, OTHERS] = -moved.transpose(2, 1, 0)
    by_shared[0, SPLIT] = factor
    by_glide = by_shared[1:] + follows[:, None, None] * by_shared[0]
    stronger = first_is_stronger(state, own)
    fit = PairFit(state, own, cost, split_sigma * by_shared[0], start.rival, start.growth, stronger)
    effect = by_glide[:, TURN] if stronger else by_glide[:, TURN] + by_glide[:, SPLIT]
    return GlidingPairs(problem, fit, glide, of_glide, effect)
