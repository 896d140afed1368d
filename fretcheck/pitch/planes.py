"""Two planes of vibration: partials that beat, each fitted as a pair of decaying sinusoids.

A string held by an end that yields differently along the neck and away from it has two slightly different pitches, one for each
plane, and every partial beats by their difference (G. Weinreich, J. Acoust. Soc. Am. 62, 1474, 1977, from memory). Three
descriptions compete: planes that differ by the same number of hertz at every partial, by the same number of cents, or at
each partial by an amount of its own. Where the two planes cannot be told apart, the variance of the frequency says so. The
stronger plane's frequency is the partial's.

Conventions
-----------
`level` is the amplitude of the weaker plane against the stronger's, `split_hz` its frequency less the stronger's. Everything is
relative to a one-plane `PartialFit`; its glide is fitted again with pairs that share a split, and kept with others.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fretcheck.pitch.frames import CORRELATION
from fretcheck.pitch.noise import running_median
from fretcheck.pitch.pair_fit import FAR, fit_alone, fit_tied, fit_tied_near
from fretcheck.pitch.pair_glide import GlidingProblem, fit_gliding
from fretcheck.pitch.pair_model import DECAY, PARAMETERS, SPLIT, TURN, PairFit, PairProblem, level_of
from fretcheck.pitch.partial_fit import PartialFit

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

_EXCESS = 4.0  # standard deviations of χ² that make a band beat
_BETTER = 0.7  # a pair must fit this much better than one plane
_EXCESS_OF_ALL = 3.0  # the same, mean of all bands: less than that no shared split would explain
_SURE_OF_MANY = 8.0  # standard deviations, that many bands together must beat by where no one does so clearly
_LONG_ENOUGH_S = 1.1  # to look for a beat that no band shows clearly
_FEWEST, _SHARE = 3, 0.2  # pairs, among all partials, that make a note beat
_UNSEEN = 0.4  # of a beat's squared reach in frequency, where it is too slow to be seen
_ALIKE = 0.1  # of a beat's reach in frequency, by which pairs may all err the same way as far as their planes lie the same way
_LEAST = 0.01  # the same, by which each may err on its own
_LEAST_STIFFNESS = 0.15  # the same for the stiffness, which few high partials settle
_SPLIT_WORTH = 6.0  # χ² that a split of its own must be worth to a band
_LEVEL_WORTH = 2.0  # χ² for each band, that a shared split must be worth
_LEFT_OVER = 0.1  # of what one plane leaves beyond the noise, where two explain it
_LONGEST_RUN = 30.0  # frames
_SETTLED = 0.75  # share of the bands that must agree; a fit of many may leave one beside its best
_NEAR_NOISE = 2.5  # χ² for each degree of freedom
_U_DECAY = 0.3  # how far the two planes' decays may differ, as a share
_FAR_GLIDING = 100.0  # χ² for each value; while a glide is nearly known only, pairs fit badly
_DECAY_REACH = 3  # bands on either side among which a decay is usual


@dataclass(frozen=True)
class TiedPairs:
    """A fit of pairs with a shared split, and what it is relative to."""

    fit: PairFit
    guess_hz: Array
    """Of its bands."""
    decay_per_s: Array

    def against(self, problem: PairProblem, guess_hz: Array) -> PairFit:
        """The same against another first guess."""
        state = self.fit.state.copy()
        state[TURN] += 2.0 * np.pi * (self.guess_hz - guess_hz)
        state[DECAY] += self.decay_per_s - problem.decay_per_s
        return replace(self.fit, state=state)


@dataclass(frozen=True)
class Pairs:
    """All partials, those that beat as pairs; arrays of shape ``(bands,)``."""

    fit: PartialFit
    """That they are relative to: its glide is that of both planes."""
    frequency_hz: Array
    variance_hz2: Array
    misfit: float
    """χ² of the kept bands."""
    beating: int
    """How many bands beat."""
    level: float
    """Of the second plane, the middle one of the bands that beat; 0 where none does."""
    split_hz: float
    shared_hz: Array
    """By how much the frequencies move for one sigma of what they share; shape ``(2, bands)``.

    Of the split and of which way it goes, or, where each has a split of its own, of what all are in doubt by alike.
    """
    tied: TiedPairs | None = None
    """The fit, where all share a split."""
    weaker: Complex | None = None
    """The weaker plane of every band as it stands in the frames, shape ``(frames, bands)``; None where none beats."""

    @property
    def reach_hz(self) -> float:
        """Of the beats in frequency, where each has a split of its own; 0 elsewhere."""
        return self.level * self.split_hz if self.tied is None else 0.0

    @property
    def variance_for_stiffness_hz2(self) -> Array:
        """As `variance_hz2`, so even that no pair rules alone."""
        return np.asarray(self.variance_hz2 + (_LEAST_STIFFNESS * self.reach_hz) ** 2)

    def details(self) -> dict[str, float]:
        """For the technical page."""
        found = {"beating_partials": float(self.beating)}
        return found | ({"second_plane_level": self.level, "second_plane_split_hz": self.split_hz} if self.beating else {})


def with_planes(
    fit: PartialFit, kept: NDArray[np.bool_], string_hz: Callable[[Array, Array], Array], *, like: Pairs | None = None
) -> Pairs:
    """Fit the kept bands as pairs, if they beat.

    `string_hz` makes of frequencies and their variances those of the string that suits them best; `like` are pairs found with
    nearly the same fit: a shared split is not looked for again, neither near another nor where there was none.

    A band that does not show its beating may still beat too slowly to be seen: where others do, its frequency is in doubt by
    what such a beat would move it.
    """
    own, total = fit.model()
    left = np.sqrt(fit.trust / fit.noise) * (fit.frames.values - total)
    single = np.sum(np.abs(left) ** 2, axis=0) / max(1.0, 2.0 * len(own) - 4.0)
    single_variance = fit.variance_hz2 * _widened(single, left)
    frames = len(fit.frames.time_s)
    freedom = max(1.0, 2.0 * frames - 4.0)
    beats = kept & (single > 1.0 + _EXCESS / np.sqrt(frames))
    little = float(np.mean(np.maximum(single[kept] - 1.0, 0.0))) < _EXCESS_OF_ALL / np.sqrt(frames)
    few = np.sum(beats) < max(_FEWEST, _SHARE * float(np.sum(kept)))
    if (little or few) and not _many_beat_a_little(single[kept], single_variance[kept], fit.frames.time_s):
        cost = float(np.sum(single[kept])) * freedom
        return Pairs(fit, fit.frequency_hz, single_variance, cost, 0, 0.0, 0.0, np.zeros((2, len(single))))
    guess_hz = string_hz(fit.frequency_hz, single_variance)
    bands = np.flatnonzero(kept)
    one_plane = float(np.sum(single[bands])) * freedom / CORRELATION
    tied = _tied(fit, guess_hz, bands, like)
    if tied is not None and not _explains(tied.found, single[bands], frames):
        tied = None
    if tied is not None and like is not None and tied.worth < one_plane:
        return _tied_pairs(tied, guess_hz, bands)
    alone = _alone(fit, kept, single, single_variance, guess_hz, np.flatnonzero(beats))
    if tied is None or like is not None or tied.worth > min(one_plane, alone.cost + _SPLIT_WORTH * alone.pairs.beating):
        return alone.pairs
    return _tied_pairs(tied, guess_hz, bands)


def _many_beat_a_little(single: Array, variance: Array, time_s: Array) -> bool:
    """Whether the bands together, as they weigh in the string's pitch, have an excess of χ² that none has clearly by itself.

    No band adds more than what makes one beat by itself, twice over: it takes several. In a short note they would not be told
    apart by what they beat by.
    """
    if time_s[-1] - time_s[0] < _LONG_ENOUGH_S:
        return False
    spread = 1.0 / np.sqrt(len(time_s))
    excess = (single - 1.0).clip(-1.0, 2.0 * _EXCESS * spread)
    weight = 1.0 / variance
    return bool(np.sum(weight * excess) > _SURE_OF_MANY * spread * np.linalg.norm(weight))


@dataclass(frozen=True)
class _Tied:
    """Pairs with a shared split."""

    found: PairFit
    problem: PairProblem
    fit: PartialFit
    """That the problem is made of; its glide is that of both planes."""

    @property
    def worth(self) -> float:
        """χ² of all bands, and what a second plane must be worth."""
        return float(np.sum(self.found.cost)) + _LEVEL_WORTH * len(self.found.cost)


def _tied(fit: PartialFit, guess_hz: Array, bands: NDArray[np.intp], like: Pairs | None) -> _Tied | None:
    """Pairs with a shared split, if any come near."""
    known = None if like is None else like.tied
    if like is not None and known is None:
        return None
    problem = _pair_problem(fit, guess_hz, bands)
    numbers = np.asarray(1.0 + bands, dtype=np.float64)
    if like is None or known is None:
        found = fit_tied(problem, numbers, far=FAR if fit.glide is None else _FAR_GLIDING)
        if found is None:
            return None
        glide = fit.glide
    else:
        found = known.against(problem, guess_hz[bands])
        glide = like.fit.glide if fit.glide is not None else None
        if glide is None:
            found = fit_tied_near(problem, numbers, found)
    if glide is None:
        return _Tied(found, problem, fit)
    return _with_glide(replace(fit, glide=glide), guess_hz, bands, numbers, found)


def _with_glide(fit: PartialFit, guess_hz: Array, bands: NDArray[np.intp], numbers: Array, tied: PairFit) -> _Tied:
    """The glide fitted together with the pairs."""
    assert fit.glide is not None
    angle = 2.0 * np.pi * (fit.follows * fit.frequency_hz)[bands]
    problem = GlidingProblem(
        lambda glide: _pair_problem(replace(fit, glide=glide), guess_hz, bands),
        lambda glide: glide.phase_columns(fit.frames.time_s, angle),
        len(fit.frames.time_s),
    )
    gliding = fit_gliding(problem, tied, numbers, fit.glide)
    effect = np.zeros((2, len(fit.frequency_hz)))
    effect[:, bands] = gliding.effect / (2.0 * np.pi * guess_hz[bands])
    moved = replace(fit, glide=gliding.glide, glide_covariance=gliding.covariance, glide_effect=effect)
    return _Tied(gliding.fit, gliding.problem, moved)


def _explains(tied: PairFit, single: Array, frames: int) -> bool:
    """True when two planes leave little but noise: a click, an echo or a body is not made into a second plane."""
    left = tied.cost * CORRELATION / max(1.0, 2.0 * frames - len(PARAMETERS))
    usual = float(np.median(left))
    settled = left <= np.quantile(left, _SETTLED)
    if usual > _NEAR_NOISE or float(np.mean(left[settled])) > _NEAR_NOISE:
        return False
    excess = float(np.mean(np.maximum(left - usual, 0.0)[settled]))
    before = float(np.mean(np.maximum(single - usual, 0.0)[settled]))
    return excess < _LEFT_OVER * before


@dataclass(frozen=True)
class _Alone:
    pairs: Pairs
    cost: float
    """χ² of the kept bands, priors included."""


def _alone(
    fit: PartialFit, kept: NDArray[np.bool_], single: Array, variance: Array, guess_hz: Array, beating: NDArray[np.intp]
) -> _Alone:
    """Bands that beat as pairs with a split each."""
    frames = len(fit.frames.time_s)
    freedom = max(1.0, 2.0 * frames - 4.0)
    frequency = fit.frequency_hz
    shared = np.zeros((2, len(frequency)))
    costs = single * freedom / CORRELATION
    problem = _pair_problem(fit, guess_hz, beating)
    found = fit_alone(problem)
    planes = _Planes.of(found, problem, stronger=level_of(found.state) <= 1.0)
    worth = planes.misfit < _BETTER * single[beating]
    better = beating[worth]
    level, split, weaker = 0.0, 0.0, None
    if len(better) >= max(_FEWEST, _SHARE * float(np.sum(kept))):
        level, split = float(np.median(planes.level[worth])), float(np.median(np.abs(planes.split_hz[worth])))
        frequency = frequency.copy()
        frequency[better] = guess_hz[better] + planes.turn_hz[worth]
        variance = variance + 0.5 * (level * split) ** 2
        variance[better] = planes.variance_hz2[worth]
        variance += (_LEAST * level * split) ** 2
        shared[0] = _ALIKE * level * split * np.mean(np.sign(planes.split_hz[worth]))
        costs[better] = found.cost[worth]
        weaker = np.zeros(fit.frames.values.shape, complex)
        weaker[:, better] = planes.weaker[:, worth]
    else:
        better = better[:0]
    cost = float(np.sum(costs[kept]))
    misfit = cost * CORRELATION
    pairs = Pairs(fit, frequency, variance, misfit, len(better), level, split, shared, weaker=weaker)
    return _Alone(pairs, cost)


def _tied_pairs(tied: _Tied, guess_hz: Array, bands: NDArray[np.intp]) -> Pairs:
    fit, problem, found = tied.fit, tied.problem, tied.found
    planes = _Planes.of(found, problem, stronger=np.full(len(bands), found.first_is_stronger))
    frequency, variance = fit.frequency_hz.copy(), fit.variance_hz2.copy()
    shared = np.zeros((2, len(frequency)))
    frequency[bands] = guess_hz[bands] + planes.turn_hz
    variance[bands] = planes.variance_hz2
    shared[:, bands] = planes.shared_hz
    level, split = float(np.median(planes.level)), float(np.median(np.abs(planes.split_hz)))
    weaker = np.zeros(fit.frames.values.shape, complex)
    weaker[:, bands] = planes.weaker
    known = TiedPairs(found, guess_hz[bands], problem.decay_per_s)
    misfit = float(np.sum(found.cost)) * CORRELATION
    return Pairs(fit, frequency, variance, misfit, len(bands), level, split, shared, tied=known, weaker=weaker)


@dataclass(frozen=True)
class _Planes:
    """Pairs as the planes they stand for; arrays of shape ``(bands,)``."""

    turn_hz: Array
    """The stronger plane against the first guess."""
    variance_hz2: Array
    shared_hz: Array
    level: Array
    split_hz: Array
    misfit: Array
    """χ² for each degree of freedom."""
    weaker: Complex
    """In the frames, shape ``(frames, bands)``."""

    @classmethod
    def of(cls, found: PairFit, problem: PairProblem, *, stronger: NDArray[np.bool_]) -> _Planes:
        """`stronger` says of each band whether the pair's first member is the stronger plane."""
        state, covariance = found.state, found.covariance
        level, split = level_of(state) + 1e-9, state[SPLIT]
        turn = state[TURN] + np.where(stronger, 0.0, split)
        shared = np.array([one[TURN] + np.where(stronger, 0.0, one[SPLIT]) for one in (found.shared, found.rival)])
        variance = covariance[:, TURN, TURN]
        variance = variance + np.where(stronger, 0.0, covariance[:, SPLIT, SPLIT] + 2.0 * covariance[:, TURN, SPLIT])
        level = np.where(stronger, level, 1.0 / level)
        first, second = problem.planes(state)
        left = np.sqrt(problem.weight * CORRELATION) * (problem.ratio - first - second)
        misfit = found.cost * CORRELATION / max(1.0, 2.0 * len(problem.time) - len(PARAMETERS))
        doubt = np.zeros_like(level)
        if found.growth is None:
            # nearly equal planes: which is the stronger is not known, so the split itself is in doubt
            doubt = np.exp(-0.5 * (np.log(level) / 0.15) ** 2) * split**2
            spread_s = np.sqrt(_spread(problem.weight, problem.time))
            doubt += _UNSEEN * np.minimum(level, 1.0 / level) ** 2 * split**2 * np.exp(-((split * spread_s) ** 2))
        return cls(
            turn_hz=turn / (2.0 * np.pi),
            variance_hz2=(variance * _widened(misfit, left) + doubt) / (2.0 * np.pi) ** 2,
            shared_hz=shared / (2.0 * np.pi),
            level=level,
            split_hz=np.where(stronger, split, -split) / (2.0 * np.pi),
            misfit=misfit,
            weaker=np.where(stronger, second, first) * problem.guess,
        )


def _widened(misfit: Array, left: Complex) -> Array:
    """What the variances of noise are to be multiplied by, where more than noise is left.

    By the misfit (R. T. Birge, Phys. Rev. 40, 207, 1932, from memory), and as far as what is left goes on from frame to frame
    by (1+ρ)/(1−ρ), since fewer values of such a series are worth a mean (G. U. Yule, 1926, from memory).

    Parameters
    ----------
    misfit : ndarray, shape (bands,)
        χ² for each degree of freedom.
    left : ndarray, complex, shape (frames, bands)
    """
    power = np.sum(np.abs(left) ** 2, axis=0) + 1e-300
    serial = np.sum((left[1:] * left[:-1].conj()).real, axis=0) / power
    excess = np.maximum(1.0, misfit)
    goes_on = ((1.0 + serial) / (1.0 - serial)).clip(CORRELATION, _LONGEST_RUN) / CORRELATION
    return np.asarray(excess * (1.0 + (goes_on - 1.0) * (1.0 - 1.0 / excess)))


def _pair_problem(fit: PartialFit, guess_hz: Array, bands: NDArray[np.intp]) -> PairProblem:
    """The bands over what a string of that pitch and of the usual decay would make of them."""
    own, total = fit.model()
    time = fit.frames.time_s[:, None]
    usual = running_median(fit.decay_per_s, _DECAY_REACH)[bands]
    guess = own[:, bands] * np.exp((fit.decay_per_s[bands] - usual + 2j * np.pi * (guess_hz - fit.frequency_hz)[bands]) * time)
    ratio = (fit.frames.values - total + own)[:, bands] / (guess + 1e-300)
    weight = fit.trust * np.abs(guess) ** 2 / (CORRELATION * fit.noise[bands])
    size = np.sqrt(np.sum(weight * np.abs(ratio) ** 2, axis=0) / np.sum(weight, axis=0))
    return PairProblem(
        time=fit.frames.time_s,
        ratio=ratio / size,
        weight=weight * size**2,
        guess=guess * size,
        decay_per_s=usual,
        prior_decay=1.0 / (_U_DECAY * np.maximum(usual, 0.5)) ** 2,
    )


def _spread(weight: Array, time: Array) -> Array:
    """Weighted variance of time, of each band."""
    total = np.sum(weight, axis=0)
    mean = np.sum(weight * time[:, None], axis=0) / total
    return np.asarray(np.sum(weight * (time[:, None] - mean) ** 2, axis=0) / total)
