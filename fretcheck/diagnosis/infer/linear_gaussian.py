"""Linear observations of normally distributed unknowns: posterior and evidence in closed form.

y = X·θ + noise, θ ~ N(m, P), noise ~ N(0, R): C = X P Xᵀ + R, θ | y ~ N(m + P Xᵀ C⁻¹ (y − X m), P − P Xᵀ C⁻¹ X P), and
ln p(y) = −½ (ln|2πC| + (y − X m)ᵀ C⁻¹ (y − X m)). C. M. Bishop, Pattern Recognition and Machine Learning, 2.3.3, from memory.

Conventions: noise is a full covariance over the observations; priors too, `from_spreads` makes both from standard deviations.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg import cho_factor, cho_solve

from fretcheck.arrays import Reals


@dataclass(frozen=True, kw_only=True)
class LinearGaussian:
    """One linear problem, solved on demand."""

    y: Reals
    design: Reals  # X, shape (observations, parameters)
    noise: Reals  # R, shape (observations, observations)
    prior_mean: Reals
    prior_covariance: Reals

    @classmethod
    def from_spreads(
        cls, *, y: ArrayLike, design: ArrayLike, noise: ArrayLike, prior_mean: ArrayLike, prior_spread: ArrayLike
    ) -> LinearGaussian:
        """From standard deviations of the noise and of independent parameters."""
        return cls(
            y=np.asarray(y, dtype=float),
            design=np.asarray(design, dtype=float),
            noise=np.diag(np.broadcast_to(np.square(np.asarray(noise, dtype=float)), np.shape(y))),
            prior_mean=np.asarray(prior_mean, dtype=float),
            prior_covariance=np.diag(np.square(np.asarray(prior_spread, dtype=float))),
        )

    @cached_property
    def residual(self) -> Reals:
        """What the prior mean leaves unexplained."""
        return np.asarray(self.y - self.design @ self.prior_mean)

    @cached_property
    def _cross(self) -> Reals:
        return np.asarray(self.design @ self.prior_covariance)

    @cached_property
    def _factor(self) -> tuple[Reals, bool]:
        covariance = self._cross @ self.design.T + self.noise
        factor: tuple[Reals, bool] = cho_factor(covariance, lower=True, check_finite=False)
        return factor

    def solve(self, columns: Reals) -> Reals:
        """C⁻¹·columns."""
        return np.asarray(cho_solve(self._factor, columns, check_finite=False))

    @cached_property
    def gain(self) -> Reals:
        """K = P Xᵀ C⁻¹, shape (parameters, observations)."""
        return self.solve(self._cross).T

    @cached_property
    def mean(self) -> Reals:
        return np.asarray(self.prior_mean + self.gain @ self.residual)

    @cached_property
    def covariance(self) -> Reals:
        covariance = self.prior_covariance - self.gain @ self._cross
        return np.asarray(0.5 * (covariance + covariance.T))

    @cached_property
    def log_evidence(self) -> float:
        """ln p(y)."""
        log_determinant = 2.0 * float(np.sum(np.log(np.diag(self._factor[0]))))
        distance = float(self.residual @ self.solve(self.residual))
        return -0.5 * (log_determinant + len(self.y) * math.log(2.0 * math.pi) + distance)
