"""Two planes of vibration: partials that beat, each fitted as a pair of decaying sinusoids.

A string held by an end that yields differently along the neck and away from it has two slightly different pitches, one for each
plane, and every partial beats by their difference (G. Weinreich, J. Acoust. Soc. Am. 62, 1474, 1977, from memory). Each partial
is fitted on its own, all at once as a batch, by damped Gauss–Newton steps from the best of a grid of splits; where the two
cannot be told apart, the variance of the frequency says so. The stronger plane's frequency is the partial's.

Conventions
-----------
`level` is the amplitude of the weaker plane against the stronger's, `split_hz` its frequency less the stronger's. Everything is
relative to a one-plane `PartialFit`, whose glide is kept.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fretcheck.pitch.frames import CORRELATION
from fretcheck.pitch.partials import PartialFit

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

_EXCESS = 4.0  # standard deviations of χ² that make a band beat
_BETTER = 0.7  # a pair must fit this much better than one plane
_FEWEST, _SHARE = 3, 0.2  # pairs, among all partials, that make a note beat
_UNSEEN = 0.4  # of a beat's squared reach in frequency, where it is too slow to be seen
_LEAST = 0.15  # of a beat's reach in frequency, that no pair is trusted beyond
_WIDEST_HZ = 8.0
_STEPS_A_CYCLE = 3.0
_TURNS = 8
_LEVEL, _U_LOG_LEVEL = 0.35, 1.2
_U_DECAY = 0.3  # how far the two planes' decays may differ, as a share
_PARAMETERS = 8


@dataclass(frozen=True)
class Planes:
    """The beating partials; arrays of shape ``(bands,)``, with NaN where a band was not asked for."""

    frequency_hz: Array
    variance_hz2: Array
    level: Array
    split_hz: Array
    misfit: Array
    """χ² for each degree of freedom, of the pair."""


@dataclass(frozen=True)
class Pairs:
    """All partials, those that beat as pairs; arrays of shape ``(bands,)``."""

    frequency_hz: Array
    variance_hz2: Array
    misfit: float
    """χ² of the kept bands."""
    beating: int
    """How many bands beat."""
    level: float
    """Of the second plane, the middle one of the bands that beat; 0 where none does."""
    split_hz: float

    def details(self) -> dict[str, float]:
        """For the technical page."""
        found = {"beating_partials": float(self.beating)}
        return found | ({"second_plane_level": self.level, "second_plane_split_hz": self.split_hz} if self.beating else {})


def with_planes(fit: PartialFit, kept: NDArray[np.bool_]) -> Pairs:
    """Fit those of the kept bands that beat as pairs.

    A band that does not show its beating may still beat too slowly to be seen: where others do, its frequency is in doubt by
    what such a beat would move it.
    """
    single = one_plane_misfit(fit)
    freedom = 2.0 * len(fit.frames.time_s)
    frequency, variance = fit.frequency_hz, fit.variance_hz2 * np.maximum(1.0, single)
    beating = np.flatnonzero(kept & (single > 1.0 + _EXCESS / np.sqrt(len(fit.frames.time_s))))
    if len(beating):
        planes = fit_planes(fit, beating)
        better = np.zeros(len(kept), dtype=bool)
        better[beating] = planes.misfit[beating] < _BETTER * single[beating]
        if np.sum(better) >= max(_FEWEST, _SHARE * float(np.sum(kept))):
            level = float(np.median(planes.level[better]))
            split = float(np.median(np.abs(planes.split_hz[better])))
            frequency = np.where(better, planes.frequency_hz, frequency)
            variance = (
                np.where(better, planes.variance_hz2, variance + 0.5 * (level * split) ** 2) + (_LEAST * level * split) ** 2
            )
            misfit = float(np.sum(np.where(better, planes.misfit, single)[kept])) * freedom
            return Pairs(frequency, variance, misfit, int(np.sum(better)), level, split)
    return Pairs(frequency, variance, float(np.sum(single[kept])) * freedom, 0, 0.0, 0.0)


def one_plane_misfit(fit: PartialFit) -> Array:
    """χ² for each degree of freedom of the one-plane fit, both quadratures."""
    own, total = fit.model()
    left = np.sum(fit.trust * np.abs(fit.frames.values - total) ** 2, axis=0)
    return np.asarray(left / fit.noise / max(1.0, 2.0 * len(own) - 4.0))


def fit_planes(fit: PartialFit, bands: NDArray[np.intp]) -> Planes:
    """Fit the given bands as pairs."""
    own, total = fit.model()
    size = np.abs(own[:, bands]) + 1e-300
    ratio = 1.0 + (fit.frames.values - total)[:, bands] * own[:, bands].conj() / size**2
    weight = fit.trust * size**2 / (CORRELATION * fit.noise[bands])
    time = fit.frames.time_s
    state = _start(time, ratio, weight)
    prior_decay = 1.0 / (_U_DECAY * np.maximum(fit.decay_per_s[bands], 0.5)) ** 2
    damping = np.full(len(bands), 1e-2)
    cost, normal, wanted = _normal(state, time, ratio, weight, prior_decay)
    for _ in range(_TURNS):
        diagonal = np.einsum("pii->pi", normal)
        damped = normal + damping[:, None, None] * np.eye(_PARAMETERS) * (diagonal[:, :, None] + 1e-12)
        change = np.linalg.solve(damped, wanted[:, :, None])[:, :, 0]
        trial = state + np.clip(change, -_LARGEST_STEP, _LARGEST_STEP).T
        new_cost, new_normal, new_wanted = _normal(trial, time, ratio, weight, prior_decay)
        better = new_cost < cost
        state = np.where(better, trial, state)
        cost = np.where(better, new_cost, cost)
        normal = np.where(better[:, None, None], new_normal, normal)
        wanted = np.where(better[:, None], new_wanted, wanted)
        damping = np.where(better, damping * 0.2, damping * 8.0).clip(1e-9, 1e6)
    return _planes(fit, bands, state, cost, normal, weight)


_LARGEST_STEP = np.array([1.0, 1.0, 5.0, 5.0, 1.0, 1.0, 5.0, 5.0])


def _start(time: Array, ratio: Complex, weight: Array) -> Array:
    """Best split of a grid: for each, c0 + c1·t + c2·exp(iδt) by linear least squares."""
    span = float(time[-1] - time[0])
    step = 1.0 / (_STEPS_A_CYCLE * span)
    splits = step * np.arange(1, int(min(_WIDEST_HZ, 0.2 / (time[1] - time[0])) / step) + 1)
    splits = np.concatenate([splits, -splits]) * 2.0 * np.pi
    spin = np.exp(1j * splits[:, None] * time)  # (splits, frames)
    moments = [np.sum(weight * time[:, None] ** power, axis=0) for power in (0, 1, 2)]
    cross = spin @ weight.astype(complex), (spin * time) @ weight.astype(complex)
    right = [
        np.broadcast_to(np.sum(weight * ratio, axis=0), cross[0].shape),
        np.broadcast_to(np.sum(weight * ratio * time[:, None], axis=0), cross[0].shape),
        spin.conj() @ (weight * ratio),
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
    gain -= 0.5 * (np.log(np.maximum(level, 1e-3) / _LEVEL) / _U_LOG_LEVEL) ** 2
    best = np.argmax(gain, axis=0)
    every = np.arange(ratio.shape[1])
    c0, c1, c2 = (found[best, every, at] for at in range(3))
    c0 = np.where(np.abs(c0) < 1e-6, 1e-6, c0)
    drift, level_c = c1 / c0, c2 / c0
    level_c = level_c / np.maximum(1.0, np.abs(level_c) / 1.5)
    nothing = np.zeros(len(every))
    return np.array(
        [np.log(np.abs(c0)), np.angle(c0), -drift.real, drift.imag, level_c.real, level_c.imag, splits[best], nothing]
    )


def _normal(state: Array, time: Array, ratio: Complex, weight: Array, prior_decay: Array) -> tuple[Array, Array, Array]:
    """Cost, normal matrix and gradient of every pair; state is (parameters, bands)."""
    log_size, phase, decay, turn, real, imaginary, split, extra = state
    at = time[:, None]
    main = np.exp(log_size + 1j * phase + (-decay + 1j * turn) * at)
    second = main * np.exp((-extra + 1j * split) * at)
    level = real + 1j * imaginary
    model = main + level * second
    rotating = level * second * at
    columns = np.stack([model, 1j * model, -at * model, 1j * at * model, second, 1j * second, 1j * rotating, -rotating])
    left = ratio - model
    weighted = columns.conj() * weight
    normal = np.einsum("imp,jmp->pij", weighted.real, columns.real) - np.einsum("imp,jmp->pij", weighted.imag, columns.imag)
    wanted = np.einsum("imp,mp->pi", weighted, left).real
    cost = np.sum(weight * np.abs(left) ** 2, axis=0)
    # weak knowledge: the second plane is neither absent nor much stronger, and decays about as fast
    size = np.abs(level) + 1e-6
    log_level = np.log(size / _LEVEL) / _U_LOG_LEVEL
    gradient = np.stack([real, imaginary]) / size**2 / _U_LOG_LEVEL
    normal[:, 4:6, 4:6] += np.einsum("ip,jp->pij", gradient, gradient)
    wanted[:, 4:6] -= (log_level * gradient).T
    normal[:, 7, 7] += prior_decay
    wanted[:, 7] -= prior_decay * extra
    return cost + log_level**2 + prior_decay * extra**2, normal, wanted


def _spread(weight: Array, time: Array) -> Array:
    """Weighted variance of time, of each band."""
    total = np.sum(weight, axis=0)
    mean = np.sum(weight * time[:, None], axis=0) / total
    return np.asarray(np.sum(weight * (time[:, None] - mean) ** 2, axis=0) / total)


def _planes(fit: PartialFit, bands: NDArray[np.intp], state: Array, cost: Array, normal: Array, weight: Array) -> Planes:
    scale = np.sqrt(np.einsum("pii->pi", normal)) + 1e-300
    covariance = np.linalg.inv(normal / scale[:, :, None] / scale[:, None, :] + 1e-10 * np.eye(_PARAMETERS))
    covariance = covariance / scale[:, :, None] / scale[:, None, :]
    level = np.hypot(state[4], state[5]) + 1e-9
    swapped = level > 1.0
    turn = state[3] + np.where(swapped, state[6], 0.0)
    variance = covariance[:, 3, 3] + np.where(swapped, covariance[:, 6, 6] + 2.0 * covariance[:, 3, 6], 0.0)
    # nearly equal planes: which is the stronger is not known, so the split itself is in doubt
    doubt = np.exp(-0.5 * (np.log(level + 1e-9) / 0.15) ** 2) * state[6] ** 2
    spread_s = np.sqrt(_spread(weight, fit.frames.time_s))
    doubt += _UNSEEN * np.minimum(level, 1.0 / level) ** 2 * state[6] ** 2 * np.exp(-((state[6] * spread_s) ** 2))
    misfit = cost * CORRELATION / max(1.0, 2.0 * len(fit.frames.time_s) - _PARAMETERS)

    def spread(values: Array) -> Array:
        full = np.full(len(fit.frequency_hz), np.nan)
        full[bands] = values
        return full

    return Planes(
        frequency_hz=spread(fit.frequency_hz[bands] + turn / (2.0 * np.pi)),
        variance_hz2=spread((variance * np.maximum(1.0, misfit) + doubt) / (2.0 * np.pi) ** 2),
        level=spread(np.where(swapped, 1.0 / np.maximum(level, 1e-9), level)),
        split_hz=spread(np.where(swapped, -state[6], state[6]) / (2.0 * np.pi)),
        misfit=spread(misfit),
    )
