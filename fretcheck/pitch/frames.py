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

import numpy as np
from numpy.typing import NDArray

from fretcheck.pitch.band import Band

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

CORRELATION = 4.0 / 3.0
"""Variance of a slow weighted sum of half-overlapping Hann frames against that of independent ones: 1 + 2·(1/6)."""

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

    def first(self, count: int) -> Frames:
        """The first `count` frames."""
        return replace(self, values=self.values[:count], time_s=self.time_s[:count])

    def response(self, rate: Complex) -> Complex:
        """What the window makes of exp(rate·t) about its centre: 1 for a rate of 0. `rate` per second, complex."""
        turn = 2j * np.pi / self.length_s
        return np.asarray(
            _sinhc(rate * self.length_s / 2.0)
            + 0.5 * _sinhc((rate + turn) * self.length_s / 2.0)
            + 0.5 * _sinhc((rate - turn) * self.length_s / 2.0)
        )


def _sinhc(value: Complex) -> Complex:
    small = np.abs(value) < 1e-6
    safe = np.where(small, 1.0, value)
    return np.asarray(np.where(small, 1.0, np.sinh(safe) / safe))


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
        return Frames(np.zeros((0, len(reference_hz)), complex), time, reference_hz, 2 * half / rate, half / rate)
    pieces = np.lib.stride_tricks.sliding_window_view(sound[first : first + half * (count + 1)], 2 * half)[::half]
    values = (pieces * window) @ _turns(-reference_hz / rate, half)
    values *= np.exp(-2j * np.pi / rate * centre[:, None] * reference_hz[None, :])
    return Frames(values, time, reference_hz, 2 * half / rate, half / rate)


def _turns(cycles: Array, half: int) -> Complex:
    """exp(2πi·cycles·t) for t = −half+½ … half−½, shape ``(2·half, bands)``, by products of two short tables."""
    coarse = max(1, int(np.sqrt(2 * half)))
    rows = -(-2 * half // coarse)
    outer = np.exp(2j * np.pi * np.outer(np.arange(rows) * coarse - (half - 0.5), cycles))
    inner = np.exp(2j * np.pi * np.outer(np.arange(coarse), cycles))
    return np.asarray((outer[:, None, :] * inner[None, :, :]).reshape(rows * coarse, -1)[: 2 * half])
