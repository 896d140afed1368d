"""Frequency of every partial of a pluck, fitted together with the settling of its pitch.

Each partial is a decaying sinusoid, exp(κ − αt + i(2πft + f·G(t))), where G is the phase that the glide of the pitch adds to
all partials in proportion to their frequency. The fit is Gauss–Newton on the logarithm of the amplitude, in which the
real part (level, decay) and the imaginary part (phase, frequency, glide) separate, and every partial's own two phase
parameters are eliminated in closed form, so that a step costs a handful of sums over frames (variable projection: G. H. Golub
& V. Pereyra, SIAM J. Numer. Anal. 10, 413, 1973, from memory). What each partial leaks into its neighbours' bands is part
of the model.

Conventions
-----------
Pitch over time is f·2^(g·exp(−t/τ)/1200), t from the onset; `frequency_hz` is the settled one, g in cents, positive when
the note begins sharp. Variances are one-sigma squares. Arrays run over the bands of the `Frames` given.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import pairwise
from math import log

import numpy as np
from numpy.typing import NDArray

from fretcheck.pitch.frames import CORRELATION, Frames

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

CENTS = 1200.0 / log(2.0)
GLIDE_EVIDENCE = 18.0
"""Fall in χ² that makes a glide believed."""

_GLIDE_TAUS_S = np.array([0.03, 0.05, 0.08, 0.12, 0.17, 0.25, 0.35, 0.5, 0.75, 1.1])
_TAU_RANGE_S = (0.025, 1.5)
_MOST_GLIDE_CENTS = 120.0
_NEIGHBOURS = 3  # bands on either side that a partial is followed into; beyond, it has fallen by over 80 dB
_LEAK_HOLDS = 1e-3  # window bins that a partial may move before its leakage is computed anew
_STRAYS = 2.0  # times the noise
_ATTACK_RINGS_S = 0.1
_TRACK_EVIDENCE = 60.0  # the same in the pitch over time, whose noise is only roughly known
_STANDS_OUT = 8.0  # power over the noise of a quadrature
_WANDER_PARTS = 10
_WANDER_NOISE_CENTS = 0.3  # parts noisier than this count for less
_TRACK_TURNS = 3
_STEPS = 4
_ASTRAY = 0.15  # window bins
_NOTHING = -30.0 + 0.0j  # log amplitude
_CONVERGED, _MOVED = 0.02, 1.0
_GOOD = 1.5  # χ² for each frame and band
_BEYOND_DOUBT = 4.0  # times the evidence that makes a glide believed
_WINDOW_VARIANCE = 1.0 / 12.0 - 1.0 / (2.0 * np.pi**2)  # of a Hann window of length 1
_MEDIAN_SQUARE = 0.4549  # of a standard normal variable
_DIFFERENCE_VARIANCE = {2: 6.0 - 8.0 / 6.0, 4: 70.0 - 112.0 / 6.0}  # of half-overlapping Hann frames, correlated by 1/6
_ENOUGH_FRAMES = 12


@dataclass(frozen=True)
class Glide:
    """The settling of the pitch: log frequency is c·exp(−t/τ) above its end."""

    c: float
    tau_s: float

    @property
    def cents(self) -> float:
        """How much sharper the note began than it settled."""
        return self.c * CENTS

    def advance_s(self, time_s: Array) -> Array:
        """Time gained against the settled pitch, up to a constant: the integral of exp(c·exp(−t/τ)) − 1."""
        fade = np.exp(-time_s / self.tau_s)
        return np.asarray(-self.c * self.tau_s * fade * (1.0 + self.c * fade / 4.0))

    def excess(self, time_s: Array) -> Array:
        """Instantaneous frequency over the settled one, less 1."""
        return np.asarray(np.expm1(self.c * np.exp(-time_s / self.tau_s)))


@dataclass
class PartialFit:
    """What the frames say of each partial; arrays of shape ``(bands,)``."""

    frames: Frames
    frequency_hz: Array
    log_amplitude: Complex
    decay_per_s: Array
    follows: Array
    """1 for the string's own partials, which share its glide, 0 for other lines."""
    glide: Glide | None = None
    noise: Array = field(default_factory=lambda: np.zeros(0))
    """Variance of one quadrature of one frame, full scale squared."""
    variance_hz2: Array = field(default_factory=lambda: np.zeros(0))
    """Of `frequency_hz`, without the part that is common to all partials."""
    glide_covariance: Array | None = None
    """Of (c, log τ), shape (2, 2); None without a glide."""
    glide_effect: Array | None = None
    """By how much these two move the log frequency of each partial, shape ``(2, bands)``."""
    trust: Array = field(default_factory=lambda: np.ones((1, 1)))
    """Weight of each frame, shape ``(frames, 1)``: less than 1 where the click of the attack still rings."""
    _leak: tuple[Array, Complex, Complex] | None = field(default=None, repr=False)

    @property
    def strength(self) -> Array:
        """Energy of each partial over all frames against the noise."""
        energy = np.sum(np.abs(self.amplitudes()) ** 2, axis=0)
        return np.asarray(energy / np.maximum(2.0 * self.noise, 1e-300))

    def rate(self) -> Complex:
        """Complex rate of each partial against its band, per second, shape ``(frames, bands)`` or ``(1, bands)``."""
        own = self.frequency_hz - self.frames.reference_hz
        if self.glide is None:
            return np.asarray((-self.decay_per_s + 2j * np.pi * own)[None, :])
        moving = self.glide.excess(self.frames.time_s)[:, None] * (self.follows * self.frequency_hz)[None, :]
        return np.asarray(-self.decay_per_s[None, :] + 2j * np.pi * (own[None, :] + moving))

    def envelopes(self) -> Complex:
        """exp(κ − αt + iφ(t)) of each partial against its band's reference, before the window."""
        time = self.frames.time_s
        own = self.frequency_hz - self.frames.reference_hz
        exponent = self.log_amplitude[None, :] + np.outer(time, -self.decay_per_s + 2j * np.pi * own)
        if self.glide is not None:
            exponent += 2j * np.pi * np.outer(self.glide.advance_s(time), self.follows * self.frequency_hz)
        return np.asarray(np.exp(exponent))

    def amplitudes(self) -> Complex:
        """Each partial in its own band, as the window shows it."""
        return self.envelopes() * self._through_window()

    def _through_window(self) -> Complex:
        through = self.frames.response(self.rate())
        if self.glide is not None:
            time, tau = self.frames.time_s, self.glide.tau_s
            bend = -self.glide.c / tau * np.exp(-time / tau) * 0.5 * _WINDOW_VARIANCE * self.frames.length_s**2
            angle = 2.0 * np.pi * np.outer(bend, self.follows * self.frequency_hz)
            through = through * (1.0 - 0.5 * angle**2 + 1j * angle)  # of exp(i·angle); the angle is below 0.01
        return through

    def _leakage(self) -> tuple[Complex, Complex]:
        """How each partial shows in the bands beside it, and the mirror image of the lowest in the lowest bands.

        Computed anew once a frequency has moved.
        """
        if self._leak is None or np.max(np.abs(self._leak[0] - self.frequency_hz)) * self.frames.length_s > _LEAK_HOLDS:
            decay, frequency, reference = self.decay_per_s, self.frequency_hz, self.frames.reference_hz
            apart = np.subtract.outer(np.arange(len(reference)), np.arange(len(reference)))
            source, band = np.nonzero((apart != 0) & (np.abs(apart) <= _NEIGHBOURS))
            across = np.zeros((len(reference), len(reference)), complex)
            across[source, band] = self.frames.response(-decay[source] + 2j * np.pi * (frequency[source] - reference[band]))
            low = slice(0, _NEIGHBOURS + 1)
            summed = frequency[low, None] + reference[None, low]
            self._leak = frequency, across, self.frames.response(-decay[low, None] - 2j * np.pi * summed)
        return self._leak[1], self._leak[2]

    def model(self) -> tuple[Complex, Complex]:
        """Each partial in its own band, and all that the bands should hold, leakage included."""
        envelopes = self.envelopes()
        own = envelopes * self._through_window()
        absolute = envelopes * self.frames.turning
        across, mirrored = self._leakage()
        leaked = absolute @ across
        low = slice(0, len(mirrored))
        leaked[:, low] += absolute[:, low].conj() @ mirrored
        return own, own + leaked * self.frames.turning.conj()


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
    moving.trust = _trust(moving)
    step(moving)
    assert moving.glide is not None
    believable = 0.0 < moving.glide.cents < _MOST_GLIDE_CENTS and _TAU_RANGE_S[0] < moving.glide.tau_s < _TAU_RANGE_S[1]
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


def _finish(fit: PartialFit) -> None:
    """A last step; where it still moved much, noise and variances are those of the state it led to.

    A band whose frequency has run away from its partial, and of which the model leaves more than there is, is taken out.
    """
    if step(fit) > _MOVED:
        believe_noise(fit, _noise(residual(fit).imag))
        own, total = fit.model()
        left = np.sum(fit.trust * np.abs(fit.frames.values - total) ** 2, axis=0)
        strayed = np.abs(fit.frequency_hz - fit.frames.reference_hz) * fit.frames.length_s > _ASTRAY
        lost = strayed & (left > np.sum(fit.trust * np.abs(fit.frames.values) ** 2, axis=0))
        fit.log_amplitude = np.where(lost, _NOTHING, fit.log_amplitude)


def believe_noise(fit: PartialFit, noise: Array) -> None:
    """Take another noise for the fit's, and its variances with it."""
    fit.variance_hz2 = fit.variance_hz2 * (noise / fit.noise)
    fit.noise = noise


def fit_without_glide(frames: Frames, follows: Array, *, trust: Array | None = None) -> PartialFit:
    """Fit all partials at a steady pitch each; arguments as for `fit_partials`, and the frames' trust where it is known."""
    plain = _first_guess(frames, follows)
    _project(plain)
    _converge(plain)
    plain.trust = _trust(plain) if trust is None else trust
    _finish(plain)
    return plain


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
    stray = np.median(left, axis=1) / 0.693  # median of an exponential distribution
    time = fit.frames.time_s
    first = np.cumprod((stray > _STRAYS) & (time < time[0] + _ATTACK_RINGS_S))
    return np.asarray(np.where(first > 0, 1.0 / np.maximum(stray, 1.0), 1.0)[:, None])


def _glide_by_track(plain: PartialFit) -> PartialFit | None:
    """A fit with the glide that the pitch over time suggests; None where it suggests none."""
    fit = replace(plain)
    for _ in range(_TRACK_TURNS):
        fit.glide = _glide_of_track(fit)
        if fit.glide is None:
            return None
        _untwist(fit)
    _project(fit)
    return fit


def _first_guess(frames: Frames, follows: Array) -> PartialFit:
    """Frequency and decay from the turn between neighbouring frames in which the partial stands out."""
    values = frames.values
    size = np.abs(values) ** 2
    sure = np.cumprod(size > _STANDS_OUT * _noise(values.imag), axis=0)
    sure[:3] = 1
    turn = np.sum(sure[1:] * values[1:] * values[:-1].conj(), axis=0)
    power = np.sum(sure[1:] * size[:-1], axis=0)
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
        for lag in (1, 2, 4, 8):
            if lag < len(values) // 4:
                turn = np.sum(still[lag:] * still[:-lag].conj(), axis=0)
                offset = np.angle(turn) / (2.0 * np.pi * fit.frames.step_s * lag)
                fit.frequency_hz = fit.frequency_hz + offset
                still = still * np.exp(-2j * np.pi * np.outer(fit.frames.time_s, offset))


def _project(fit: PartialFit) -> None:
    """Level and phase of every partial by projection on its shape."""
    fit.log_amplitude = np.zeros(len(fit.frequency_hz), complex)
    shape = fit.amplitudes()
    level = np.sum(fit.frames.values * shape.conj(), axis=0) / np.sum(np.abs(shape) ** 2, axis=0)
    fit.log_amplitude = np.log(np.where(level == 0.0, 1e-12, level))


def pitch_track(fit: PartialFit) -> tuple[Array, Array, Array]:
    """Log frequency of the whole string over time against the partials' fitted ones: times, values and weights (1/variance)."""
    values = fit.frames.values
    turn = values[1:] * values[:-1].conj()
    turn = turn * np.exp(-2j * np.pi * fit.frames.step_s * (fit.frequency_hz - fit.frames.reference_hz))
    noise = _noise(np.abs(values))  # of the modulus: about that of a quadrature, and free of any turning
    size = np.minimum(np.abs(values[1:]), np.abs(values[:-1])) ** 2
    sure = size > 12.0 * noise
    angle = 2.0 * np.pi * fit.frames.step_s * fit.frequency_hz
    weight = np.where(sure, size / noise, 0.0) * fit.follows * angle**2
    total = np.sum(weight, axis=1)
    track = np.sum(weight * np.angle(turn) / angle, axis=1) / np.maximum(total, 1e-300)
    return 0.5 * (fit.frames.time_s[1:] + fit.frames.time_s[:-1]), track, total / 2.0


def wander_cents(fit: PartialFit) -> float:
    """How far the pitch strays from settling smoothly: root mean square of its tenths, less what noise accounts for."""
    time, track, weight = pitch_track(fit)
    if fit.glide is not None:
        track = track - np.log1p(fit.glide.excess(time))
    edges = np.linspace(0, len(time), min(_WANDER_PARTS, len(time)) + 1).astype(int)
    most = (CENTS / _WANDER_NOISE_CENTS) ** 2
    square, weights = 0.0, 1e-300
    for first, last in pairwise(edges):
        total = float(np.sum(weight[first:last]))
        if total > 0.0:
            mean = float(np.sum(weight[first:last] * track[first:last])) / total
            square += min(total, most) * (mean**2 - 1.0 / total)
            weights += min(total, most)
    return float(np.sqrt(max(0.0, square / weights))) * CENTS


def _glide_of_track(fit: PartialFit) -> Glide | None:
    """A first glide from the pitch over time, which no whole turn of phase can mislead; moves the partials to their end."""
    time, track, weight = pitch_track(fit)
    if not np.any(weight > 0.0):
        return None
    mean = float(np.average(track, weights=weight))
    flat = float(np.sum(weight * (track - mean) ** 2))
    total, moment = float(np.sum(weight)), float(np.sum(weight * track))
    best = (0.0, 0.0, 0.0, 0.0)
    for grid in (
        np.geomspace(_GLIDE_TAUS_S[0], _GLIDE_TAUS_S[-1], 13),
        np.geomspace(0.75, 1.33, 17),
        np.geomspace(0.97, 1.03, 9),
    ):
        taus = grid if best[0] == 0.0 else grid * best[2]
        shapes = np.exp(-time[None, :] / taus[:, None])
        centres = shapes @ weight / total
        norms = shapes**2 @ weight - total * centres**2
        sizes = (shapes @ (weight * track) - centres * moment) / norms
        gains = np.where(sizes > 0.0, sizes**2 * norms, 0.0)
        at = int(np.argmax(gains))
        if gains[at] > best[0]:
            best = (float(gains[at]), float(sizes[at]), float(taus[at]), float(mean - sizes[at] * centres[at]))
    gain, c, tau, end = best
    if gain < _TRACK_EVIDENCE or gain < 0.3 * flat:
        return None
    fit.frequency_hz = fit.frequency_hz * np.exp(end * fit.follows)
    return Glide(c, tau)


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
    fit.noise = _noise(relative.imag)

    # level and decay: real part, columns 1 and −t
    lines = _Lines.weighted(power, time)
    shift, slope = lines.of(moment.real)
    decay = (fit.decay_per_s - slope).clip(0.0, 120.0)
    used_slope = fit.decay_per_s - decay
    level = (shift + (slope - used_slope) * lines.mean).clip(-1.5, 1.5)

    # phase and frequency: imaginary part, columns 1 and 2πt, and the glide's, which all partials share
    phase, turn = lines.of(moment.imag)
    columns = _glide_columns(fit)
    largest = 0.0
    if columns:
        residual_left = [lines.of(power * column) for column in columns]
        left = [column - a - b * time for column, (a, b) in zip(columns, residual_left, strict=True)]
        weight = power / fit.noise
        normal = np.array([[np.sum(weight * one * other) for other in left] for one in left])
        wanted = np.array([np.sum(one * moment.imag / fit.noise) for one in left])
        scale = np.sqrt(np.diag(normal)) + 1e-300
        ridge = normal / np.outer(scale, scale) + 1e-9 * np.eye(len(left))
        change = np.linalg.solve(ridge, wanted / scale) / scale
        fit.glide_covariance = CORRELATION * np.linalg.inv(ridge) / np.outer(scale, scale)
        fit.glide_effect = np.array([-b / (2.0 * np.pi * fit.frequency_hz) for _, b in residual_left])
        for delta, (a, b) in zip(change, residual_left, strict=True):
            phase, turn = phase - a * delta, turn - b * delta
        largest = float(np.max(np.abs(change) / np.sqrt(np.diag(fit.glide_covariance))))
        _move_glide(fit, change)
    else:
        fit.glide_effect, fit.glide_covariance = None, None
    limit = 0.25 / fit.frames.length_s
    moved = (turn / (2.0 * np.pi)).clip(-limit, limit)
    fit.variance_hz2 = CORRELATION * fit.noise / lines.spread / (2.0 * np.pi) ** 2
    fit.frequency_hz = fit.frequency_hz + moved
    fit.decay_per_s = decay
    fit.log_amplitude = fit.log_amplitude + level + 1j * phase.clip(-1.5, 1.5)
    return max(largest, float(np.max(np.abs(moved) / np.sqrt(fit.variance_hz2))))


def residual(fit: PartialFit) -> Complex:
    """What the model leaves, turned by each partial's phase: real part in phase, imaginary part in quadrature."""
    own, total = fit.model()
    return np.asarray((fit.frames.values - total) * own.conj() / (np.abs(own) + 1e-300))


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


def _noise(quadrature: Array) -> Array:
    """Variance of one frame's quadrature, by the middle of high differences, which a slow misfit does not reach; pooled over bands."""
    order = 4 if len(quadrature) >= _ENOUGH_FRAMES else 2
    high = np.diff(quadrature, n=order, axis=0)
    own = np.median(high**2, axis=0) / _MEDIAN_SQUARE / _DIFFERENCE_VARIANCE[order] + 1e-24
    freedom = 0.37 * len(high)  # the median uses that share of what the mean would
    pooled = np.exp(running_median(np.log(own), 4)) * (1.0 + 1.0 / max(1.0, freedom))
    limit = 1.0 + 3.0 * np.sqrt(2.0 / freedom)
    return np.asarray(np.where(own > limit * pooled, own, pooled))


def running_median(values: Array, reach: int) -> Array:
    if len(values) > reach:
        padded = np.concatenate([values[reach:0:-1], values, values[-2 : -reach - 2 : -1]])
    else:
        padded = np.pad(values, reach, mode="edge")
    return np.asarray(np.sort(np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1), axis=1)[:, reach])


def _glide_columns(fit: PartialFit) -> list[Array]:
    """Derivatives of every band's phase by c and by log τ."""
    if fit.glide is None:
        return []
    time, tau, c = fit.frames.time_s, fit.glide.tau_s, fit.glide.c
    fade = np.exp(-time / tau)
    by_c = -tau * fade * (1.0 + c * fade / 2.0)
    by_tau = -c * fade * (tau + time)
    angle = 2.0 * np.pi * fit.follows * fit.frequency_hz
    return [np.outer(by_c, angle), np.outer(by_tau, angle)]


def _move_glide(fit: PartialFit, change: Array) -> None:
    assert fit.glide is not None
    tau = float(np.clip(fit.glide.tau_s * np.exp(np.clip(change[1], -0.5, 0.5)), *_TAU_RANGE_S))
    fit.glide = Glide(float(np.clip(fit.glide.c + change[0], -0.05, 0.1)), tau)


def _glide_guess(fit: PartialFit) -> Glide | None:
    """The time constant of a grid that explains most of the phase left over, if it explains enough."""
    own, total = fit.model()
    size = np.abs(own) + 1e-300
    phase_left = (fit.frames.values - total) * own.conj() / size
    power, time = size**2 * fit.trust, fit.frames.time_s[:, None]
    noise = _noise(phase_left.imag)
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
