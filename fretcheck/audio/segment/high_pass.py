"""A first-order high-pass on a stream of blocks, y[n] = p·y[n−1] + (1+p)/2·(x[n] − x[n−1]), without loading scipy.signal
(which takes longer to import than a string takes to hear).

The recursion is summed in closed form, y[n] = Σ p^(n−k)·u[k], over chunks short enough that p^−k stays small. Where blocks
end makes no difference beyond rounding.
"""

import numpy as np

from fretcheck.arrays import Reals

_LARGEST_SCALE = 1e4  # p^−k within a chunk; rounding then stays below 1e−12 of the signal


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
