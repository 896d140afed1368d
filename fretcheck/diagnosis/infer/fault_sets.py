"""Which of many rare faults are there: exact sums over small sets of them.

Each fault adds to the sound neck's parameters an extra normal part of its own, of mean m and unit variance once scaled; where it
can be there in several ways, in one of them. For a set A the evidence against the sound neck is closed (matrix determinant
lemma): with U the faults' columns in the data, G = Uᵀ C⁻¹ U and g = Uᵀ C⁻¹ r + m,
ln Z_A − ln Z_0 = −½ ln|I + G_AA| + ½ g_Aᵀ (I + G_AA)⁻¹ g_A − ½ m_Aᵀ m_A.
All single faults are weighed, then each set is grown by one fault from the best of its size, until the next size adds nothing.

Conventions: extra parts are scaled to unit variance. Weights are posterior probabilities over the sets kept, and sum to 1.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fretcheck.arrays import Reals
from fretcheck.diagnosis.infer.linear_gaussian import LinearGaussian
from fretcheck.diagnosis.model.parameters import Fault

MOST_FAULTS = 5
BEAM = 12  # Sets of each size that are grown by one more fault
NEGLIGIBLE = 9.0  # A set this much less probable (in nepers) than the best is dropped
MOST_SETS = 120
HOPELESS = 3.0  # Sets are not grown further once the larger ones all fall this far behind the smaller


@dataclass(frozen=True, kw_only=True)
class FaultSet:
    """One set of faults, each there in one way, with the posterior it implies."""

    faults: tuple[int, ...]
    log_weight: float
    mean: Reals  # Of all parameters
    root: Reals  # The posterior covariance is that of the sound neck plus root·rootᵀ, shape (parameters, extra parts)


@dataclass(frozen=True, kw_only=True)
class FaultSets:
    """All sets worth keeping under one sound neck, the best first."""

    sound: LinearGaussian
    extra: _ExtraParts
    kept: tuple[tuple[int, ...], ...]  # Ways, numbered through all faults
    log_weights: tuple[float, ...]
    log_evidence: float  # ln p(y), all sets summed

    @cached_property
    def sets(self) -> tuple[FaultSet, ...]:
        """The posterior of every set kept."""
        return tuple(self.posterior(number) for number in range(len(self.kept)))

    @cached_property
    def best(self) -> FaultSet:
        """The most probable set."""
        return self.posterior(0)

    @cached_property
    def _response(self) -> Reals:
        ways = self.extra.ways
        response = -self.sound.gain @ self.extra.data
        response[ways.columns, np.arange(len(ways.columns))] += ways.spread
        return np.asarray(response)

    def posterior(self, number: int) -> FaultSet:
        """Of one set, by its number among those kept."""
        extra, index = self.extra, self.extra.ways.parts(self.kept[number])
        inner = np.linalg.inv(np.eye(len(index)) + extra.gram[np.ix_(index, index)])
        response = self._response[:, index]
        return FaultSet(
            faults=tuple(sorted(int(extra.ways.fault[one]) for one in self.kept[number])),
            log_weight=self.log_weights[number],
            mean=self.sound.mean + response @ (inner @ extra.score[index]),
            root=response @ np.linalg.cholesky(inner),
        )


@dataclass(frozen=True, kw_only=True)
class Ways:
    """All ways of all faults in turn, with the columns of θ that their extra parts are added to."""

    columns: NDArray[np.intp]  # Of every part
    spread: Reals
    toward: Reals  # Mean of every part, in its spreads
    starts: NDArray[np.intp]  # First part of every way, and the number of parts
    fault: NDArray[np.intp]  # Number of every way's fault
    log_odds: Reals  # Of every way before the data, the cost of its extra part's mean included
    log_none: float  # Log probability that no fault is there
    # Ways of several parts, those of one size together: their numbers, and their parts, shape (ways, parts of each)
    alike: tuple[tuple[NDArray[np.intp], NDArray[np.intp]], ...]

    @classmethod
    def of(cls, faults: Sequence[Fault]) -> Ways:
        """Those of a table of faults."""
        ways = [(number, fault, way) for number, fault in enumerate(faults) for way in fault.ways]
        spread = np.array([way.spread for _, fault, way in ways for _ in fault.columns])
        toward = np.array([way.toward for _, fault, way in ways for _ in fault.columns]) / spread
        sizes = np.array([len(fault.columns) for _, fault, _ in ways], dtype=np.intp)
        starts = np.concatenate(([0], np.cumsum(sizes))).astype(np.intp)
        cost = np.array([0.5 * np.sum(toward[first:end] ** 2) for first, end in pairwise(starts)])
        none = np.array([1.0 - sum(way.share for way in fault.ways) for fault in faults])
        number = np.array([number for number, _, _ in ways], dtype=np.intp)
        return cls(
            columns=np.array([column for _, fault, _ in ways for column in fault.columns], dtype=np.intp),
            spread=spread,
            toward=toward,
            starts=starts,
            fault=number,
            log_odds=np.log([way.share for _, _, way in ways]) - np.log(none[number]) - cost,
            log_none=float(np.sum(np.log(none))),
            alike=tuple(
                (chosen, starts[chosen][:, None] + np.arange(size))
                for size in sorted(set(sizes.tolist()) - {1})
                for chosen in (np.flatnonzero(sizes == size),)
            ),
        )

    def parts(self, chosen: tuple[int, ...]) -> NDArray[np.intp]:
        """Parts of the ways in a set."""
        ranges = [np.arange(self.starts[one], self.starts[one + 1]) for one in chosen]
        return np.concatenate(ranges) if ranges else np.zeros(0, dtype=np.intp)


@dataclass(frozen=True, kw_only=True)
class _ExtraParts:
    """The faults' extra parts under one sound neck, scaled to unit variance."""

    ways: Ways
    data: Reals  # U: on the observations
    gram: Reals
    score: Reals

    @classmethod
    def under(cls, sound: LinearGaussian, ways: Ways) -> _ExtraParts:
        """Those of all `ways` under one sound neck."""
        data = sound.design[:, ways.columns] * ways.spread
        solved = sound.solve(data)
        return cls(ways=ways, data=data, gram=data.T @ solved, score=solved.T @ sound.residual + ways.toward)

    def grown(self, base: tuple[int, ...]) -> Reals:
        """Log weight of `base` with each way added; −∞ for those of faults already in it."""
        gram, score, start, ways = self.gram, self.score, 0.0, self.ways
        if base:
            index = ways.parts(base)
            factor = np.linalg.cholesky(np.eye(len(index)) + gram[np.ix_(index, index)])
            solved = np.linalg.solve(factor, np.column_stack([score[index], gram[index]]))
            start = float(-np.sum(np.log(np.diag(factor))) + 0.5 * np.sum(solved[:, 0] ** 2) + np.sum(ways.log_odds[list(base)]))
            gram = gram - solved[:, 1:].T @ solved[:, 1:]
            score = score - solved[:, 1:].T @ solved[:, 0]
        own = 1.0 + np.diag(gram)
        gains = (0.5 * score**2 / own - 0.5 * np.log(own))[ways.starts[:-1]]
        for chosen, parts in ways.alike:
            factor = np.linalg.cholesky(np.eye(parts.shape[1]) + gram[parts[:, :, None], parts[:, None, :]])
            half = np.linalg.solve(factor, score[parts][:, :, None])
            gains[chosen] = 0.5 * np.sum(half**2, axis=(1, 2)) - np.sum(np.log(np.diagonal(factor, axis1=1, axis2=2)), axis=1)
        gains = start + gains + ways.log_odds
        gains[np.isin(ways.fault, ways.fault[list(base)])] = -math.inf
        return np.asarray(gains)


def weigh(sound: LinearGaussian, ways: Ways, *, most: int = MOST_FAULTS) -> FaultSets:
    """Weigh sets of up to `most` faults, each there in one of its `ways`."""
    extra = _ExtraParts.under(sound, ways)
    weights: dict[tuple[int, ...], float] = {(): 0.0}
    frontier: list[tuple[int, ...]] = [()]
    best = 0.0
    for _ in range(most):
        larger: dict[tuple[int, ...], float] = {}
        for base in frontier:
            gains = extra.grown(base)
            best = max(best, float(np.max(gains)))
            for one in np.flatnonzero(gains > best - NEGLIGIBLE).tolist():
                larger[tuple(sorted((*base, one)))] = float(gains[one])
        best_before = max(weights.values())
        weights.update(larger)
        frontier = sorted(
            (chosen for chosen, weight in larger.items() if weight > best - NEGLIGIBLE), key=lambda one: -larger[one]
        )
        frontier = frontier[:BEAM]
        if not frontier or max(larger.values()) < best_before - HOPELESS:
            break
    kept = sorted(
        (chosen for chosen, weight in weights.items() if weight > best - NEGLIGIBLE), key=lambda chosen: -weights[chosen]
    )
    total = best + math.log(sum(math.exp(weight - best) for weight in weights.values()))
    return FaultSets(
        sound=sound,
        extra=extra,
        kept=tuple(kept[:MOST_SETS]),
        log_weights=tuple(weights[chosen] - total for chosen in kept[:MOST_SETS]),
        log_evidence=sound.log_evidence + ways.log_none + total,
    )


def evidence_of(sound: LinearGaussian, ways: Ways, sets: Sequence[tuple[int, ...]]) -> float:
    """ln p(y) summed over the given sets only, that of no fault among them."""
    needed = np.unique(np.concatenate([np.zeros(0, dtype=np.intp), *(ways.parts(chosen) for chosen in sets)]))
    data = sound.design[:, ways.columns[needed]] * ways.spread[needed]
    solved = sound.solve(np.column_stack([sound.residual, data]))
    gram, score = data.T @ solved[:, 1:], data.T @ solved[:, 0] + ways.toward[needed]
    weights = [0.0]
    for chosen in sets:
        index = np.searchsorted(needed, ways.parts(chosen))
        factor = np.linalg.cholesky(np.eye(len(index)) + gram[np.ix_(index, index)])
        half = np.linalg.solve(factor, score[index])
        weights.append(float(0.5 * half @ half - np.sum(np.log(np.diag(factor))) + np.sum(ways.log_odds[list(chosen)])))
    best = max(weights)
    return sound.log_evidence + ways.log_none + best + math.log(sum(math.exp(weight - best) for weight in weights))
