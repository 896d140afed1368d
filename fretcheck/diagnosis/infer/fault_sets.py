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
from heapq import nlargest
from itertools import pairwise
from operator import itemgetter

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
        return self.posteriors(range(len(self.kept)))

    @cached_property
    def best(self) -> FaultSet:
        """The most probable set."""
        return self.posteriors([0])[0]

    @cached_property
    def _response(self) -> Reals:
        ways, sound = self.extra.ways, self.sound
        response = -sound.prior_covariance @ (sound.white_design.T @ self.extra.white)
        response[ways.columns, np.arange(len(ways.columns))] += ways.spread
        return np.asarray(response)

    def posteriors(self, numbers: Sequence[int]) -> tuple[FaultSet, ...]:
        """Of some sets, by their numbers among those kept."""
        extra, fault, chosen = self.extra, self.extra.ways.fault, [self.kept[number] for number in numbers]
        index = extra.ways.side_by_side(chosen)
        inner = np.linalg.inv(np.eye(index.shape[1]) + extra.gram[index[:, :, None], index[:, None, :]])
        response = np.moveaxis(self._response[:, index], 0, 1)
        means = self.sound.mean + (response @ (inner @ extra.score[index][:, :, None]))[:, :, 0]
        roots = response @ np.linalg.cholesky(inner)
        return tuple(
            FaultSet(faults=tuple(sorted(fault[list(one)].tolist())), mean=mean, root=root[:, : len(extra.ways.parts(one))])
            for one, mean, root in zip(chosen, means, roots, strict=True)
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

    def side_by_side(self, sets: Sequence[tuple[int, ...]]) -> NDArray[np.intp]:
        """Parts of the ways in each set, shape (sets, most parts), filled up with the part of nothing."""
        parts = [self.parts(chosen) for chosen in sets]
        index = np.full((len(sets), max(map(len, parts), default=0)), self.starts[-1])
        for row, own in zip(index, parts, strict=True):
            row[: len(own)] = own
        return index


@dataclass(frozen=True, kw_only=True)
class _ExtraParts:
    """The faults' extra parts under one sound neck, scaled to unit variance, and after them a part of nothing."""

    ways: Ways
    white: Reals  # L⁻¹ U, L·Lᵀ = C: on the observations, whitened
    gram: Reals
    score: Reals

    @classmethod
    def under(cls, sound: LinearGaussian, ways: Ways) -> _ExtraParts:
        """Those of all `ways` under one sound neck."""
        white = np.zeros((len(sound.y), len(ways.columns) + 1))
        white[:, :-1] = sound.white_design[:, ways.columns] * ways.spread
        score = sound.white_residual @ white + np.append(ways.toward, 0.0)
        return cls(ways=ways, white=white, gram=white.T @ white, score=score)

    def grown(self, bases: Sequence[tuple[int, ...]]) -> Reals:
        """Log weight of each of `bases`, all as large, with each way added, shape (bases, ways); −∞ for its own faults."""
        ways, gram, there = self.ways, self.gram, np.array(bases, dtype=np.intp)
        index = ways.side_by_side(bases)
        factor = np.linalg.cholesky(np.eye(index.shape[1]) + gram[index[:, :, None], index[:, None, :]])
        solved = np.linalg.solve(factor, np.concatenate([self.score[index][:, :, None], gram[index]], axis=2))
        own, rows = solved[:, :, 0], solved[:, :, 1:]
        start = 0.5 * np.sum(own**2, axis=1) - _log_root(factor) + np.sum(ways.log_odds[there], axis=1)
        score = self.score - (own[:, None, :] @ rows)[:, 0]
        alone = 1.0 + np.diag(gram) - np.sum(rows**2, axis=1)
        gains = (0.5 * score**2 / alone - 0.5 * np.log(alone))[:, ways.starts[:-1]]
        for chosen, alike in ways.alike:
            taken = np.moveaxis(rows[:, :, alike], 1, 3)
            block = np.eye(alike.shape[1]) + gram[alike[:, :, None], alike[:, None, :]]
            factor = np.linalg.cholesky(block - taken @ np.swapaxes(taken, 2, 3))
            half = np.linalg.solve(factor, score[:, alike][..., None])
            gains[:, chosen] = 0.5 * np.sum(half**2, axis=(2, 3)) - _log_root(factor)
        gains += start[:, None] + ways.log_odds
        gains[np.any(ways.fault[there][:, :, None] == ways.fault, axis=1)] = -math.inf
        return np.asarray(gains)


def _log_root(factor: NDArray[np.floating]) -> Reals:
    """Half the log determinants of what has these Cholesky factors, shape (…, n, n)."""
    return np.asarray(np.sum(np.log(np.diagonal(factor, axis1=-2, axis2=-1)), axis=-1))


def weigh(sound: LinearGaussian, ways: Ways, *, most: int = MOST_FAULTS) -> FaultSets:
    """Weigh sets of up to `most` faults, each there in one of its `ways`."""
    extra = _ExtraParts.under(sound, ways)
    weights: dict[tuple[int, ...], float] = {(): 0.0}
    frontier: list[tuple[int, ...]] = [()]
    best = 0.0
    for _ in range(most):
        gains = extra.grown(frontier)
        before, so_far = best, np.maximum(np.maximum.accumulate(np.max(gains, axis=1)), best)
        best = float(so_far[-1])
        base, added = np.nonzero(gains > so_far[:, None] - NEGLIGIBLE)
        sets = np.sort(np.column_stack([np.array(frontier, dtype=np.intp)[base], added]), axis=1)
        larger = dict(zip(map(tuple, sets.tolist()), gains[base, added].tolist(), strict=True))
        weights.update(larger)
        frontier = [one for one, weight in nlargest(BEAM, larger.items(), key=itemgetter(1)) if weight > best - NEGLIGIBLE]
        if not frontier or larger[frontier[0]] < before - HOPELESS:
            break
    kept = [one for one, weight in nlargest(MOST_SETS, weights.items(), key=itemgetter(1)) if weight > best - NEGLIGIBLE]
    total = float(np.logaddexp.reduce(list(weights.values())))
    return FaultSets(
        sound=sound,
        extra=extra,
        kept=tuple(kept),
        log_weights=tuple(weights[chosen] - total for chosen in kept),
        log_evidence=sound.log_evidence + ways.log_none + total,
    )


def evidences(sounds: Sequence[LinearGaussian], ways: Ways, sets: Sequence[tuple[int, ...]]) -> Reals:
    """ln p(y) under each sound neck, summed over the given sets only, that of no fault among them; shape (sounds,)."""
    needed = np.unique(np.concatenate([np.zeros(0, dtype=np.intp), *(ways.parts(chosen) for chosen in sets)]))
    columns, spread = ways.columns[needed], ways.spread[needed]
    white = np.array([sound.whitened(sound.design[:, columns] * spread) for sound in sounds])
    residual = np.array([sound.white_residual for sound in sounds])
    gram, score = np.swapaxes(white, 1, 2) @ white, (residual[:, None, :] @ white)[:, 0] + ways.toward[needed]
    weights = [np.zeros(len(sounds))]
    for chosen in sets:
        index = np.searchsorted(needed, ways.parts(chosen))
        factor = np.linalg.cholesky(np.eye(len(index)) + gram[:, index[:, None], index])
        half = np.linalg.solve(factor, score[:, index, None])
        weights.append(0.5 * np.sum(half**2, axis=(1, 2)) - _log_root(factor) + np.sum(ways.log_odds[list(chosen)]))
    evidence = np.array([sound.log_evidence for sound in sounds])
    return np.asarray(evidence + ways.log_none + np.logaddexp.reduce(weights, axis=0))
