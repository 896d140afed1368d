"""Average run length: how many points a control chart takes, on average, until it gives a signal.

Sources: E. S. Page, Biometrika 41, 100 (1954) for the CUSUM's integral equation; S. V. Crowder, Technometrics 29, 401
(1987) for the EWMA's; K. W. Kemp, J. R. Stat. Soc. B 23, 149 (1961) for joining the two sides of a CUSUM. The
equations are solved on Gauss–Legendre nodes, with 32 of which the answer is that of 80 to nine digits.

Conventions: points are independent and normal; limits, allowance and shift in standard deviations of a point, `wider` times as
wide when the scatter was overrated. Centre and scatter are taken as known, save in `run_lengths`.
"""

from dataclasses import dataclass
from math import pi, sqrt
from statistics import NormalDist
from typing import Protocol

import numpy as np
from scipy.special import ndtr

from fretcheck.arrays import Reals

_NODES = 32
_SHOPS = 99


@dataclass(frozen=True, kw_only=True)
class RunLengths:
    """Average run lengths of a chart, in points."""

    on_target: float
    unlucky_on_target: float  # In the unluckiest shop of ten, whose limits came out narrow
    after_shift: float  # After a lasting shift of one standard deviation


class _RunLength(Protocol):
    def __call__(self, *, shift: float = 0.0, wider: float = 1.0) -> float: ...


def run_lengths(of_chart: _RunLength, *, points: int | None) -> RunLengths:
    """As they are with centre and scatter (mean moving range) from so many points; None: known."""
    if points is None:
        return RunLengths(on_target=of_chart(), unlucky_on_target=of_chart(), after_shift=of_chart(shift=1.0))
    shops = np.random.default_rng(1).standard_normal(
        (_SHOPS, points)
    )  # always the same: a figure must not change when shown again
    centres, widths = shops.mean(axis=1), np.abs(np.diff(shops)).mean(axis=1) * sqrt(pi) / 2
    on_target = [of_chart(shift=-c, wider=w) for c, w in zip(centres, widths, strict=True)]
    after = [of_chart(shift=1.0 - c, wider=w) for c, w in zip(centres, widths, strict=True)]
    return RunLengths(
        on_target=float(np.median(on_target)),
        unlucky_on_target=float(np.quantile(on_target, 0.1)),
        after_shift=float(np.median(after)),
    )


def individuals_run_length(*, limit: float = 3.0, shift: float = 0.0, wider: float = 1.0) -> float:
    """Average run length of an individuals chart with limits at ± `limit`."""
    normal = NormalDist()
    signal = normal.cdf(-limit * wider - shift) + normal.cdf(-limit * wider + shift)
    return 1.0 / max(signal, 1e-12)


def ewma_run_length(*, weight: float, limit: float, shift: float = 0.0, wider: float = 1.0) -> float:
    """Average run length of an EWMA chart started at the centre.

    `weight`: share of the newest point, 0 < weight ≤ 1. `limit`: width of the steady limits, in standard deviations of the
    average itself. `shift`: of the mean from the centre.
    """
    edge = wider * limit * sqrt(weight / (2 - weight))
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    levels, widths = edge * nodes, edge * weights

    def step(start: Reals) -> Reals:
        """Probabilities of moving from each start to each node, their sum made the exact probability of staying inside."""
        point = (levels[None, :] - (1 - weight) * start[:, None]) / weight - shift
        kernel = np.exp(-(point**2) / 2) * widths[None, :]
        stay = ndtr((edge - (1 - weight) * start) / weight - shift) - ndtr((-edge - (1 - weight) * start) / weight - shift)
        scaled: Reals = kernel * (stay / kernel.sum(axis=1))[:, None]
        return scaled

    run = np.linalg.solve(np.eye(_NODES) - step(levels), np.ones(_NODES))
    return float(1.0 + (step(np.zeros(1)) @ run)[0])


def cusum_run_length(*, allowance: float, limit: float, shift: float = 0.0, wider: float = 1.0) -> float:
    """Average run length of a two-sided CUSUM chart started at zero, `allowance` k and decision `limit` h."""
    allowance, limit = allowance * wider, limit * wider
    upward = _one_sided_cusum(allowance, limit, shift)
    downward = _one_sided_cusum(allowance, limit, -shift)
    return 1.0 / (1.0 / upward + 1.0 / downward)


def _one_sided_cusum(allowance: float, limit: float, shift: float) -> float:
    """Run length of S ← max(0, S + x − k), signal when S > h, x of mean `shift`."""
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    levels, widths = limit * (nodes + 1) / 2, limit * weights / 2
    start = np.concatenate([[0.0], levels])
    jump = levels[None, :] + allowance - start[:, None] - shift
    system = np.eye(_NODES + 1)
    system[:, 0] -= ndtr(allowance - start - shift)
    system[:, 1:] -= np.exp(-(jump**2) / 2) / sqrt(2 * np.pi) * widths[None, :]
    return float(np.linalg.solve(system, np.ones(_NODES + 1))[0])
