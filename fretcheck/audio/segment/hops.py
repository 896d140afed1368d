"""What is heard every five milliseconds: the power in a dozen bands, and the level.

The bands come from a short Hann-windowed spectrum, wide enough (24 ms) not to follow the single periods of any but the
lowest bass strings, and short enough to place an attack. Novelty against the recent maximum of each band follows the
idea of S. Böck & G. Widmer, "Maximum filter vibrato suppression for onset detection", DAFx-13 (2013): a decaying note
never exceeds its own recent maximum, however its partials beat.

Conventions: a hop is `hop` frames; hop i covers frames ``[i·hop, (i+1)·hop)`` from the origin, and its spectrum is of the
window that ends with it. Powers are mean squares, full scale 1. A first-order high-pass at 15 Hz removes DC.
"""

from dataclasses import dataclass

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.audio.segment.high_pass import HighPass
from fretcheck.audio.segment.tape import Tape
from fretcheck.audio.segment.windows import overlapping
from fretcheck.fast_length import fast_length

HOP_S = 0.005
WINDOW_S = 0.024
LOWEST_BAND_HZ = 150.0  # Above the mains and its second harmonic, below nothing that a plucked string does without
HIGHEST_BAND_HZ = 9_000.0
BANDS = 12
RECENT = (3, 18)  # The recent maximum is taken from 18 to 3 hops ago: before an attack that the window has just begun to hold
HIGH_PASS_HZ = 15.0


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
