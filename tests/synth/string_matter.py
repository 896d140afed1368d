"""What a string is made of, as its physics needs it: stiffness along and across, and mass.

Conventions
-----------
N, mm and g/m. The axial stiffness is that of the string at rest: tension = `axial_stiffness_n` × strain. The mass per
length is that of the string at rest too; stretched, the same mass is spread over a greater length.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

Reals = NDArray[np.float64]

_MM2_PER_M2 = 1e6
_N_PER_G_M_TO_MM2_S2 = 1e9


@dataclass(frozen=True, kw_only=True)
class StringMatter:
    """Constants of one string that neither tuning nor stopping changes."""

    axial_stiffness_n: float
    """EA: of the core alone in a wound string."""
    bending_stiffness_n_mm2: float
    """EI: of the core alone in a wound string."""
    mass_per_length_g_m: float

    @classmethod
    def from_constants(
        cls, *, kappa: float, beta: float, tension_n: float, length_mm: float, frequency_hz: float
    ) -> StringMatter:
        """Matter of a string that, tuned to `frequency_hz` on `length_mm`, has the constants of [AB].

        Parameters
        ----------
        kappa : float
            Relative rise of tension per relative stretch of the tuned string, (dT/T)/(dL/L) = EA/T to first order.
        beta : float
            √(EI/(T·L²)).
        tension_n, length_mm, frequency_hz : float
            Of the open string; the frequency is partial 1 between a pinned and a clamped end.
        """
        strain = 1.0 / (kappa - 1.0)
        tuned = tension_n * (stiff_end_factor(beta) / (2.0 * length_mm * frequency_hz)) ** 2 * _N_PER_G_M_TO_MM2_S2
        return cls(
            axial_stiffness_n=tension_n / strain,
            bending_stiffness_n_mm2=beta**2 * tension_n * length_mm**2,
            mass_per_length_g_m=float(tuned) * (1.0 + strain),
        )

    @classmethod
    def from_plain(cls, *, gauge_mm: float, modulus_gpa: float, density_kg_m3: float) -> StringMatter:
        """Matter of a plain round string."""
        area_mm2 = pi / 4.0 * gauge_mm**2
        modulus_n_mm2 = modulus_gpa * 1e3
        return cls(
            axial_stiffness_n=modulus_n_mm2 * area_mm2,
            bending_stiffness_n_mm2=modulus_n_mm2 * pi / 64.0 * gauge_mm**4,
            mass_per_length_g_m=density_kg_m3 * area_mm2 / _MM2_PER_M2 * 1e3,
        )

    def strain_when_tuned(self, *, frequency_hz: float, length_mm: float, end_stiffness: float = 1.0) -> float:
        """Strain at which the open string sounds `frequency_hz`, by fixed-point iteration to rounding."""
        strain = 0.01
        for _ in range(60):
            beta = self.beta(tension_n=self.axial_stiffness_n * strain, length_mm=length_mm)
            speed_squared = (2.0 * length_mm * frequency_hz / stiff_end_factor(beta, end_stiffness=end_stiffness)) ** 2
            tension = speed_squared * self.mass_per_length_g_m / (1.0 + strain) / _N_PER_G_M_TO_MM2_S2
            strain = float(tension) / self.axial_stiffness_n
        return strain

    def beta(self, *, tension_n: ArrayLike, length_mm: ArrayLike) -> Reals:
        """β = √(EI/(T·L²)) of a speaking length under tension; inharmonicity is B = π²β²."""
        return np.sqrt(self.bending_stiffness_n_mm2 / (np.asarray(tension_n, dtype=float) * np.square(length_mm)))

    def frequency_hz(self, *, strain: ArrayLike, length_mm: ArrayLike, end_stiffness: float = 1.0) -> Reals:
        """Partial 1 of a speaking length, the whole string being under `strain`."""
        strain = np.asarray(strain, dtype=float)
        tension = self.axial_stiffness_n * strain
        speed = np.sqrt(tension * (1.0 + strain) / self.mass_per_length_g_m * _N_PER_G_M_TO_MM2_S2)
        beta = self.beta(tension_n=tension, length_mm=length_mm)
        return np.asarray(speed / (2.0 * np.asarray(length_mm)) * stiff_end_factor(beta, end_stiffness=end_stiffness))


def stiff_end_factor(beta: ArrayLike, *, end_stiffness: float = 1.0) -> Reals:
    """How much sharper partial 1 sounds for the string's stiffness: 1 + eβ + (e² + π²/2)β².

    `end_stiffness` e counts the clamped ends: 0 both pinned, 1 pinned at the saddle and clamped at nut or fret (what
    measured guitars agree with), 2 both clamped.

    Source: M. B. Anderson & R. G. Beausoleil, J. Acoust. Soc. Am. 156(1), 683 (2024), whose two cases e = 1 and e = 2
    this joins; e = 0 is √(1+π²β²) to the same order.

    >>> round(float(stiff_end_factor(0.00236)), 6)
    1.002393
    """
    beta = np.asarray(beta, dtype=float)
    return np.asarray(1.0 + end_stiffness * beta + (end_stiffness**2 + np.pi**2 / 2.0) * beta**2)
