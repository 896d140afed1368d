"""Which of many rare faults are there: exact sums over small sets of them.

Each fault adds to the sound neck's parameters an extra normal part of its own, of mean m and unit variance once scaled; where it
can be there in several ways, in one of them. For a set A the evidence against the sound neck is closed (matrix determinant
lemma): with U the faults' columns in the data, G = Uᵀ C⁻¹ U and g = Uᵀ C⁻¹ r + m,
ln Z_A − ln Z_0 = −½ ln|I + G_AA| + ½ g_Aᵀ (I + G_AA)⁻¹ g_A − ½ m_Aᵀ m_A.
All single faults are weighed, then each set is grown by one fault from the best of its size, until the next size adds nothing.

Conventions
-----------
Extra parts are scaled to unit variance. Weights are posterior probabilities over the sets kept, and sum to 1.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

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
MOST_SETS = 120
HOPELESS = 3.0
"""Sets are not grown further once the larger ones all fall this far behind the smaller."""


@dataclass(frozen=True, kw_only=True)
class FaultSet:
    """One set of faults, each there in one way, with the posterior it implies."""

    faults: tuple[int, ...]
    log_weight: float
    mean: Reals
    """Of all parameters."""
    root: Reals
    """The posterior covariance is that of the sound neck plus root·rootᵀ, shape (parameters, extra parts)."""


@dataclass(frozen=True, kw_only=True)
class FaultSets:
    """All sets worth keeping under one sound neck, the best first."""

    sound: LinearGaussian
    extra: _ExtraParts
    kept: tuple[tuple[int, ...], ...]
    """Ways, numbered through all faults."""
    log_weights: tuple[float, ...]
    log_evidence: float
    """ln p(y), all sets summed."""

    @cached_property
    def sets(self) -> tuple[FaultSet, ...]:
        """The posterior of every set kept."""
        return tuple(self._posterior(number) for number in range(len(self.kept)))

    @cached_property
    def best(self) -> FaultSet:
        """The most probable set."""
        return self._posterior(0)

    @cached_property
    def _response(self) -> Reals:
        return np.asarray(self.extra.direct - self.sound.gain @ self.extra.data)

    def _posterior(self, number: int) -> FaultSet:
        extra, index = self.extra, self.extra.of(self.kept[number])
        inner = np.linalg.inv(np.eye(len(index)) + extra.gram[np.ix_(index, index)])
        response = self._response[:, index]
        return FaultSet(
            faults=tuple(sorted(int(extra.fault[one]) for one in self.kept[number])),
            log_weight=self.log_weights[number],
            mean=self.sound.mean + response @ (inner @ extra.score[index]),
            root=response @ np.linalg.cholesky(inner),
        )


@dataclass(frozen=True, kw_only=True)
class _ExtraParts:
    """The faults' extra parts under one sound neck, scaled to unit variance: those of each way of each fault in turn."""

    direct: Reals
    """On the parameters, shape (parameters, parts)."""
    data: Reals
    """U: on the observations."""
    gram: Reals
    score: Reals
    starts: NDArray[np.intp]
    """First part of every way, and the number of parts."""
    fault: NDArray[np.intp]
    """Number of every way's fault."""
    log_odds: Reals
    """Of every way before the data, the cost of its extra part's mean included."""

    def of(self, chosen: tuple[int, ...]) -> NDArray[np.intp]:
        """Parts of the ways in a set."""
        ranges = [np.arange(self.starts[one], self.starts[one + 1]) for one in chosen]
        return np.concatenate(ranges) if ranges else np.zeros(0, dtype=np.intp)

    def grown(self, base: tuple[int, ...]) -> Reals:
        """Log weight of `base` with each way added; −∞ for those of faults already in it."""
        gram, score, start = self.gram, self.score, 0.0
        if base:
            index = self.of(base)
            factor = np.linalg.cholesky(np.eye(len(index)) + gram[np.ix_(index, index)])
            solved = np.linalg.solve(factor, np.column_stack([score[index], gram[index]]))
            start = float(-np.sum(np.log(np.diag(factor))) + 0.5 * np.sum(solved[:, 0] ** 2) + np.sum(self.log_odds[list(base)]))
            gram = gram - solved[:, 1:].T @ solved[:, 1:]
            score = score - solved[:, 1:].T @ solved[:, 0]
        own = 1.0 + np.diag(gram)
        gains = (0.5 * score**2 / own - 0.5 * np.log(own))[self.starts[:-1]]
        for one in np.flatnonzero(np.diff(self.starts) > 1):
            block = slice(self.starts[one], self.starts[one + 1])
            factor = np.linalg.cholesky(np.eye(block.stop - block.start) + gram[block, block])
            half = np.linalg.solve(factor, score[block])
            gains[one] = -np.sum(np.log(np.diag(factor))) + 0.5 * half @ half
        gains = start + gains + self.log_odds
        gains[np.isin(self.fault, self.fault[list(base)])] = -math.inf
        return np.asarray(gains)


def weigh(sound: LinearGaussian, faults: Sequence[Fault], *, most: int = MOST_FAULTS) -> FaultSets:
    """Weigh sets of up to `most` of the `faults`."""
    extra = _extra_parts(sound, faults)
    weights: dict[tuple[int, ...], float] = {(): 0.0}
    frontier: list[tuple[int, ...]] = [()]
    for _ in range(most):
        larger: dict[tuple[int, ...], float] = {}
        for base in frontier:
            for one, weight in enumerate(extra.grown(base).tolist()):
                if weight > -math.inf:
                    larger[tuple(sorted((*base, one)))] = weight
        best_before = max(weights.values())
        weights.update(larger)
        best = max(weights.values())
        frontier = sorted(
            (chosen for chosen, weight in larger.items() if weight > best - NEGLIGIBLE), key=lambda one: -larger[one]
        )
        frontier = frontier[:BEAM]
        if not frontier or max(larger.values()) < best_before - HOPELESS:
            break
    best = max(weights.values())
    kept = sorted(
        (chosen for chosen, weight in weights.items() if weight > best - NEGLIGIBLE), key=lambda chosen: -weights[chosen]
    )
    total = best + math.log(sum(math.exp(weight - best) for weight in weights.values()))
    none = sum(math.log(1.0 - sum(way.share for way in fault.ways)) for fault in faults)
    return FaultSets(
        sound=sound,
        extra=extra,
        kept=tuple(kept[:MOST_SETS]),
        log_weights=tuple(weights[chosen] - total for chosen in kept[:MOST_SETS]),
        log_evidence=sound.log_evidence + none + total,
    )


def _extra_parts(sound: LinearGaussian, faults: Sequence[Fault]) -> _ExtraParts:
    ways = [(number, fault, way) for number, fault in enumerate(faults) for way in fault.ways]
    columns = np.array([column for _, fault, _ in ways for column in fault.columns], dtype=np.intp)
    spread = np.array([way.extra for _, fault, way in ways for _ in fault.columns])
    toward = np.array([way.toward for _, fault, way in ways for _ in fault.columns]) / spread
    starts = np.concatenate(([0], np.cumsum([len(fault.columns) for _, fault, _ in ways]))).astype(np.intp)
    data = sound.design[:, columns] * spread
    direct = np.zeros((len(sound.prior_mean), len(columns)))
    direct[columns, np.arange(len(columns))] = spread
    solved = sound.solve(data)
    cost = np.array([0.5 * np.sum(toward[first:end] ** 2) for first, end in pairwise(starts)])
    odds = [way.share / (1.0 - sum(other.share for other in fault.ways)) for _, fault, way in ways]
    return _ExtraParts(
        direct=direct,
        data=data,
        gram=data.T @ solved,
        score=solved.T @ sound.residual + toward,
        starts=starts,
        fault=np.array([number for number, _, _ in ways], dtype=np.intp),
        log_odds=np.log(odds) - cost,
    )
