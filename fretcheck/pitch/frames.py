"""A pluck as the slow complex amplitudes of its partials.

Around every partial the sound is weighted by short overlapping windows and turned back by the partial's expected frequency: a
linear step that keeps what the partial says (frequency, phase, decay, beating) in a few hundred numbers. How a decaying,
slightly detuned partial comes through the window, into its own band and into its neighbours', is known in closed form, so
nothing is lost to leakage.

Conventions
-----------
`values[m, n]` is the amplitude (peak, full scale 1) and phase of band n at time `time_s[m]` after the start of the sound, with
the phase of the band's reference frequency taken off; the window is a Hann window of `length_s`, the step half of that.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from math import factorial

import numpy as np
from numpy.typing import NDArray

from fretcheck.pitch.band import Band
from fretcheck.pitch.noise import frame_noise
from fretcheck.pitch.turns import turns

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

CORRELATION = 4.0 / 3.0
"""Variance of a slow weighted sum of half-overlapping Hann frames against that of independent ones: 1 + 2·(1/6)."""

_SERIES_UP_TO = 1.0
_SERIES = tuple(1.0 / factorial(2 * k + 1) for k in range(6, -1, -1))
_OFF_THE_POLES = 1e-7
_STANDS_OUT = 12.0
_PERIODS = 4.0
_SHORTEST_S = 0.010


@dataclass(frozen=True)
class Frames:
    """Complex amplitudes of all bands over time."""

    values: Complex
    """Shape ``(frames, bands)``."""
    time_s: Array
    """Centre of each frame, shape ``(frames,)``."""
    reference_hz: Array
    """Shape ``(bands,)``."""
    length_s: float
    step_s: float
    turning: Complex
    """exp(2πi·reference·time), the phase that is taken off `values`; same shape."""

    @cached_property
    def turn(self) -> Complex:
        """Each frame times the conjugate of the one before, shape ``(frames - 1, bands)``."""
        return np.asarray(self.values[1:] * self.values[:-1].conj())

    @cached_property
    def surety(self) -> Array:
        """Power of the smaller frame of each such pair against the noise; 0 where it does not stand out. Same shape."""
        size = np.abs(self.values)
        noise = frame_noise(size)  # of the modulus: about that of a quadrature, and free of any turning
        power = np.minimum(size[1:], size[:-1]) ** 2
        return np.where(power > _STANDS_OUT * noise, power / noise, 0.0)

    def first(self, count: int) -> Frames:
        """The first `count` frames."""
        return replace(self, values=self.values[:count], time_s=self.time_s[:count], turning=self.turning[:count])

    def response(self, rate: Complex) -> Complex:
        """What the window makes of exp(rate·t) about its centre: 1 for a rate of 0. `rate` per second, complex.

        For z = rate·length/2 it is the sum of sinh(z)/z and half of the same at z ± iπ, that is sinh(z)/z · π²/(z² + π²).
        """
        value = rate * (self.length_s / 2.0)
        square = value * value
        if np.max(np.abs(square.real) + np.abs(square.imag), initial=0.0) < _SERIES_UP_TO:
            return np.asarray(_sinhc_series(square) / (1.0 + square / np.pi**2))
        # at z = 0 and z = ±iπ the quotients have limits, 1 and ½, which a shift far below rounding of the result gives too
        value = value + _OFF_THE_POLES
        return np.asarray(np.sinh(value) / value * (np.pi**2 / (value * value + np.pi**2)))


def _sinhc_series(square: Complex) -> Complex:
    """sinh(z)/z from z² by its power series, to 1e-13 for |z²| < 1."""
    total = square * _SERIES[0] + _SERIES[1]
    for factor in _SERIES[2:]:
        total *= square
        total += factor
    return total


def without(frames: Frames, part: Complex) -> Frames:
    """The frames less a part of their values."""
    return replace(frames, values=frames.values - part)


def frame_length_s(f0_hz: float) -> float:
    """Four periods, so that the neighbouring partials fall on the zeros of the window; never under 10 ms."""
    periods = max(_PERIODS, np.ceil(_SHORTEST_S * f0_hz))
    return float(periods / f0_hz)


def narrow_bands(band: Band, reference_hz: Array, *, f0_hz: float, start_s: float, end_s: float) -> Frames:
    """Frames of the bands about `reference_hz` that lie wholly within `start_s` … `end_s`; there may be none.

    Parameters
    ----------
    band : Band
    reference_hz : ndarray, shape (bands,)
        All below half the sample rate.
    f0_hz : float
        Spacing of the partials.
    start_s, end_s : float
    """
    sound, rate = band.resampled(2.6 * float(np.max(reference_hz)) + 4.0 * f0_hz)
    half = max(4, round(frame_length_s(f0_hz) * rate / 2.0))
    first = max(0, int(np.ceil(start_s * rate)))
    available = min(len(sound), int(end_s * rate)) - first
    count = max(0, available // half - 1)
    inside = np.arange(2 * half) - (half - 0.5)
    window = np.cos(np.pi * inside / (2.0 * half)) ** 2
    window *= 2.0 / np.sum(window)
    centre = first + half * (np.arange(count) + 1.0) - 0.5
    time: Array = np.asarray(centre / rate, dtype=np.float64)
    if count == 0:
        nothing = np.zeros((0, len(reference_hz)), complex)
        return Frames(nothing, time, reference_hz, 2 * half / rate, half / rate, nothing)
    pieces = np.lib.stride_tricks.sliding_window_view(sound[first : first + half * (count + 1)], 2 * half)[::half]
    values = (pieces * window) @ turns(-reference_hz / rate, half)
    turning = np.exp(2j * np.pi * np.outer(time, reference_hz))
    return Frames(values * turning.conj(), time, reference_hz, 2 * half / rate, half / rate, turning)
