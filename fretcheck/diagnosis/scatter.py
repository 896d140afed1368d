"""How steady the hand was, string by string, from the repeats of each note; and one value a cell from its plucks.

The scatter is estimated robustly from the differences of one pluck and the next: a Student-t distribution of `FREEDOM` degrees of
freedom, its scale by iterated weights (K. L. Lange, R. J. A. Little & J. M. G. Taylor, J. Am. Stat. Assoc. 84, 881, 1989, from
memory), drawn toward the strings' common scatter and that toward the usual one, so that few repeats do not claim too much.

A single pluck far from what is expected of its note is weighed by how probably it was a good one (a share `SPOILED_SHARE` of all
plucks slips, by `SPOILED_TIMES` the usual scatter). Weights falling from one standard deviation on would take a tenth of the
power from good plucks, and most where a real fault sets the notes of some strings apart from what is expected.

Conventions
-----------
Cents. A cell is a string, a fret and a manner of pressing. The scatter is that of a single pluck, the listening's own part aside.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fretcheck.diagnosis.as_designed import Cell
from fretcheck.diagnosis.observation import Observation

Reals = NDArray[np.float64]

FREEDOM = 4.0
USUAL_CENTS = 0.8  # hand repeatability on a fretted note; common practice, no source
USUAL_WORTH = 4.0
"""The usual scatter counts like this many repeats; the strings' common one like twice as many."""
NORMAL_SHARE = 0.774
"""Squared scale that the capped Student-t weights find in normal residuals of variance 1 (fixed point, by quadrature)."""
LEAST_CENTS = 0.1
SPOILED_SHARE, SPOILED_TIMES = 0.01, 8.0  # plucks that slipped: how many, and how much wider they scatter
OPEN_USUAL_CENTS = 0.3
HUBER = 1.345  # 95 % efficiency for normal scatter; Huber 1964, from memory


@dataclass(frozen=True, kw_only=True)
class Combined:
    """The plucks of each cell as one value, shape (cells,)."""

    cells: tuple[Cell, ...]
    cents: Reals
    u_cents: Reals
    """Of the value, the hand's scatter included."""
    plucks: NDArray[np.intp]


def hand_scatter(observations: Sequence[Observation]) -> tuple[dict[int, float], dict[int, int]]:
    """Scatter of a pluck for every string that has fretted notes, and how many repeats (beyond the first) tell it."""
    cells = _grouped(observations)
    gaps: dict[int, list[float]] = {cell.string: [] for cell in cells}
    listening: dict[int, list[float]] = {string: [] for string in gaps}
    for cell, plucks in cells.items():
        listening[cell.string] += [pluck.u_cents**2 for pluck in plucks]
        cents = [pluck.cents for pluck in plucks]
        gaps[cell.string] += [(later - earlier) / math.sqrt(2.0) for earlier, later in pairwise(cents)]
    together = _scale([gap for own in gaps.values() for gap in own], toward=USUAL_CENTS, worth=USUAL_WORTH)
    scatter = {}
    for string, own in gaps.items():
        total = _scale(own, toward=together, worth=2.0 * USUAL_WORTH)
        heard = float(np.mean(listening[string]))
        scatter[string] = max(math.sqrt(max(total**2 - heard, 0.0)), LEAST_CENTS)
    return scatter, {string: len(own) for string, own in gaps.items()}


def scatter_about(
    observations: Sequence[Observation], scatter: Mapping[int, float], *, expected: Mapping[Cell, tuple[float, float]]
) -> dict[int, float]:
    """Scatter of a pluck once a model says what each note is: one step of expectation–maximisation from that of the repeats.

    The notes' own agreement with the neck as it is understood tells as much of the hand as the repeats do (A. P. Dempster,
    N. M. Laird & D. B. Rubin, J. R. Stat. Soc. B 39, 1, 1977; from memory).

    Parameters
    ----------
    observations : sequence of Observation
    scatter : mapping
        Per string, from the repeats.
    expected : mapping
        Cell → its cents and their standard uncertainty.
    """
    squares, counts, listening = dict.fromkeys(scatter, 0.0), dict.fromkeys(scatter, 0.0), dict.fromkeys(scatter, 0.0)
    for cell, plucks in _grouped(observations).items():
        middle, u = expected[cell]
        heard = np.array([pluck.u_cents for pluck in plucks])
        far = np.array([pluck.cents for pluck in plucks]) - middle
        trust = _trust(far / np.hypot(np.hypot(scatter[cell.string], heard), u))
        squares[cell.string] += float(np.sum(trust * (far**2 + u**2)))
        listening[cell.string] += float(np.sum(trust * heard**2))
        counts[cell.string] += float(np.sum(trust))
    together = (USUAL_WORTH * USUAL_CENTS**2 + sum(squares.values())) / (USUAL_WORTH + sum(counts.values()))
    worth = 2.0 * USUAL_WORTH
    return {
        string: max(
            math.sqrt(max((worth * together + squares[string] - listening[string]) / (worth + counts[string]), 0.0)), LEAST_CENTS
        )
        for string in scatter
    }


def open_uncertainty(observations: Sequence[Observation], strings: int) -> list[float]:
    """Per string: standard uncertainty of the open note from which its fretted ones are counted."""
    answer = []
    for number in range(1, strings + 1):
        plucks = [one for one in observations if one.string == number and one.fret == 0]
        if not plucks:
            answer.append(OPEN_USUAL_CENTS)
            continue
        listening = math.sqrt(float(np.mean([one.u_cents**2 for one in plucks])))
        answer.append(max(listening, LEAST_CENTS) / math.sqrt(len(plucks)))
    return answer


def combine(
    observations: Sequence[Observation],
    scatter: Mapping[int, float],
    *,
    expected: Mapping[Cell, tuple[float, float]] | None = None,
) -> Combined:
    """One value a cell. With what a model expects of each cell (cents, their uncertainty), plucks far from it weigh less."""
    cells = _grouped(observations)
    values, uncertainties, counts = [], [], []
    for cell, plucks in cells.items():
        cents = np.array([pluck.cents for pluck in plucks])
        heard = np.array([pluck.u_cents for pluck in plucks])
        spread = np.hypot(scatter[cell.string], heard)
        weight = np.ones(len(plucks))
        if expected is not None and cell in expected:
            middle, u = expected[cell]
            weight = _trust((cents - middle) / np.hypot(spread, u))
        values.append(float(np.sum(weight * cents) / np.sum(weight)))
        uncertainties.append(float(np.sqrt(np.mean(spread**2) / np.sum(weight))))
        counts.append(len(plucks))
    return Combined(
        cells=tuple(cells), cents=np.array(values), u_cents=np.array(uncertainties), plucks=np.array(counts, dtype=np.intp)
    )


def robust_mean(values: Sequence[float], *, scale: float) -> float:
    """Huber's M-estimate of location, reweighting from the median (P. J. Huber, Ann. Math. Stat. 35, 73, 1964; from memory).

    `scale` is the standard deviation of a good pluck. One bad pluck of three does not carry the mean away; of two, nobody knows
    which is bad, and it is their mean.
    """
    plucks = np.asarray(values, dtype=float)
    location = float(np.median(plucks))
    for _ in range(50):
        far = np.abs(plucks - location) / max(scale, LEAST_CENTS)
        moved = float(np.average(plucks, weights=np.minimum(1.0, HUBER / np.maximum(far, 1e-12))))
        if abs(moved - location) < 1e-9:
            break
        location = moved
    return location


def _trust(far: Reals) -> Reals:
    """Mean inverse variance, beside a good pluck's, of plucks so many standard deviations out."""
    narrowed = 1.0 - SPOILED_TIMES**-2
    log_odds = math.log(SPOILED_SHARE / (1.0 - SPOILED_SHARE) / SPOILED_TIMES) + 0.5 * narrowed * far**2
    return np.asarray(1.0 - narrowed / (1.0 + np.exp(-np.minimum(log_odds, 700.0))))


def _grouped(observations: Sequence[Observation]) -> dict[Cell, list[Observation]]:
    cells: dict[Cell, list[Observation]] = {}
    for one in observations:
        if one.fret > 0:
            cells.setdefault(Cell(string=one.string, fret=one.fret, press=one.press), []).append(one)
    return cells


def _scale(gaps: Sequence[float], *, toward: float, worth: float) -> float:
    """Scale of Student-t residuals as the standard deviation it would have if normal, drawn toward a usual one."""
    if not gaps:
        return toward
    residuals = np.asarray(gaps)
    usual = NORMAL_SHARE * toward**2
    squared = usual
    for _ in range(20):
        weight = np.minimum((FREEDOM + 1.0) / (FREEDOM + residuals**2 / squared), 1.0)
        squared = (worth * usual + float(np.sum(weight * residuals**2))) / (worth + float(np.sum(weight)))
    return math.sqrt(squared / NORMAL_SHARE)
