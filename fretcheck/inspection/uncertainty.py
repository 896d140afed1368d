"""Uncertainty budgets after the GUM (JCGM 100:2008).

A result is a sum of contributions c_i·u_i with degrees of freedom ν_i; the combined standard uncertainty is their root
sum of squares (5.1.2), its effective degrees of freedom follow Welch and Satterthwaite (G.4.1), and the expanded
uncertainty is u_c times Student's t for the coverage asked for (G.3).

Conventions: `u` is a standard uncertainty in the unit of the quantity it belongs to; a contribution is in the unit of the
result. Degrees of freedom are infinite for a figure taken as exactly known.
"""

import math
from dataclasses import dataclass

from scipy.special import ndtri, stdtrit

from fretcheck.errors import UsageError


@dataclass(frozen=True, kw_only=True)
class Component:
    """One line of a budget."""

    name: str
    u: float  # Standard uncertainty of the input, in its own unit
    sensitivity: float = 1.0  # Change of the result for a unit change of the input
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

        Raises UsageError when `coverage` is not between 0 and 1.
        """
        if not 0.0 < coverage < 1.0:
            raise UsageError(f"coverage {coverage:g} must lie between 0 and 1")
        freedom = self.freedom
        tail = 0.5 + coverage / 2.0
        factor = float(ndtri(tail)) if math.isinf(freedom) else float(stdtrit(max(1, math.floor(freedom)), tail))
        return factor * self.u
