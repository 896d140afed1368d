"""What is heard every five milliseconds: the power in a dozen bands, and the level.

The bands come from a short Hann-windowed spectrum, wide enough (24 ms) not to follow the single periods of any but the
lowest bass strings, and short enough to place an attack. Novelty against the recent maximum of each band follows the
idea of S. Böck & G. Widmer, "Maximum filter vibrato suppression for onset detection", DAFx-13 (2013): a decaying note
never exceeds its own recent maximum, however its partials beat.

Conventions: a hop is `hop` frames; hop i covers frames ``[i·hop, (i+1)·hop)`` from the origin, and its spectrum is of the
window that ends with it. Powers are mean squares, full scale 1. A first-order high-pass at 15 Hz removes DC:
y[n] = p·y[n−1] + (1+p)/2·(x[n] − x[n−1]), without loading scipy.signal (which takes longer to import than a string takes to
hear). Its recursion is summed in closed form, y[n] = Σ p^(n−k)·u[k], over chunks short enough that p^−k stays small. Where
blocks end makes no difference beyond rounding.
"""

from dataclasses import dataclass

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.audio.segment.tape import Tape
from fretcheck.fast_length import fast_length

HOP_S = 0.005
WINDOW_S = 0.024
LOWEST_BAND_HZ = 150.0  # Above the mains and its second harmonic, below nothing that a plucked string does without
HIGHEST_BAND_HZ = 9_000.0
BANDS = 12
RECENT = (3, 18)  # The recent maximum is taken from 18 to 3 hops ago: before an attack that the window has just begun to hold
HIGH_PASS_HZ = 15.0
_LARGEST_SCALE = 1e4  # p^−k within a chunk; rounding then stays below 1e−12 of the signal


def hops(seconds: float) -> int:
    return round(seconds / HOP_S)


def overlapping(values: Reals, size: int, step: int = 1) -> Reals:
    """Windows of `size` rows, `step` rows apart, of C-contiguous `values`: a view of shape ``(windows, size, ...)``.

    What numpy's sliding_window_view gives, for a tenth of its time: blocks from a microphone are short and many.
    """
    count = max(0, (len(values) - size) // step + 1)
    row, *rest = values.strides
    return np.ndarray((count, size, *values.shape[1:]), values.dtype, values.data, 0, (step * row, row, *rest))


class HighPass:
    """High-pass with corner `corner_hz`; starts as if the first value had stood there for ever, so DC makes no step."""

    def __init__(self, corner_hz: float, sample_rate: float) -> None:
        self._pole = float(np.exp(-2.0 * np.pi * corner_hz / sample_rate))
        chunk = max(1, min(4096, int(np.log(_LARGEST_SCALE) / -np.log(self._pole))))
        self._powers = self._pole ** np.arange(1, chunk + 1)
        self.restart()

    def restart(self) -> None:
        """Forget the past."""
        self._last_in: float | None = None
        self._last_out = 0.0

    def push(self, samples: Reals) -> Reals:
        """Filter the next samples, shape ``(frames,)``."""
        if not len(samples):
            return samples.copy()
        if self._last_in is None:
            self._last_in = float(samples[0])
        steps = np.empty(len(samples))
        steps[0] = samples[0] - self._last_in
        np.subtract(samples[1:], samples[:-1], out=steps[1:])
        steps *= (1.0 + self._pole) / 2.0
        filtered = np.empty_like(steps)
        chunk = len(self._powers)
        for start in range(0, len(steps), chunk):
            part = steps[start : start + chunk]
            powers = self._powers[: len(part)]
            filtered[start : start + chunk] = powers * (self._last_out + np.cumsum(part / powers))
            self._last_out = float(filtered[start + len(part) - 1])
        self._last_in = float(samples[-1])
        return filtered


@dataclass(frozen=True)
class Hops:
    """A run of consecutive hops, first hop number `first`."""

    first: int
    bands: Reals  # Shape ``(hops, BANDS)``
    recent: Reals  # Largest recent power of each band, shape ``(hops, BANDS)``; 0 where there is no past
    level: Reals  # Mean square of each hop alone, shape ``(hops,)``


class HopAnalyser:
    """Turns samples into hops; what it gives does not depend on how the samples were cut into blocks."""

    def __init__(self, sample_rate: float) -> None:
        self.hop = max(1, round(HOP_S * sample_rate))
        self._size = fast_length(round(WINDOW_S * sample_rate))
        self._window = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(self._size) / self._size)  # Hann
        self._scale = 2.0 / (self._size * float(np.sum(self._window**2)))
        top = min(HIGHEST_BAND_HZ, 0.46 * sample_rate)
        edges = np.geomspace(LOWEST_BAND_HZ, top, BANDS + 1) * self._size / sample_rate
        self._edges = np.round(edges).astype(int)
        for index in range(1, BANDS + 1):  # at low sample rates the lowest bands are a bin wide
            self._edges[index] = max(self._edges[index], self._edges[index - 1] + 1)
        self._high_pass = HighPass(HIGH_PASS_HZ, sample_rate)
        self.restart(0)

    def restart(self, origin: int) -> None:
        """Forget the past; the next sample is frame `origin`."""
        self.origin = origin
        self._next = 0
        self._high_pass.restart()
        self._tape = Tape(origin - self._size)
        self._tape.append(np.zeros(self._size))
        self._past = np.zeros((RECENT[1], BANDS))

    def frame(self, hop: int) -> int:
        return self.origin + hop * self.hop

    def push(self, samples: Reals) -> Hops:
        """Take the next samples, shape ``(frames,)``, and give the hops that they complete."""
        self._tape.append(self._high_pass.push(samples))
        first_hop = self._next
        count = (self._tape.end - self.frame(first_hop)) // self.hop
        if count <= 0:
            empty = np.empty((0, BANDS))
            return Hops(first_hop, empty, empty, np.empty(0))
        self._next += count
        start = self.frame(first_hop)
        held = self._tape.view(start + self.hop - self._size, start + count * self.hop)
        windows = overlapping(held, self._size, self.hop)
        bands = np.empty((count, BANDS))
        for low in range(0, count, 256):  # bounded memory however long the block
            spectrum = np.fft.rfft(windows[low : low + 256] * self._window, axis=1)
            power = spectrum.real**2 + spectrum.imag**2
            bands[low : low + 256] = np.add.reduceat(power[:, : self._edges[-1]], self._edges[:-1], axis=1)
        bands *= self._scale
        level = np.sum(self._tape.view(start, start + count * self.hop).reshape(count, self.hop) ** 2, axis=1) / self.hop
        past = np.concatenate((self._past, bands))
        near, far = RECENT
        recent = overlapping(past, far - near + 1)[:count].max(axis=1)
        self._past = past[-far:]
        self._tape.forget_before(self.frame(self._next) - self._size)
        return Hops(first_hop, bands, recent, level)
