"""The slow complex amplitude of every partial: a raised cosine about it in the spectrum, turned back into time.

Conventions: arrays of shape ``(partials, frames)``; time in seconds after the start of the sound. The phase of `centre_hz` is
taken off, so a partial that sits there stands still.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fretcheck.arrays import Reals
from fretcheck.fast_length import fast_length
from fretcheck.pitch.partials.band import Band

_WIDEST_HZ = 70.0  # half-width; by trial on real notes 40 to 150 Hz read alike
_OF_SPACING = 0.98  # of f0, so that the neighbouring partials fall on the band's end, where it hears nothing


class Bands(NamedTuple):
    """Complex amplitudes of the partials over time."""

    values: NDArray[np.complex128]  # Peak amplitude, full scale 1, and phase
    time_s: Reals
    centre_hz: Reals
    half_width_hz: float

    @property
    def step_s(self) -> float:
        """Time between frames."""
        return float(self.time_s[1] - self.time_s[0])

    @property
    def blur_s(self) -> float:
        """How far on either side a frame hears: to the first zero of the band's response and nearly all of its power."""
        return 1.0 / self.half_width_hz

    def first(self, count: int) -> Bands:
        return self._replace(values=self.values[:, :count], time_s=self.time_s[:count])


def partial_bands(band: Band, partial_hz: Reals, *, f0_hz: float, start_s: float, end_s: float, lines_hz: Reals) -> Bands:
    """Bands about `partial_hz`, at twice their half-width, over what lies clear of both ends.

    `partial_hz` (shape (partials,)). `f0_hz`: spacing of the partials; a band ends short of the neighbours. `lines_hz`: steady
    lines of the mains; a band ends short of the nearest.
    """
    spectrum, length = band.spectrum, band.length
    step_hz = band.sample_rate / length
    half_hz = min(_OF_SPACING * f0_hz, _WIDEST_HZ)
    own_hz = np.full(len(partial_hz), half_hz)
    if len(lines_hz):
        own_hz = np.minimum(own_hz, np.min(np.abs(partial_hz[:, None] - lines_hz[None, :]), axis=1))
    reach = int(half_hz / step_hz)
    count = fast_length(2 * reach + 1)
    bins = np.arange(-reach, reach + 1)
    centre = np.round(partial_hz / step_hz).astype(int)
    index = centre[:, None] + bins
    away = index * step_hz - partial_hz[:, None]
    inside = (np.abs(away) < own_hz[:, None]) & (index >= 0) & (index < len(spectrum))
    cut = np.zeros((len(partial_hz), count), complex)
    shape = np.where(inside, 0.5 + 0.5 * np.cos(np.pi * away / own_hz[:, None]), 0.0)
    cut[:, bins % count] = spectrum[index.clip(0, len(spectrum) - 1)] * shape
    values = np.fft.ifft(cut, axis=1) * (2.0 * count / length)
    time = np.asarray(np.arange(count) * (length / (count * band.sample_rate)), dtype=np.float64)
    first, last = np.searchsorted(time, [start_s, end_s - 1.0 / half_hz])
    return Bands(values[:, first:last], time[first:last], centre * step_hz, half_hz)
