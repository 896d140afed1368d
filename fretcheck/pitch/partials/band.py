"""One pluck's sound, at the sample rate that the question at hand needs.

Conventions: sound is float64, shape ``(frames,)``; time zero is its first sample. Thinning out is done in the spectrum with
zero phase, so that time and phase stay where they were; the sound is taken to be silent before its start and after its end,
which spoils some `Band.edge_s` at either end.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fretcheck.arrays import Reals
from fretcheck.fast_length import fast_length

_FLAT_TO = 0.40  # of the thinned rate; the transition ends at half of it
_EDGE_CYCLES = 40.0


@dataclass
class Band:
    """A sound and its spectrum, computed once."""

    sound: Reals
    sample_rate: float
    _spectrum: NDArray[np.complex128] | None = field(default=None, repr=False)

    @property
    def duration_s(self) -> float:
        """Length of the sound."""
        return len(self.sound) / self.sample_rate

    def spectrum(self) -> tuple[NDArray[np.complex128], int]:
        """Its real transform, padded with silence, and the length transformed."""
        if self._spectrum is None:
            self._spectrum = np.fft.rfft(self.sound, _padded(len(self.sound) + round(0.05 * self.sample_rate)))
        return self._spectrum, 2 * (len(self._spectrum) - 1)

    def resampled(self, at_least_hz: float) -> tuple[Reals, float]:
        """The sound at the lowest integer part of its sample rate that is no lower than `at_least_hz`, and that rate.

        Everything up to 0.40 of the new rate is untouched.
        """
        factor = int(self.sample_rate // at_least_hz)
        if factor < 2:
            return self.sound, self.sample_rate
        frames = len(self.sound)
        spectrum, length = self.spectrum()
        while length % factor:
            factor -= 1
        if factor < 2:
            return self.sound, self.sample_rate
        thinned = length // factor
        cut = spectrum[: thinned // 2 + 1].copy()
        place = np.arange(len(cut)) / thinned
        fade = place > _FLAT_TO
        cut[fade] *= 0.5 + 0.5 * np.cos(np.pi * (place[fade] - _FLAT_TO) / (0.5 - _FLAT_TO))
        return np.fft.irfft(cut, thinned)[: -(-frames // factor)] / factor, self.sample_rate / factor


def _padded(frames: int) -> int:
    """A length of at least `frames` that has many small factors."""
    unit = 720
    return unit * fast_length(-(-frames // unit))
