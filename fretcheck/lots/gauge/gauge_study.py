"""Gauge study: how much of what is read comes from the measuring, how much from the necks.

Parts × operators × repeats by two-way analysis of variance; with one operator, parts × repeats by one-way. The part is
one note of one neck. When operators do not visibly read parts differently (interaction with p above 0.25), interaction
and repeats are pooled, as is usual in published gauge studies.

Sources: JCGM 100:2008 (GUM) H.5 for the one-way case; R. K. Burdick, C. M. Borror & D. C. Montgomery, J. Qual. Technol.
35, 342 (2003) for the two-way case; intervals by modified large samples, R. K. Burdick & F. A. Graybill, "Confidence
Intervals on Variance Components" (1992), both from memory and checked against published figures.

Conventions
-----------
Values in one unit (cents for a note). Scatter is a standard deviation. Share of tolerance = 6 × scatter / (full width of
the tolerance). Distinct categories = 1.41 × scatter of the parts / scatter of the gauge, rounded down.
A component whose estimate is negative is given as 0.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import combinations
from math import floor, sqrt

from fretcheck.errors import DiagnosisRefusedError, UsageError

POOL_ABOVE_P = 0.25
FEWEST_PARTS, FEWEST_REPEATS = 2, 2


@dataclass(frozen=True, kw_only=True)
class MeanSquare:
    """One line of the analysis of variance."""

    source: str
    sum_of_squares: float
    freedom: int

    @property
    def value(self) -> float:
        """Sum of squares over degrees of freedom."""
        return self.sum_of_squares / self.freedom


@dataclass(frozen=True, kw_only=True)
class Scatter:
    """A standard deviation with its interval; `interval` is None when the design cannot give one."""

    value: float
    interval: tuple[float, float] | None


@dataclass(frozen=True, kw_only=True)
class GaugeResult:
    """What a gauge study found. Everything in the unit of the values, except shares and counts."""

    parts: int
    operators: int
    repeats: int
    mean: float
    table: tuple[MeanSquare, ...]
    pooled: bool
    interaction_p: float | None
    repeatability: Scatter
    reproducibility: Scatter | None
    """Between operators, interaction included; None with one operator."""
    gauge: Scatter
    between_parts: Scatter
    total: float
    distinct_categories: int | None
    """None when the gauge shows no scatter at all."""
    tolerance: float | None = None
    share_of_tolerance: float | None = None
    confidence: float = 0.90
    notes: tuple[str, ...] = field(default=())


def gauge_study(
    values: Sequence[Sequence[Sequence[float]]], *, tolerance: float | None = None, confidence: float = 0.90
) -> GaugeResult:
    """Analyse a balanced study.

    Parameters
    ----------
    values : nested sequence, shape (parts, operators, repeats)
        At least 2 parts and 2 repeats.
    tolerance : float, optional
        Full width of the tolerance, for its share.
    confidence : float
        Of the intervals.

    Raises
    ------
    UsageError
        When the design is not balanced.
    DiagnosisRefusedError
        With fewer than 2 parts or 2 repeats: then repeats and parts cannot be told apart.
    """
    import numpy as np

    if len({len(row) for row in values}) > 1 or len({len(cell) for row in values for cell in row}) > 1:
        raise UsageError("the study is not balanced: every operator must read every part equally often")
    y = np.array(values, dtype=float)
    if y.ndim != 3 or y.shape[0] < FEWEST_PARTS or y.shape[1] < 1 or y.shape[2] < FEWEST_REPEATS:
        raise DiagnosisRefusedError(
            f"a study of shape {y.shape} (parts, operators, repeats) is too small:"
            f" it takes {FEWEST_PARTS} parts and {FEWEST_REPEATS} repeats"
        )
    parts, operators, repeats = y.shape
    mean = y.mean()
    of_part, of_operator, of_cell = y.mean(axis=(1, 2)), y.mean(axis=(0, 2)), y.mean(axis=2)
    part_squares = operators * repeats * float(((of_part - mean) ** 2).sum())
    operator_squares = parts * repeats * float(((of_operator - mean) ** 2).sum())
    cell_squares = repeats * float(((of_cell - mean) ** 2).sum())
    return gauge_from_squares(
        part_squares=part_squares,
        operator_squares=operator_squares,
        interaction_squares=max(0.0, cell_squares - part_squares - operator_squares),
        repeat_squares=float(((y - of_cell[:, :, None]) ** 2).sum()),
        shape=(parts, operators, repeats),
        mean=float(mean),
        tolerance=tolerance,
        confidence=confidence,
    )


def gauge_from_squares(
    *,
    part_squares: float,
    operator_squares: float,
    interaction_squares: float,
    repeat_squares: float,
    shape: tuple[int, int, int],
    mean: float = 0.0,
    tolerance: float | None = None,
    confidence: float = 0.90,
) -> GaugeResult:
    """Analyse a study given by its sums of squares; `shape` is (parts, operators, repeats)."""
    from scipy.special import fdtrc

    parts, operators, repeats = shape
    part = MeanSquare(source="parts", sum_of_squares=part_squares, freedom=parts - 1)
    repeat = MeanSquare(source="repeats", sum_of_squares=repeat_squares, freedom=parts * operators * (repeats - 1))
    table: tuple[MeanSquare, ...]
    if operators == 1:
        table, pooled, p = (part, repeat), False, None
        error, operator, crossed = repeat, None, None
    else:
        operator = MeanSquare(source="operators", sum_of_squares=operator_squares, freedom=operators - 1)
        crossed = MeanSquare(
            source="operators × parts", sum_of_squares=interaction_squares, freedom=(parts - 1) * (operators - 1)
        )
        p = float(fdtrc(crossed.freedom, repeat.freedom, crossed.value / repeat.value)) if repeat.value > 0 else None
        pooled = p is not None and p > POOL_ABOVE_P
        table, error = (part, operator, crossed, repeat), repeat
        if pooled:
            error = MeanSquare(
                source="repeats, interaction pooled",
                sum_of_squares=repeat_squares + interaction_squares,
                freedom=repeat.freedom + crossed.freedom,
            )
            crossed = None
    below = crossed or error  # what a part's or an operator's mean square is compared with
    per_operator, per_part = parts * repeats, operators * repeats

    def scatter(*terms: tuple[float, MeanSquare]) -> Scatter:
        return scatter_with_interval(terms, confidence=confidence)

    repeatability = scatter((1.0, error))
    between_parts = scatter((1 / per_part, part), (-1 / per_part, below))
    if operator is None:
        reproducibility, gauge = None, repeatability
    else:
        crossed_terms = [(1 / repeats - 1 / per_operator, crossed)] if crossed else []
        without = -1 / repeats if crossed else -1 / per_operator
        reproducibility = scatter((1 / per_operator, operator), *crossed_terms, (without, error))
        gauge = _sum_in_quadrature(
            reproducibility, repeatability, scatter((1 / per_operator, operator), *crossed_terms, (1 + without, error))
        )
    total = sqrt(gauge.value**2 + between_parts.value**2)
    return GaugeResult(
        parts=parts,
        operators=operators,
        repeats=repeats,
        mean=mean,
        table=table,
        pooled=pooled,
        interaction_p=p,
        repeatability=repeatability,
        reproducibility=reproducibility,
        gauge=gauge,
        between_parts=between_parts,
        total=total,
        distinct_categories=None if gauge.value == 0 else floor(sqrt(2) * between_parts.value / gauge.value),
        tolerance=tolerance,
        share_of_tolerance=None if tolerance is None else 6 * gauge.value / tolerance,
        confidence=confidence,
        notes=_notes(operators, repeats, parts),
    )


def scatter_with_interval(terms: Sequence[tuple[float, MeanSquare]], *, confidence: float) -> Scatter:
    """Standard deviation from a weighted sum of mean squares, with its modified-large-sample interval.

    Parameters
    ----------
    terms : sequence of (weight, MeanSquare)
        The variance is the sum of weight × mean square; weights may be negative, the first is positive.
    confidence : float
        Two-sided.
    """
    variance = sum(weight * square.value for weight, square in terms)
    added = [(w, s) for w, s in terms if w > 0]
    taken = [(-w, s) for w, s in terms if w < 0]
    tail = (1 - confidence) / 2
    down = _spread(added, taken, tail=tail, upper=False)
    up = _spread(added, taken, tail=tail, upper=True)
    low, high = sqrt(max(0.0, variance - sqrt(max(0.0, down)))), sqrt(max(0.0, variance + sqrt(max(0.0, up))))
    return Scatter(value=sqrt(max(0.0, variance)), interval=(low, high))


def _spread(
    added: Sequence[tuple[float, MeanSquare]], taken: Sequence[tuple[float, MeanSquare]], *, tail: float, upper: bool
) -> float:
    """Square of the distance from estimate to limit: Burdick & Graybill 1992, table 3.4 (sums) and 3.3 (differences)."""
    from scipy.special import chdtri, fdtri

    def toward(freedom: int, *, up: bool) -> float:
        """H (up) or G (down): relative room of one mean square on that side."""
        return float(freedom / chdtri(freedom, 1 - tail) - 1) if up else float(1 - freedom / chdtri(freedom, tail))

    total = sum((toward(s.freedom, up=upper) * w * s.value) ** 2 for w, s in added)
    total += sum((toward(s.freedom, up=not upper) * w * s.value) ** 2 for w, s in taken)
    for plus_weight, plus in added:
        for minus_weight, minus in taken:
            ratio = float(fdtri(plus.freedom, minus.freedom, tail if upper else 1 - tail))
            own = toward(plus.freedom, up=upper)
            other = toward(minus.freedom, up=not upper)
            cross = ((1 - ratio) ** 2 - (own * ratio) ** 2 - other**2) / ratio
            total += cross * plus_weight * minus_weight * plus.value * minus.value
    alike = taken if upper else added
    if added and taken and len(alike) > 1:
        for (first_weight, first), (second_weight, second) in combinations(alike, 2):
            n, m = first.freedom, second.freedom
            room = float(1 - (n + m) / chdtri(n + m, tail))
            g_n, g_m = toward(n, up=False), toward(m, up=False)
            cross = (room**2 * (n + m) ** 2 / (n * m) - g_n**2 * n / m - g_m**2 * m / n) / (len(alike) - 1)
            total += cross * first_weight * second_weight * first.value * second.value
    return total


def _sum_in_quadrature(one: Scatter, other: Scatter, joint: Scatter) -> Scatter:
    """Gauge scatter: the joint interval, around a value that counts a negative component as 0."""
    value = sqrt(one.value**2 + other.value**2)
    if joint.interval is None:
        return Scatter(value=value, interval=None)
    return Scatter(value=value, interval=(min(joint.interval[0], value), max(joint.interval[1], value)))


def _notes(operators: int, repeats: int, parts: int) -> tuple[str, ...]:
    notes = []
    if operators == 1:
        notes.append("one operator: the scatter between operators is not seen and not counted")
    elif operators == 2:
        notes.append("two operators: the interval of the scatter between operators is very wide")
    if parts * operators * (repeats - 1) < 10:
        notes.append("few repeats: the repeatability is known to no better than a third")
    return tuple(notes)
