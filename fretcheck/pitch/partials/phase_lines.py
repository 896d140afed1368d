"""A straight line through the phase of each partial, weighted by its amplitude: its mean frequency, and what strays from it.

Conventions: arrays of shape ``(partials, frames)`` or ``(partials,)``. Phases in radians against the band's centre, times in
seconds.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fretcheck.arrays import Reals
from fretcheck.pitch.partials.bands import Bands
from fretcheck.pitch.partials.correlated import moving_mean

_LAGS = (1, 2, 4, 8, 16)  # frames; each unwraps the next, and 16 of them are a tenth of a second or more
_ALIVE = 8.0  # times the noise: 9 dB, below which a phase may slip by a whole turn
_LONG_S = 0.08  # over which that power is averaged
_LEAKAGE = 1e-8  # −80 dB of the strongest: what a sound without noise leaks into bands that hold no partial
# s, to either side. What weighs a frame is smoothed, or a beat counts most where its planes sum, and that is sharp: planes split
# alike in cents err by 0.18, 0.17 and 0.17 cents rms at 0.15, 0.2 and 0.3 s. It is the amplitude: weighted by the power, which
# ends the window sooner, they err by 0.20, and whole necks of basses by 0.95 in place of 0.65 cents (95 %)
_SMOOTH_S = 0.3
_ROBUST_TURNS, _ROBUST_AT = 3, 3.0  # frames beyond three times the rms count half; 1.5 and 2 read no better


class PhaseLines(NamedTuple):
    """The line of each partial and what it leaves."""

    frequency_hz: Reals
    weight: Reals  # Of each frame
    strayed: Reals  # Phase less its line, rad
    influence: Reals  # How much the slope moves with the phase of each frame, 1/s
    power: Reals  # Of each frame
    noise: Reals  # Power of the noise in one frame
    lasts_s: Reals  # Effective duration: the square of the energy over the sum of squares of the power

    @property
    def energy(self) -> Reals:
        """Against the noise, while it lasts."""
        return np.asarray(np.sum(self.weight, axis=1))

    @property
    def rms(self) -> Reals:
        """Of `strayed`, weighted."""
        return np.asarray(np.sqrt(np.sum(self.weight * self.strayed**2, axis=1) / np.maximum(self.energy, 1e-300)))

    def only(self, which: NDArray[np.bool_]) -> PhaseLines:
        return PhaseLines(*(each[which] for each in self))


def noise_power(values: NDArray[np.complex128]) -> Reals:
    """Power of the noise in one frame: a partial hardly shows in second differences.

    The median of an exponential variable is ln 2 of its mean; the second difference of noise through a raised cosine sampled at
    twice its half-width has the power of the noise itself: 6 − 8·(2/3) + 2·(1/6).
    """
    rough = np.abs(np.diff(values, n=2, axis=1)) ** 2
    return np.asarray(np.median(rough, axis=1) / np.log(2.0)) + 1e-30


def phase_lines(bands: Bands) -> PhaseLines:
    values, time = bands.values, bands.time_s
    power = np.abs(values) ** 2
    noise = np.maximum(noise_power(values), _LEAKAGE * np.max(power))
    smooth = moving_mean(power, max(1, round(_SMOOTH_S / bands.step_s)))
    amplitude = np.sqrt(smooth / noise[:, None])
    weight = np.where(_alive(power, noise, bands.step_s), amplitude, 0.0)
    lasts_s = bands.step_s * weight.sum(axis=1) ** 2 / np.maximum(np.sum(weight**2, axis=1), 1e-300)
    living = np.where(weight > 0.0, values, 0.0)
    slope = _mean_turn(living) / bands.step_s
    centred = time - time[0]
    phase = np.angle(values * np.exp(-1j * slope[:, None] * centred))
    strayed = np.unwrap(phase, axis=1)
    for turn in range(_ROBUST_TURNS + 1):
        total = np.maximum(weight.sum(axis=1), 1e-300)
        mean_t = weight @ time / total
        out = time - mean_t[:, None]
        influence = weight * out
        influence /= np.maximum(np.sum(influence * out, axis=1), 1e-300)[:, None]
        change = np.sum(influence * strayed, axis=1)
        left = strayed - change[:, None] * out
        left -= (np.sum(weight * left, axis=1) / total)[:, None]
        if turn < _ROBUST_TURNS:
            rms = np.sqrt(np.sum(weight * left**2, axis=1) / total)[:, None]
            weight = amplitude * (weight > 0.0) / (1.0 + (left / (_ROBUST_AT * rms + 1e-12)) ** 2)
    frequency = bands.centre_hz + (slope + change) / (2.0 * np.pi)
    return PhaseLines(frequency, weight, left, influence, power, noise, lasts_s)


def _alive(power: Reals, noise: Reals, step_s: float) -> NDArray[np.bool_]:
    """Frames before the smoothed power falls below the noise for long."""
    long = max(1, round(_LONG_S / step_s))
    summed = np.cumsum(np.pad(power, ((0, 0), (1, long - 1)), mode="edge"), axis=1)
    ahead = (summed[:, long:] - summed[:, :-long]) / long
    return np.logical_and.accumulate(ahead > _ALIVE * noise[:, None], axis=1)


def _mean_turn(living: NDArray[np.complex128]) -> Reals:
    """Radians per frame, from short lags to long ones, each unwrapping the next."""
    turn = np.zeros(len(living))
    for lag in _LAGS:
        if lag >= living.shape[1]:
            break
        product = np.sum(living[:, lag:] * living[:, :-lag].conj(), axis=1)
        turn += np.angle(product * np.exp(-1j * turn * lag)) / lag
    return turn
