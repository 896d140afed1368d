"""The settling of a pluck's pitch: it begins sharp, by the stretch of its own swing, and falls as that dies away.

Conventions
-----------
Pitch over time is f·2^(g·exp(−t/τ)/1200), t from the onset, g in cents, positive when the note begins sharp.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

CENTS = 1200.0 / log(2.0)
GLIDE_EVIDENCE = 18.0
"""Fall in χ² that makes a glide believed."""
TAU_RANGE_S = (0.025, 1.5)
MOST_GLIDE_CENTS = 120.0
_C_RANGE = (-0.05, 0.1)


@dataclass(frozen=True)
class Glide:
    """The settling of the pitch: log frequency is c·exp(−t/τ) above its end."""

    c: float
    tau_s: float

    @property
    def cents(self) -> float:
        """How much sharper the note began than it settled."""
        return self.c * CENTS

    def moved(self, c: float, log_tau: float) -> Glide:
        """Changed by so much, within bounds."""
        tau_s = float(np.clip(self.tau_s * np.exp(np.clip(log_tau, -0.5, 0.5)), *TAU_RANGE_S))
        return Glide(float(np.clip(self.c + c, *_C_RANGE)), tau_s)

    def phase_columns(self, time_s: Array, angle: Array) -> list[Array]:
        """Derivatives of the phase by c and by log τ, of bands of so many rad/s; each of shape ``(frames, bands)``."""
        fade = np.exp(-time_s / self.tau_s)
        by_c = -self.tau_s * fade * (1.0 + self.c * fade / 2.0)
        by_tau = -self.c * fade * (self.tau_s + time_s)
        return [np.outer(by_c, angle), np.outer(by_tau, angle)]

    def advance_s(self, time_s: Array) -> Array:
        """Time gained against the settled pitch, up to a constant: the integral of exp(c·exp(−t/τ)) − 1."""
        fade = np.exp(-time_s / self.tau_s)
        return np.asarray(-self.c * self.tau_s * fade * (1.0 + self.c * fade / 4.0))

    def excess(self, time_s: Array) -> Array:
        """Instantaneous frequency over the settled one, less 1."""
        return np.asarray(np.expm1(self.c * np.exp(-time_s / self.tau_s)))
