"""Average run length: how many points a control chart takes, on average, until it gives a signal.

Sources: E. S. Page, Biometrika 41, 100 (1954) for the CUSUM's integral equation; S. V. Crowder, Technometrics 29, 401
(1987) for the EWMA's; K. W. Kemp, J. R. Stat. Soc. B 23, 149 (1961) for joining the two sides of a CUSUM. The
equations are solved on Gauss–Legendre nodes, with 32 of which the answer is that of 80 to nine digits.

Conventions: points are independent and normal; limits, allowance and shift in standard deviations of a point, `wider` times as
wide when the scatter was overrated. Centre and scatter are taken as known, save in `run_lengths`.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, partial
from math import pi, sqrt

import numpy as np
from scipy.special import ndtr

from fretcheck.arrays import Reals

_NODES = 32
_legendre = cache(np.polynomial.legendre.leggauss)
_SHOPS = 99


@dataclass(frozen=True, kw_only=True)
class RunLengths:
    """Average run lengths of a chart, in points."""

    on_target: float
    unlucky_on_target: float  # In the unluckiest shop of ten, whose limits came out narrow
    after_shift: float  # After a lasting shift of one standard deviation


@cache  # 594 equations, which every chart of so many points asks
def run_lengths(chart: Callable[..., float], *, points: int | None, **settings: float) -> RunLengths:
    """Of `chart`, one of the functions below, with centre and scatter (mean moving range) from so many points; None: known."""
    of_chart = partial(chart, **settings)
    if points is None:
        return RunLengths(on_target=of_chart(), unlucky_on_target=of_chart(), after_shift=of_chart(shift=1.0))
    # always the same: a figure must not change when shown again
    shops = np.random.default_rng(1).standard_normal((_SHOPS, points))
    centres, widths = shops.mean(axis=1), np.abs(np.diff(shops)).mean(axis=1) * sqrt(pi) / 2
    widths = np.minimum(widths, 2.0)  # there a run takes a hundred million points; wider, the equations cannot be solved
    on_target = [of_chart(shift=-c, wider=w) for c, w in zip(centres, widths, strict=True)]
    after = [of_chart(shift=1.0 - c, wider=w) for c, w in zip(centres, widths, strict=True)]
    return RunLengths(
        on_target=float(np.median(on_target)),
        unlucky_on_target=float(np.quantile(on_target, 0.1)),
        after_shift=float(np.median(after)),
    )


def individuals_run_length(*, limit: float = 3.0, shift: float = 0.0, wider: float = 1.0) -> float:
    """Average run length of an individuals chart with limits at ± `limit`."""
    return float(1.0 / max(ndtr(-limit * wider - shift) + ndtr(-limit * wider + shift), 1e-12))


def ewma_run_length(*, weight: float, limit: float, shift: float = 0.0, wider: float = 1.0) -> float:
    """Average run length of an EWMA chart started at the centre.

    `weight`: share of the newest point, 0 < weight ≤ 1. `limit`: width of the steady limits, in standard deviations of the
    average itself. `shift`: of the mean from the centre.
    """
    edge = wider * limit * sqrt(weight / (2 - weight))

    def point(start: Reals, end: Reals) -> Reals:
        return (end - (1 - weight) * start) / weight - shift

    return _mean_run(-edge, edge, lambda start, end: np.exp(-(point(start, end) ** 2) / 2) / weight, np.zeros_like)


def cusum_run_length(*, allowance: float, limit: float, shift: float = 0.0, wider: float = 1.0) -> float:
    """Average run length of a two-sided CUSUM chart started at zero, `allowance` k and decision `limit` h."""

    def one_sided(mean: float) -> float:
        """Of S ← max(0, S + x − k), signal when S > h."""
        least = wider * allowance - mean
        return _mean_run(
            0.0, wider * limit, lambda start, end: np.exp(-((end + least - start) ** 2) / 2), lambda start: ndtr(least - start)
        )

    return 1.0 / (1.0 / one_sided(shift) + 1.0 / one_sided(-shift))


def _mean_run(low: float, high: float, density: Callable[[Reals, Reals], Reals], to_zero: Callable[[Reals], Reals]) -> float:
    """Mean number of steps from zero until a chart leaves `low` to `high`.

    `density`: of the step from start to end, times √(2π). `to_zero`: probability of stepping exactly to zero.
    """
    nodes, weights = _legendre(_NODES)
    levels, widths = low + (high - low) * (nodes + 1) / 2, (high - low) * weights / 2
    starts = np.concatenate([[0.0], levels])
    system = np.eye(_NODES + 1)
    system[:, 0] -= to_zero(starts)
    system[:, 1:] -= density(starts[:, None], levels) * widths / sqrt(2 * pi)
    return float(np.linalg.solve(system, np.ones(_NODES + 1))[0])
