"""A body that gives way: a few resonances pull the partials of every string, and the reading averages over partials.

A string of characteristic impedance Z on a support of admittance Y(f) sounds its partial n of frequency f higher by
δf/f = −Z·Im Y(f)/(π n) (the reflected phase, shared over the length; cf. C. E. Gough, Acustica 49, 124 (1981), from memory).
Below a resonance the support is a spring, Im Y > 0: the string is in effect longer, and flat; above, a mass: sharp.

Conventions
-----------
Hz; impedance in kg/s, relative to a reference string's is enough, since the whole is scaled to a stated size in cents.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Reals = NDArray[np.float64]

HIGHEST_HZ = 6000.0
PARTIALS = np.arange(1, 13)
AGREEMENT_CENTS, PER_PARTIAL_CENTS = 0.5, 0.05
"""A reading weighs partials by 1/(a² + (b n)²): their scatter among themselves, and what is lost of the high ones."""


@dataclass(frozen=True, kw_only=True)
class Body:
    """Resonances: frequency, quality and strength of each; `scale` turns admittance into cents."""

    hz: Reals
    quality: Reals
    strength: Reals
    scale: float = 1.0

    def im_admittance(self, f: Reals) -> Reals:
        """Imaginary part of the sum of modes, shape of `f`."""
        x = f[..., None] / self.hz
        return np.sum(self.strength * np.imag(1j * x / self.quality / (1.0 - x**2 + 1j * x / self.quality)), axis=-1)

    def partial_cents(self, f: Reals, n: Reals, impedance: Reals) -> Reals:
        """Pull on partial `n` at frequency `f`."""
        return -self.scale * impedance * self.im_admittance(f) / n

    def reading_cents(self, f1: Reals, impedance: Reals) -> Reals:
        """Pull on what is read of a note: the weighted mean over its partials. Shapes alike."""
        f = f1[..., None] * PARTIALS
        weight = (f < HIGHEST_HZ) / (AGREEMENT_CENTS**2 + (PER_PARTIAL_CENTS * PARTIALS) ** 2)
        pulls = self.partial_cents(f, PARTIALS.astype(float), impedance[..., None])
        return np.sum(weight * pulls, axis=-1) / np.sum(weight, axis=-1)
