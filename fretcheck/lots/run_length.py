"""Average run length: how many points a control chart takes, on average, until it gives a signal.

Sources: E. S. Page, Biometrika 41, 100 (1954) for the CUSUM's integral equation; S. V. Crowder, Technometrics 29, 401
(1987) for the EWMA's; K. W. Kemp, J. R. Stat. Soc. B 23, 149 (1961) for joining the two sides of a CUSUM. The
equations are solved on Gauss–Legendre nodes, with 80 of which the answer is settled to better than 0.1 %.

Conventions
-----------
Points are independent and normal; limits, allowance and shift in standard deviations of a point; centre and scatter are
taken as known. With limits estimated from few points real run lengths scatter widely about these.
"""

from __future__ import annotations

from math import sqrt
from statistics import NormalDist
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fretcheck.lots.variance_components import Floats

_NODES = 80


def individuals_run_length(*, limit: float = 3.0, shift: float = 0.0) -> float:
    """Average run length of an individuals chart with limits at ± `limit`."""
    normal = NormalDist()
    signal = normal.cdf(-limit - shift) + normal.cdf(-limit + shift)
    return 1.0 / signal


def ewma_run_length(*, weight: float, limit: float, shift: float = 0.0) -> float:
    """Average run length of an EWMA chart started at the centre.

    Parameters
    ----------
    weight : float
        Share of the newest point, 0 < weight ≤ 1.
    limit : float
        Width of the steady limits, in standard deviations of the average itself.
    shift : float
        Of the mean from the centre.
    """
    import numpy as np
    from scipy.special import ndtr

    edge = limit * sqrt(weight / (2 - weight))
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    levels, widths = edge * nodes, edge * weights

    def step(start: Floats) -> Floats:
        """Probabilities of moving from each start to each node, their sum made the exact probability of staying inside."""
        point = (levels[None, :] - (1 - weight) * start[:, None]) / weight - shift
        kernel = np.exp(-(point**2) / 2) * widths[None, :]
        stay = ndtr((edge - (1 - weight) * start) / weight - shift) - ndtr((-edge - (1 - weight) * start) / weight - shift)
        scaled: Floats = kernel * (stay / kernel.sum(axis=1))[:, None]
        return scaled

    run = np.linalg.solve(np.eye(_NODES) - step(levels), np.ones(_NODES))
    return float(1.0 + (step(np.zeros(1)) @ run)[0])


def cusum_run_length(*, allowance: float, limit: float, shift: float = 0.0) -> float:
    """Average run length of a two-sided CUSUM chart started at zero, `allowance` k and decision `limit` h."""
    upward = _one_sided_cusum(allowance, limit, shift)
    downward = _one_sided_cusum(allowance, limit, -shift)
    return 1.0 / (1.0 / upward + 1.0 / downward)


def _one_sided_cusum(allowance: float, limit: float, shift: float) -> float:
    """Run length of S ← max(0, S + x − k), signal when S > h, x of mean `shift`."""
    import numpy as np
    from scipy.special import ndtr

    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    levels, widths = limit * (nodes + 1) / 2, limit * weights / 2
    start = np.concatenate([[0.0], levels])
    jump = levels[None, :] + allowance - start[:, None] - shift
    system = np.eye(_NODES + 1)
    system[:, 0] -= ndtr(allowance - start - shift)
    system[:, 1:] -= np.exp(-(jump**2) / 2) / sqrt(2 * np.pi) * widths[None, :]
    return float(np.linalg.solve(system, np.ones(_NODES + 1))[0])
