"""Frequency of every partial of a pluck, fitted together with the settling of its pitch.

The fit is Gauss–Newton on the logarithm of the amplitude, in which the real part (level, decay) and the imaginary part (phase,
frequency, glide) separate, and every partial's own two phase parameters are eliminated in closed form, so that a step costs a
handful of sums over frames (variable projection: G. H. Golub & V. Pereyra, SIAM J. Numer. Anal. 10, 413, 1973, from memory).

Conventions
-----------
As in `partial_fit` and `glide`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fretcheck.pitch.frames import CORRELATION, Frames
from fretcheck.pitch.glide import GLIDE_EVIDENCE, MOST_GLIDE_CENTS, TAU_RANGE_S, Glide
from fretcheck.pitch.noise import frame_noise, middle
from fretcheck.pitch.partial_fit import PartialFit, believe_noise, residual
from fretcheck.pitch.pitch_track import glide_of_track

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

_GLIDE_TAUS_S = np.array([0.03, 0.05, 0.08, 0.12, 0.17, 0.25, 0.35, 0.5, 0.75, 1.1])
_STRAYS = 2.0  # times the noise
_ATTACK_RINGS_S = 0.1
_STANDS_OUT = 8.0  # power over the noise of a quadrature
_TRACK_TURNS = 3
_STEPS = 4
_CONVERGED, _MOVED = 0.02, 1.0  # standard uncertainties
_FAR_MORE = 2.0  # power left, against what there is
_ASTRAY = 0.15  # window bins
_NOTHING = -30.0 + 0.0j  # log amplitude
_GOOD_TO = 1e-6  # of the strongest partial: leakage beyond the nearest bands, and the window's share in a glide
_GOOD = 1.5  # χ² for each frame and band
_BEYOND_DOUBT = 4.0  # times the evidence that makes a glide believed


def fit_partials(frames: Frames, follows: Array) -> PartialFit:
    """Fit all partials, with a glide if the sound asks for one.

    Parameters
    ----------
    frames : Frames
        At least six frames.
    follows : ndarray, shape (bands,)
        1 for the string's partials, 0 for lines of another origin, which are fitted beside them.
    """
    plain = _first_guess(frames, follows)
    moving = _glide_by_track(plain)
    if moving is None:
        plain = fit_without_glide(frames, follows)
        glide = _glide_guess(plain)
        if glide is None:
            return plain
        moving = replace(plain, glide=glide)
    _converge(moving)
    _give_up_lost(moving)
    moving.trust = _trust(moving)
    step(moving)
    assert moving.glide is not None
    believable = 0.0 < moving.glide.cents < MOST_GLIDE_CENTS and TAU_RANGE_S[0] < moving.glide.tau_s < TAU_RANGE_S[1]
    if not believable:
        return fit_without_glide(frames, follows)
    if not _beyond_doubt(moving):
        plain = fit_without_glide(frames, follows, trust=moving.trust)
        noise = np.minimum(moving.noise, plain.noise)
        if _misfit(plain, noise) - _misfit(moving, noise) <= GLIDE_EVIDENCE * CORRELATION:
            return plain
    before = moving.glide
    _finish(moving)
    if not moving.glide.c > 0.0:
        moving.glide = before
    return moving


def fit_without_glide(frames: Frames, follows: Array, *, trust: Array | None = None) -> PartialFit:
    """Fit all partials at a steady pitch each; arguments as for `fit_partials`, and the frames' trust where it is known."""
    plain = _first_guess(frames, follows)
    _project(plain)
    _converge(plain)
    _give_up_lost(plain)
    plain.trust = _trust(plain) if trust is None else trust
    _finish(plain)
    return plain


def _finish(fit: PartialFit) -> None:
    """A last step; where it still moved much, noise and variances are those of the state it led to.

    A band whose frequency has run away from its partial, and of which the model leaves more than there is, is taken out.
    """
    if step(fit) > _MOVED:
        believe_noise(fit, _noise_of(fit, residual(fit).imag))
        strayed = np.abs(fit.frequency_hz - fit.frames.reference_hz) * fit.frames.length_s > _ASTRAY
        _take_out(fit, strayed & _leaves_more(fit, 1.0, fit.trust))


def _give_up_lost(fit: PartialFit) -> None:
    """Take out bands of which the model leaves far more than there is.

    A partial that the pluck does not excite may be fitted to what its neighbours leave in its band, and blown up by it.
    """
    _take_out(fit, _leaves_more(fit, _FAR_MORE, np.ones((1, 1))))


def _leaves_more(fit: PartialFit, times: float, trust: Array) -> NDArray[np.bool_]:
    """Bands of which the model leaves so many times more power than there is, frames weighed by `trust`."""
    _, total = fit.model()
    values = fit.frames.values
    left, there = (np.sum(trust * np.abs(power) ** 2, axis=0) for power in (values - total, values))
    return np.asarray(left > times * there)


def _take_out(fit: PartialFit, bands: NDArray[np.bool_]) -> None:
    fit.log_amplitude = np.where(bands, _NOTHING, fit.log_amplitude)


def _noise_of(fit: PartialFit, quadrature: Array) -> Array:
    """Noise of the frames, or what the model itself is good to, where a sound has less noise than that."""
    return np.maximum(frame_noise(quadrature), (_GOOD_TO * float(np.max(np.abs(fit.frames.values)))) ** 2)


def _converge(fit: PartialFit) -> None:
    """Steps until none moves a frequency or the glide by more than a small part of its uncertainty."""
    for _ in range(_STEPS):
        if step(fit) < _CONVERGED:
            break


def _beyond_doubt(fit: PartialFit) -> bool:
    """True when the fit is good and the glide so many times its uncertainty that a fit without one need not be tried."""
    assert fit.glide is not None
    assert fit.glide_covariance is not None
    good = _misfit(fit, fit.noise) < _GOOD * len(fit.frames.time_s) * float(np.sum(fit.follows))
    return good and bool(fit.glide.c**2 > _BEYOND_DOUBT * GLIDE_EVIDENCE * CORRELATION * fit.glide_covariance[0, 0])


def _misfit(fit: PartialFit, noise: Array) -> float:
    """χ² of the string's quadratures."""
    left = residual(fit).imag
    return float(np.sum(fit.follows * np.sum(fit.trust * left**2, axis=0) / noise))


def _trust(fit: PartialFit) -> Array:
    """Less weight for the first frames as far as they stray more than noise does, as while the attack still rings."""
    left = np.abs(residual(fit)) ** 2 / (2.0 * fit.noise)
    stray = middle(left.T) / 0.693  # median of an exponential distribution
    time = fit.frames.time_s
    first = np.cumprod((stray > _STRAYS) & (time < time[0] + _ATTACK_RINGS_S))
    return np.asarray(np.where(first > 0, 1.0 / np.maximum(stray, 1.0), 1.0)[:, None])


def _glide_by_track(plain: PartialFit) -> PartialFit | None:
    """A fit with the glide that the pitch over time suggests; None where it suggests none."""
    fit = replace(plain)
    for _ in range(_TRACK_TURNS):
        fit.glide = glide_of_track(fit)
        if fit.glide is None:
            return None
        _untwist(fit)
    _project(fit)
    return fit


def _first_guess(frames: Frames, follows: Array) -> PartialFit:
    """Frequency and decay from the turn between neighbouring frames in which the partial stands out."""
    values = frames.values
    size = np.abs(values) ** 2
    sure = np.cumprod(size > _STANDS_OUT * frame_noise(values.imag), axis=0)
    sure[:3] = 1
    turn = (sure[1:] * values[1:] * values[:-1].conj()).sum(axis=0)
    power = (sure[1:] * size[:-1]).sum(axis=0)
    offset = np.angle(turn) / (2.0 * np.pi * frames.step_s)
    decay = (-np.log(np.maximum(np.abs(turn) / np.maximum(power, 1e-300), 1e-3)) / frames.step_s).clip(0.1, 80.0)
    return PartialFit(frames, frames.reference_hz + offset, np.zeros(len(offset), complex), decay, follows)


def _untwist(fit: PartialFit) -> None:
    """Take the glide found off the bands, and guess each partial's settled frequency again."""
    fit.log_amplitude = np.zeros(len(fit.frequency_hz), complex)
    if fit.glide is not None:
        shape = fit.amplitudes()
        values = fit.frames.values
        still = values * (shape / (np.abs(shape) + 1e-300)).conj()
        found = np.zeros(len(fit.frequency_hz))
        for lag in (1, 2, 4, 8):
            if lag < len(values) // 4:
                turn = (still[lag:] * still[:-lag].conj()).sum(axis=0)
                cycle = 2.0 * np.pi * fit.frames.step_s * lag
                found += np.angle(turn * np.exp(-1j * cycle * found)) / cycle
        fit.frequency_hz = fit.frequency_hz + found


def _project(fit: PartialFit) -> None:
    """Level and phase of every partial by projection on its shape."""
    fit.log_amplitude = np.zeros(len(fit.frequency_hz), complex)
    shape = fit.amplitudes()
    level = np.sum(fit.frames.values * shape.conj(), axis=0) / np.sum(np.abs(shape) ** 2, axis=0)
    fit.log_amplitude = np.log(np.where(level == 0.0, 1e-12, level))


def step(fit: PartialFit) -> float:
    """One Gauss–Newton step of all parameters; leaves noise and variances for the state before it.

    Returns the largest change of a frequency or of the glide, in standard uncertainties.
    """
    own, total = fit.model()
    size = np.abs(own) + 1e-300
    relative = (fit.frames.values - total) * own.conj() / size
    power = size**2 * fit.trust
    moment = relative * size * fit.trust
    time = fit.frames.time_s[:, None]
    fit.noise = _noise_of(fit, relative.imag)

    # level and decay: real part, columns 1 and −t
    lines = _Lines.weighted(power, time)
    shift, slope = lines.of(moment.real)
    decay = (fit.decay_per_s - slope).clip(0.0, 120.0)
    used_slope = fit.decay_per_s - decay
    level = (shift + (slope - used_slope) * lines.mean).clip(-1.5, 1.5)

    # phase and frequency: imaginary part, columns 1 and 2πt, and the glide's, which all partials share
    phase, turn = lines.of(moment.imag)
    largest = 0.0
    if fit.glide is not None:
        columns = fit.glide.phase_columns(fit.frames.time_s, 2.0 * np.pi * fit.follows * fit.frequency_hz)
        residual_left = [lines.of(power * column) for column in columns]
        left = [column - a - b * time for column, (a, b) in zip(columns, residual_left, strict=True)]
        weight = power / fit.noise
        normal = np.array([[(weight * one * other).sum() for other in left] for one in left])
        wanted = np.array([(one * moment.imag / fit.noise).sum() for one in left])
        scale = np.sqrt(np.diag(normal)) + 1e-300
        ridge = normal / np.outer(scale, scale) + 1e-9 * np.eye(len(left))
        change = np.linalg.solve(ridge, wanted / scale) / scale
        fit.glide_covariance = CORRELATION * np.linalg.inv(ridge) / np.outer(scale, scale)
        fit.glide_effect = np.array([-b / (2.0 * np.pi * fit.frequency_hz) for _, b in residual_left])
        for delta, (a, b) in zip(change, residual_left, strict=True):
            phase, turn = phase - a * delta, turn - b * delta
        largest = float(np.max(np.abs(change) / np.sqrt(np.diag(fit.glide_covariance))))
        fit.glide = fit.glide.moved(*change)
    else:
        fit.glide_effect, fit.glide_covariance = None, None
    limit = 0.25 / fit.frames.length_s
    moved = (turn / (2.0 * np.pi)).clip(-limit, limit)
    fit.variance_hz2 = CORRELATION * fit.noise / lines.spread / (2.0 * np.pi) ** 2
    fit.frequency_hz = fit.frequency_hz + moved
    fit.decay_per_s = decay
    fit.log_amplitude = fit.log_amplitude + level + 1j * phase.clip(-1.5, 1.5)
    return max(largest, float(np.max(np.abs(moved) / np.sqrt(fit.variance_hz2))))


@dataclass(frozen=True)
class _Lines:
    """Straight lines a + b·t through each column, for weights that all have in common; arrays of shape ``(bands,)``."""

    total: Array
    mean: Array
    spread: Array
    """Σ weight·(t − mean)²."""
    _centred: Array

    @classmethod
    def weighted(cls, power: Array, time: Array) -> _Lines:
        """For those weights, shape ``(frames, bands)``, at those times, shape ``(frames, 1)``."""
        total = power.sum(axis=0)
        mean = time[:, 0] @ power / total
        centred = time - mean
        return cls(total, mean, (power * centred**2).sum(axis=0), centred)

    def of(self, moment: Array) -> tuple[Array, Array]:
        """a and b; `moment` is weight times ordinate."""
        slope = (moment * self._centred).sum(axis=0) / self.spread
        return moment.sum(axis=0) / self.total - slope * self.mean, slope


def _glide_guess(fit: PartialFit) -> Glide | None:
    """The time constant of a grid that explains most of the phase left over, if it explains enough."""
    own, total = fit.model()
    size = np.abs(own) + 1e-300
    phase_left = (fit.frames.values - total) * own.conj() / size
    power, time = size**2 * fit.trust, fit.frames.time_s[:, None]
    noise = frame_noise(phase_left.imag)
    lines = _Lines.weighted(power, time)
    best: Glide | None = None
    most = GLIDE_EVIDENCE * CORRELATION
    for tau in _GLIDE_TAUS_S:
        column = np.outer(-tau * np.exp(-fit.frames.time_s / tau), 2.0 * np.pi * fit.follows * fit.frequency_hz)
        a, b = lines.of(power * column)
        left = column - a - b * time
        gain = float(np.sum(left * fit.trust * phase_left.imag * size / noise))
        norm = float(np.sum(left**2 * power / noise))
        if norm > 0.0 and gain > 0.0 and gain**2 / norm > most:
            best, most = Glide(gain / norm, float(tau)), gain**2 / norm
    return best
