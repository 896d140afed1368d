"""Linear observations of normally distributed unknowns: posterior and evidence in closed form.

y = X·θ + noise, θ ~ N(m, P), noise ~ N(0, R): C = X P Xᵀ + R, θ | y ~ N(m + P Xᵀ C⁻¹ (y − X m), P − P Xᵀ C⁻¹ X P), and
ln p(y) = −½ (ln|2πC| + (y − X m)ᵀ C⁻¹ (y − X m)). C. M. Bishop, Pattern Recognition and Machine Learning, 2.3.3, from memory.
With C = L·Lᵀ all of it is products of L⁻¹ X and L⁻¹ (y − X m), the observations whitened.

Conventions: noise is a full covariance over the observations; priors too, `from_spreads` makes both from standard deviations.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg import cholesky, solve_triangular

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
    def _signal(self) -> Reals:
        return np.asarray(self.design @ self.prior_covariance @ self.design.T)

    @cached_property
    def _root(self) -> Reals:
        return np.asarray(cholesky(self._signal + self.noise, lower=True, check_finite=False))

    @cached_property
    def white_design(self) -> Reals:
        """L⁻¹ X, shape (observations, parameters)."""
        return self.whitened(self.design)

    @cached_property
    def white_residual(self) -> Reals:
        """L⁻¹ (y − X m), what the prior mean leaves unexplained."""
        return self.whitened(self.y - self.design @ self.prior_mean)

    def whitened(self, columns: Reals) -> Reals:
        """L⁻¹·columns."""
        return np.asarray(solve_triangular(self._root, columns, lower=True, check_finite=False))

    def with_noise(self, noise: Reals) -> LinearGaussian:
        """The same problem with another noise; what they share is computed once."""
        other = replace(self, noise=noise)
        vars(other).update(_signal=self._signal)
        return other

    @cached_property
    def mean(self) -> Reals:
        return np.asarray(self.prior_mean + self.prior_covariance @ (self.white_design.T @ self.white_residual))

    @cached_property
    def covariance(self) -> Reals:
        white = self.white_design @ self.prior_covariance
        return np.asarray(self.prior_covariance - white.T @ white)

    @cached_property
    def log_evidence(self) -> float:
        """ln p(y)."""
        log_determinant = 2.0 * float(np.sum(np.log(np.diag(self._root))))
        distance = float(self.white_residual @ self.white_residual)
        return -0.5 * (log_determinant + len(self.y) * math.log(2.0 * math.pi) + distance)
