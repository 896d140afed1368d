"""One pluck's sound, at the sample rate that the question at hand needs.

Conventions: sound is float64, shape ``(frames,)``; time zero is its first sample. Thinning out is done in the spectrum with
zero phase, so that time and phase stay where they were; the sound is taken to be silent before its start and after its end.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fretcheck.arrays import Reals
from fretcheck.fast_length import fast_length

_FLAT_TO = 0.40  # of the thinned rate; the transition ends at half of it
_UNIT = 720  # the length transformed is a multiple of this: it has many small factors


@dataclass
class Band:
    """A sound and its spectrum."""

    sound: Reals
    sample_rate: float

    @property
    def duration_s(self) -> float:
        """Length of the sound."""
        return len(self.sound) / self.sample_rate

    @cached_property
    def length(self) -> int:
        """Frames transformed: the sound, and some silence."""
        return _UNIT * fast_length(-(-(len(self.sound) + round(0.05 * self.sample_rate)) // _UNIT))

    @cached_property
    def spectrum(self) -> NDArray[np.complex128]:
        """The real transform of the sound padded with silence."""
        return np.fft.rfft(self.sound, self.length)

    def resampled(self, at_least_hz: float) -> tuple[Reals, float]:
        """The sound at the lowest integer part of its sample rate that is no lower than `at_least_hz`, and that rate.

        Everything up to 0.40 of the new rate is untouched.
        """
        factor = int(self.sample_rate // at_least_hz)
        while factor > 1 and self.length % factor:
            factor -= 1
        if factor < 2:
            return self.sound, self.sample_rate
        thinned = self.length // factor
        cut = self.spectrum[: thinned // 2 + 1].copy()
        place = np.arange(len(cut)) / thinned
        fade = place > _FLAT_TO
        cut[fade] *= 0.5 + 0.5 * np.cos(np.pi * (place[fade] - _FLAT_TO) / (0.5 - _FLAT_TO))
        return np.fft.irfft(cut, thinned)[: -(-len(self.sound) // factor)] / factor, self.sample_rate / factor
