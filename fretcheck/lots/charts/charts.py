"""Control charts for drift from lot to lot: individuals with moving range, EWMA, CUSUM.

A point is one lot's value, for instance the template's error at fret 7. The individuals chart sees a jump at once, the
EWMA and the CUSUM see a slow wear of the template sooner. Every chart states its average run length, on target and
after a shift of one standard deviation, so that the user knows how often it cries wolf and how long it may sleep: as they are
with limits from so many points (the middle of 99 shops), and in the unluckiest shop of ten.

Sources: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (individuals), 6.3.2.3 (CUSUM), 6.3.2.4 (EWMA).

Conventions: values in one unit throughout (mm for a fret). Scatter is the mean moving range over 1.128 unless given. Limits
from fewer than 20 points are `provisional`. `signals` counts points from 0.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from math import pi, sqrt
from statistics import fmean
from typing import Any, Literal

from fretcheck.errors import DiagnosisRefusedError, UsageError
from fretcheck.lots.charts.run_length import (
    RunLengths,
    cusum_run_length,
    ewma_run_length,
    individuals_run_length,
    run_lengths,
)

SETTLED_POINTS = 20
FEWEST_POINTS = 3
MEAN_RANGE_OF_TWO = 2 / sqrt(pi)  # d2 for two values: mean range of a pair in standard deviations, 1.1284
# D4 for two values: upper limit of the moving range in mean ranges, 3.267
HIGHEST_RANGE_OF_TWO = 1 + 3 * sqrt(2 - 4 / pi) / MEAN_RANGE_OF_TWO

ChartKind = Literal["individuals", "moving range", "EWMA", "CUSUM"]


@dataclass(frozen=True, kw_only=True)
class Chart:
    """One chart: its `line` (what is compared with the limits), limits, signals, and how it behaves on average."""

    kind: ChartKind
    line: tuple[float, ...]
    lower_line: tuple[float, ...] | None = None  # The downward sum of a CUSUM, positive; None for the other kinds
    centre: float
    lower: float | None = None
    upper: float
    scatter: float
    signals: tuple[int, ...]
    provisional: bool
    run: RunLengths | None = None  # None for the moving range


@dataclass(frozen=True, kw_only=True)
class Aim:
    """What points are held against: the centre they should keep, and their scatter about it (standard deviation, above 0)."""

    centre: float
    scatter: float
    points: int | None = None  # How many both rest on; None when they are known

    def chart(self, kind: ChartKind, *, signals: Iterable[bool], run: RunLengths | None, **lines: Any) -> Chart:
        """A chart with the `lines` given; `signals` tells of each point whether it is one."""
        return Chart(
            kind=kind,
            scatter=self.scatter,
            signals=tuple(place for place, beyond in enumerate(signals) if beyond),
            provisional=self.points is not None and self.points < SETTLED_POINTS,
            run=run,
            **{"centre": self.centre, **lines},
        )


def aim_of(values: Sequence[float], *, baseline: int | None = None) -> Aim:
    """Mean of the first `baseline` values (default: all), and the scatter that their mean moving range tells.

    Raises DiagnosisRefusedError with fewer than three values, or values that do not vary at all.
    """
    if baseline is not None and baseline > len(values):
        raise UsageError(f"a baseline of {baseline} points needs as many: there are {len(values)}")
    first = values[:baseline]
    if len(first) < FEWEST_POINTS:
        raise DiagnosisRefusedError(
            f"too few points for a chart: {len(first)}; at least {FEWEST_POINTS} are needed, {SETTLED_POINTS} are better"
        )
    scatter = fmean(_ranges(first)) / MEAN_RANGE_OF_TWO
    if scatter == 0:
        raise DiagnosisRefusedError("all points are equal: a chart needs values that vary")
    return Aim(centre=fmean(first), scatter=scatter, points=len(first))


def individuals_chart(values: Sequence[float], aim: Aim) -> Chart:
    """Individuals chart with limits at three standard deviations."""
    return _about_centre("individuals", values, aim, 3 * aim.scatter, run_lengths(individuals_run_length, points=aim.points))


def moving_range_chart(values: Sequence[float], aim: Aim) -> Chart:
    """Chart of the differences between neighbours; `signals` names the later point of each pair."""
    ranges, mean_range = _ranges(values), aim.scatter * MEAN_RANGE_OF_TWO
    upper = HIGHEST_RANGE_OF_TWO * mean_range
    signals = [False, *(one > upper for one in ranges)]
    return aim.chart("moving range", line=ranges, centre=mean_range, upper=upper, signals=signals, run=None)


def ewma_chart(values: Sequence[float], aim: Aim, *, weight: float = 0.2, limit: float = 2.86) -> Chart:
    """Exponentially weighted moving average, started at the centre, with its steady limits.

    `weight`: share of the newest value, 0 < weight ≤ 1. `limit`: limits in standard deviations of the average; 2.86 with weight
    0.2 gives a false alarm in about 370 points.
    """
    line = list(accumulate(values, lambda average, value: weight * value + (1 - weight) * average, initial=aim.centre))[1:]
    half = limit * aim.scatter * sqrt(weight / (2 - weight))
    return _about_centre("EWMA", line, aim, half, run_lengths(ewma_run_length, points=aim.points, weight=weight, limit=limit))


def cusum_chart(values: Sequence[float], aim: Aim, *, allowance: float = 0.5, limit: float = 4.774) -> Chart:
    """Two-sided cumulative sum chart.

    `allowance`, `limit`: k and h in standard deviations; 0.5 and 4.774 give a false alarm in about 370 points.
    """

    def sums(sign: int) -> tuple[float, ...]:
        steps = (sign * (value - aim.centre) - allowance * aim.scatter for value in values)
        return tuple(accumulate(steps, lambda total, step: max(0.0, total + step), initial=0.0))[1:]

    high, low, upper = sums(1), sums(-1), limit * aim.scatter
    signals = (max(both) > upper for both in zip(high, low, strict=True))
    run = run_lengths(cusum_run_length, points=aim.points, allowance=allowance, limit=limit)
    return aim.chart("CUSUM", line=high, lower_line=low, upper=upper, signals=signals, run=run)


def all_charts(values: Sequence[float], *, baseline: int | None = None) -> tuple[Chart, ...]:
    """The four charts of one series, with the default limits; `baseline` as in `aim_of`."""
    aim = aim_of(values, baseline=baseline)
    return individuals_chart(values, aim), moving_range_chart(values, aim), ewma_chart(values, aim), cusum_chart(values, aim)


def _ranges(values: Sequence[float]) -> tuple[float, ...]:
    return tuple(abs(after - before) for before, after in pairwise(values))


def _about_centre(kind: ChartKind, line: Sequence[float], aim: Aim, half: float, run: RunLengths) -> Chart:
    lower, upper = aim.centre - half, aim.centre + half
    signals = (not lower <= one <= upper for one in line)
    return aim.chart(kind, line=tuple(line), lower=lower, upper=upper, signals=signals, run=run)
