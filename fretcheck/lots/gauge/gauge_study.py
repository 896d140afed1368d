"""Gauge study: how much of what is read comes from the measuring, how much from the necks.

Necks × operators × repeats. One inspection shifts its notes together (the hand's pressure that day, more at some frets than at
others but alike on all strings), and each of its strings by itself (the open note that it is judged from): its notes are not so
many repeats. Every inspection's values are taken apart into what its strings share, fret by fret; the strings' means beside that;
and the notes about both. These three strata together make the scatter of a single note. However many frets show it, what the
strings share counts as one repeat an inspection, and as one of an operator: where nothing shifts the intervals are too wide, not
too narrow.

Sources: a split plot's analysis of variance by strata, e. g. D. C. Montgomery, "Design and Analysis of Experiments", ch. 14;
R. K. Burdick, C. M. Borror & D. C. Montgomery, J. Qual. Technol. 35, 342 (2003); JCGM 100:2008 (GUM) H.5 for one value an
inspection; intervals by modified large samples, R. K. Burdick & F. A. Graybill, "Confidence Intervals on Variance Components"
(1992). The books from memory, checked against published figures.

Conventions: values in one unit (cents for a note). Scatter is a standard deviation. Share of tolerance = 6 × scatter / (full
width of the tolerance). Distinct categories = 1.41 × scatter of the notes and necks / scatter of the gauge, rounded down. A
component whose estimate is negative is given as 0.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from math import floor, sqrt

import numpy as np
from scipy.special import chdtri, fdtri

from fretcheck.arrays import Reals
from fretcheck.errors import DiagnosisRefusedError

FEWEST_NECKS, FEWEST_REPEATS = 2, 2


@dataclass(frozen=True, kw_only=True)
class MeanSquare:
    """A mean square and its degrees of freedom."""

    value: float
    freedom: int


Term = tuple[float, MeanSquare]


@dataclass(frozen=True, kw_only=True)
class Scatter:
    """A standard deviation with its interval."""

    value: float
    interval: tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class GaugeResult:
    """What a gauge study found, in the unit of the values."""

    repeatability: Scatter  # Of a single note between inspections
    of_inspection: Scatter  # What one inspection shifts together; with the next two it makes the repeatability
    of_string: Scatter
    of_note: Scatter
    reproducibility: Scatter | None  # Between operators: of the same on all necks, and neck by neck; None with one operator
    gauge: Scatter
    between_parts: float  # Between notes and necks
    distinct_categories: int | None  # None when the gauge shows no scatter at all


def gauge_study(values: Reals, strings: Sequence[int], frets: Sequence[int], *, confidence: float = 0.90) -> GaugeResult:
    """Analyse a balanced study.

    `values` (shape (necks, operators, repeats, notes)). `strings`, `frets`: of each note. `confidence`: of the intervals.
    Raises DiagnosisRefusedError with fewer than 2 necks or 2 repeats.
    """
    necks, operators, repeats, notes = values.shape
    if necks < FEWEST_NECKS or repeats < FEWEST_REPEATS:
        raise DiagnosisRefusedError(
            f"{necks} necks and {repeats} repeats are too few for a study: it takes {FEWEST_NECKS} and {FEWEST_REPEATS}"
        )
    strata = _strata(strings, frets)
    free = [1, *(round(float(np.trace(one))) for one in strata[1:])]

    def squares(deviations: Reals, freedom: int) -> list[Term]:
        """The strata of deviations that each hold so many degrees of freedom, as shares of a single note's variance."""
        found = [(k, freedom * max(k, 1), float(np.sum((deviations @ one) ** 2))) for one, k in zip(strata, free, strict=True)]
        return [(k / notes, MeanSquare(value=square / of, freedom=of)) for k, of, square in found]

    def scatter(*terms: tuple[float, Sequence[Term]]) -> Scatter:
        return scatter_with_interval([(by * w, square) for by, some in terms for w, square in some], confidence=confidence)

    cells = values.mean(axis=2)
    repeat = squares(values - cells[:, :, None], necks * operators * (repeats - 1))
    repeatability, reproducibility, joint, error = scatter((1, repeat)), None, scatter((1, repeat)), repeat
    if operators > 1:
        of_operator = cells.mean(axis=0) - cells.mean(axis=(0, 1))
        apart = cells - cells.mean(axis=1, keepdims=True) - of_operator
        crossed = error = squares(sqrt(repeats) * apart, (necks - 1) * (operators - 1))
        operator = squares(sqrt(necks * repeats) * of_operator, operators - 1)
        cell, person = 1 / repeats, 1 / (necks * repeats)
        reproducibility = scatter((person, operator), (cell - person, crossed), (-cell, repeat))
        joint = scatter((person, operator), (cell - person, crossed), (1 - cell, repeat))
    value = sqrt(repeatability.value**2 + (reproducibility.value**2 if reproducibility else 0.0))  # a negative part counts as 0
    of_part = cells.mean(axis=1)
    part = operators * repeats * float(np.var(of_part)) * of_part.size / (of_part.size - 1)
    between = sqrt(max(0.0, part - sum(w * square.value for w, square in error)) / (operators * repeats))
    whole, string, note = (square for _, square in repeat)
    shared, apart_strings = len(set(frets)), len(set(strings))
    return GaugeResult(
        repeatability=repeatability,
        of_inspection=scatter((1 / notes, [(1.0, whole), (-1.0, string), (1.0 - shared, note)])),
        of_string=scatter((apart_strings / notes, [(1.0, string), (-1.0, note)])),
        of_note=scatter((1, [(1.0, note)])),
        reproducibility=reproducibility,
        gauge=Scatter(value=value, interval=(min(joint.interval[0], value), max(joint.interval[1], value))),
        between_parts=between,
        distinct_categories=None if value == 0 else floor(sqrt(2) * between / value),
    )


def _strata(strings: Sequence[int], frets: Sequence[int]) -> list[Reals]:
    """What takes an inspection's notes apart, each (notes, notes): what the strings share, the strings, the notes."""
    of_fret, of_string = (np.equal.outer(places, np.unique(places)).astype(float) for places in (frets, strings))
    shared, both = (one @ np.linalg.pinv(one) for one in (of_fret, np.hstack([of_fret, of_string])))
    return [shared, both - shared, np.eye(len(frets)) - both]


def scatter_with_interval(terms: Sequence[Term], *, confidence: float) -> Scatter:
    """Standard deviation from a weighted sum of mean squares, with its modified-large-sample interval.

    `terms` (weight, MeanSquare): the variance is the sum of weight × mean square; weights may be negative, the first is
    positive. `confidence`: two-sided.
    """
    variance = sum(weight * square.value for weight, square in terms)
    added = [(w, s) for w, s in terms if w > 0]
    taken = [(-w, s) for w, s in terms if w < 0]
    tail = (1 - confidence) / 2
    down = _spread(added, taken, tail=tail, upper=False)
    up = _spread(added, taken, tail=tail, upper=True)
    low, high = sqrt(max(0.0, variance - sqrt(max(0.0, down)))), sqrt(max(0.0, variance + sqrt(max(0.0, up))))
    return Scatter(value=sqrt(max(0.0, variance)), interval=(low, high))


def _spread(added: Sequence[Term], taken: Sequence[Term], *, tail: float, upper: bool) -> float:
    """Square of the distance from estimate to limit: Burdick & Graybill 1992, table 3.4 (sums) and 3.3 (differences)."""

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
