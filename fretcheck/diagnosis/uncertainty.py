"""Uncertainty budgets after the GUM (JCGM 100:2008).

A result is a sum of contributions c_i·u_i with degrees of freedom ν_i; the combined standard uncertainty is their root
sum of squares (5.1.2), its effective degrees of freedom follow Welch and Satterthwaite (G.4.1), and the expanded
uncertainty is u_c times Student's t for the coverage asked for (G.3). A line fitted to points gives intercept, slope,
their uncertainties and their correlation (H.3).

Conventions
-----------
`u` is a standard uncertainty in the unit of the quantity it belongs to; a contribution is in the unit of the result.
Degrees of freedom are infinite for a figure taken as exactly known.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fretcheck.errors import UsageError


@dataclass(frozen=True, kw_only=True)
class Component:
    """One line of a budget."""

    name: str
    u: float
    """Standard uncertainty of the input, in its own unit."""
    sensitivity: float = 1.0
    """Change of the result for a unit change of the input."""
    freedom: float = math.inf

    @property
    def contribution(self) -> float:
        """Standard uncertainty it adds to the result."""
        return abs(self.sensitivity) * self.u


@dataclass(frozen=True, kw_only=True)
class Budget:
    """A combined uncertainty and the lines it is made of."""

    components: tuple[Component, ...]

    @property
    def u(self) -> float:
        """Combined standard uncertainty."""
        return math.hypot(*(component.contribution for component in self.components))

    @property
    def freedom(self) -> float:
        """Effective degrees of freedom, Welch–Satterthwaite: u⁴ / Σ(u_i⁴/ν_i)."""
        below = sum(component.contribution**4 / component.freedom for component in self.components)
        return self.u**4 / below if below else math.inf

    def expanded(self, *, coverage: float = 0.95) -> float:
        """Expanded uncertainty U = t(coverage, ν)·u, ν truncated to the next lower integer (G.4.1, note 1).

        Raises
        ------
        UsageError
            When `coverage` is not between 0 and 1.
        """
        if not 0.0 < coverage < 1.0:
            raise UsageError(f"coverage {coverage:g} must lie between 0 and 1")
        from scipy.special import ndtri, stdtrit

        freedom = self.freedom
        tail = 0.5 + coverage / 2.0
        factor = float(ndtri(tail)) if math.isinf(freedom) else float(stdtrit(max(1, math.floor(freedom)), tail))
        return factor * self.u


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a quantity known to lie evenly within ± `half_width` (4.3.7)."""
    return half_width / math.sqrt(3.0)


@dataclass(frozen=True, kw_only=True)
class Line:
    """Least-squares line y = intercept + slope·(x − origin)."""

    origin: float
    intercept: float
    slope: float
    u_intercept: float
    u_slope: float
    correlation: float
    scatter: float
    """Standard deviation of the points about the line, n − 2 degrees of freedom."""

    def at(self, x: float) -> tuple[float, float]:
        """Value on the line at `x`, and its standard uncertainty with the correlation taken into account (H.3.4)."""
        away = x - self.origin
        variance = (
            self.u_intercept**2
            + (away * self.u_slope) ** 2
            + 2.0 * away * self.u_intercept * self.u_slope * self.correlation
        )  # fmt: skip
        return self.intercept + away * self.slope, math.sqrt(variance)


def fit_line(x: ArrayLike, y: ArrayLike, *, origin: float = 0.0) -> Line:
    """Fit a straight line by least squares, all points alike (GUM H.3).

    Parameters
    ----------
    x, y : array_like, shape (n,)
        At least three points, not all at one `x`.
    origin : float
        Where the intercept is taken.

    Raises
    ------
    UsageError
        With fewer than three points, or all at one `x`.
    """
    away = np.asarray(x, dtype=float) - origin
    values = np.asarray(y, dtype=float)
    if away.size < 3 or np.ptp(away) == 0.0:
        raise UsageError(f"a line with its uncertainty needs three points at different places, not {away.size}")
    design = np.column_stack([np.ones_like(away), away])
    (intercept, slope), *_ = np.linalg.lstsq(design, values, rcond=None)
    residual = values - design @ np.array([intercept, slope])
    scatter = math.sqrt(float(residual @ residual) / (away.size - 2))
    covariance = scatter**2 * np.linalg.inv(design.T @ design)
    u_intercept, u_slope = np.sqrt(np.diag(covariance))
    return Line(
        origin=origin,
        intercept=float(intercept),
        slope=float(slope),
        u_intercept=float(u_intercept),
        u_slope=float(u_slope),
        correlation=float(covariance[0, 1] / (u_intercept * u_slope)),
        scatter=scatter,
    )


def pooled(components: Sequence[Component], *, name: str) -> Component:
    """Several lines shown as one, with their effective degrees of freedom."""
    budget = Budget(components=tuple(components))
    return Component(name=name, u=budget.u, freedom=budget.freedom)
