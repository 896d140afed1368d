"""Which of many rare faults are there: exact sums over small sets of them.

Each fault adds to the sound neck's parameters an extra normal part of its own, of mean m and unit variance once scaled. For a
set A of faults the evidence against the sound neck is closed (matrix determinant lemma): with U the faults' columns in the data,
G = Uᵀ C⁻¹ U and g = Uᵀ C⁻¹ r + m, ln Z_A − ln Z_0 = −½ ln|I + G_AA| + ½ g_Aᵀ (I + G_AA)⁻¹ g_A − ½ m_Aᵀ m_A. All single faults
are weighed, then each set is grown by one fault from the best of its size, until the next size adds nothing.

Conventions
-----------
Extra parts are scaled to unit variance. Weights are posterior probabilities over the sets kept, and sum to 1.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fretcheck.diagnosis.linear_gaussian import LinearGaussian
from fretcheck.diagnosis.parameters import Fault

Reals = NDArray[np.float64]

MOST_FAULTS = 5
BEAM = 12
"""Sets of each size that are grown by one more fault."""
NEGLIGIBLE = 9.0
"""A set this much less probable (in nepers) than the best is dropped."""


@dataclass(frozen=True, kw_only=True)
class FaultSet:
    """One set of faults with the posterior it implies."""

    faults: tuple[int, ...]
    log_weight: float
    mean: Reals
    """Of all parameters."""
    variance: Reals
    """Of all parameters."""
    root: Reals
    """The posterior covariance is that of the sound neck plus root·rootᵀ, shape (parameters, extra parts)."""


@dataclass(frozen=True, kw_only=True)
class FaultSets:
    """All sets worth keeping under one sound neck, the best first."""

    sound: LinearGaussian
    sets: tuple[FaultSet, ...]
    log_evidence: float
    """ln p(y), all sets summed."""


def weigh(sound: LinearGaussian, faults: Sequence[Fault], *, most: int = MOST_FAULTS) -> FaultSets:
    """Weigh sets of up to `most` of the `faults`."""
    columns = np.array([column for fault in faults for column in fault.columns], dtype=np.intp)
    extra = np.array([spread for fault in faults for spread in fault.extra])
    starts = np.concatenate(([0], np.cumsum([len(fault.columns) for fault in faults]))).astype(int)
    data = sound.design[:, columns] * extra
    solved = sound.solve(data)
    toward = np.array([fault.toward for fault in faults for _ in fault.columns]) / extra
    gram, score = data.T @ solved, solved.T @ sound.residual + toward
    cost = np.array([0.5 * float(np.sum(toward[starts[n] : starts[n + 1]] ** 2)) for n in range(len(faults))])
    odds = np.array([math.log(fault.share / (1.0 - fault.share)) for fault in faults]) - cost
    wide = [number for number, fault in enumerate(faults) if len(fault.columns) > 1]
    none = float(sum(math.log(1.0 - fault.share) for fault in faults))

    def parts(chosen: tuple[int, ...]) -> NDArray[np.intp]:
        return np.concatenate([np.arange(starts[one], starts[one + 1]) for one in chosen])

    def grow(base: tuple[int, ...]) -> Reals:
        """Log weight of `base` with each fault added, −∞ for those already in it."""
        left_gram, left_score, start = gram, score, 0.0
        if base:
            index = parts(base)
            inner = np.eye(len(index)) + gram[np.ix_(index, index)]
            factor = np.linalg.cholesky(inner)
            solved_score, solved_gram = np.split(
                np.linalg.solve(factor, np.column_stack([score[index], gram[index]])), [1], axis=1
            )
            start = float(-np.sum(np.log(np.diag(factor))) + 0.5 * np.sum(solved_score**2) + np.sum(odds[list(base)]))
            left_gram = gram - solved_gram.T @ solved_gram
            left_score = score - solved_gram.T @ solved_score[:, 0]
        own = 1.0 + np.diag(left_gram)
        by_part = 0.5 * left_score**2 / own - 0.5 * np.log(own)
        gains = by_part[starts[:-1]]
        for one in wide:
            block = slice(starts[one], starts[one + 1])
            factor = np.linalg.cholesky(np.eye(block.stop - block.start) + left_gram[block, block])
            half = np.linalg.solve(factor, left_score[block])
            gains[one] = -np.sum(np.log(np.diag(factor))) + 0.5 * half @ half
        gains = start + gains + odds
        gains[list(base)] = -math.inf
        return np.asarray(gains)

    weights: dict[tuple[int, ...], float] = {(): 0.0}
    frontier: list[tuple[int, ...]] = [()]
    for _ in range(most):
        grown: dict[tuple[int, ...], float] = {}
        for base in frontier:
            for one, weight in enumerate(grow(base).tolist()):
                if weight > -math.inf:
                    grown[tuple(sorted((*base, one)))] = weight
        best_before = max(weights.values())
        weights.update(grown)
        frontier = sorted(grown, key=lambda chosen: -grown[chosen])[:BEAM]
        best_now = max(weights.values())
        frontier = [chosen for chosen in frontier if grown[chosen] > best_now - NEGLIGIBLE]
        if not frontier or max(grown.values()) < best_before - 3.0:
            break
    best = max(weights.values())
    kept = sorted(
        (chosen for chosen, weight in weights.items() if weight > best - NEGLIGIBLE), key=lambda chosen: -weights[chosen]
    )
    total = best + math.log(sum(math.exp(weight - best) for weight in weights.values()))

    direct = np.zeros((len(sound.prior_mean), len(columns)))
    direct[columns, np.arange(len(columns))] = extra
    response = direct - sound.gain @ data
    base_variance = np.diag(sound.covariance)
    sets = []
    for chosen in kept:
        if chosen:
            index = parts(chosen)
            inner = np.linalg.inv(np.eye(len(index)) + gram[np.ix_(index, index)])
            mean = sound.mean + response[:, index] @ (inner @ score[index])
            root = response[:, index] @ np.linalg.cholesky(inner)
        else:
            mean, root = sound.mean, np.zeros((len(sound.prior_mean), 0))
        variance = base_variance + np.sum(root**2, axis=1)
        sets.append(FaultSet(faults=chosen, log_weight=weights[chosen] - total, mean=mean, variance=variance, root=root))
    return FaultSets(sound=sound, sets=tuple(sets), log_evidence=sound.log_evidence + none + total)
