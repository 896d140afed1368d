"""How steady the hand was, string by string; how well the open references are known; and one value a note from its plucks.

The hand's scatter is the robust scale of the differences of one pluck and the next: a Student-t distribution of `FREEDOM` degrees
of freedom, its scale by iterated weights (K. L. Lange, R. J. A. Little & J. M. G. Taylor, J. Am. Stat. Assoc. 84, 881, 1989, from
memory), drawn toward the strings' common scatter and that toward the usual one, so that few repeats do not claim too much. Where
hardly a note was plucked twice it is told by the neck's own smoothness: what is left of the notes after a smooth curve for every
string and a straight line across every fret. It is wider by `Hand.low` at fret 1, falling to nothing at fret `EVEN_FROM`.

A pluck may have slipped, and a note may have an error of its own that no part explains. Both are weighed for every note: which
plucks slipped, if any, by their agreement with each other and with what is expected of the note.

Conventions: Cents. A cell is a string, a fret and a manner of pressing. The scatter is that of a single pluck, the listening's
own part aside.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from operator import mul
from statistics import median

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.diagnosis.model.as_designed import Cell
from fretcheck.diagnosis.observation import Observation

FREEDOM = 4.0
USUAL_CENTS = 0.8  # hand repeatability on a fretted note; common practice, no source
USUAL_WORTH = 4.0  # The usual scatter counts like this many repeats; the strings' common one like twice as many
# Squared scale that the capped Student-t weights find in normal residuals of variance 1 (fixed point, by quadrature)
NORMAL_SHARE = 0.774
LEAST_CENTS = 0.1
EVEN_FROM = 5
# How much wider the hand scatters at fret 1, with prior weights: up to three times; common practice, no source
LOW_FRETS = ((0.0, 0.3), (0.5, 0.3), (1.0, 0.2), (1.5, 0.12), (2.0, 0.08))
ENOUGH_REPEATS = 0.25  # With fewer repeats than this share of the notes the neck's smoothness is asked too
REMAINDER_CENTS = 0.15  # Of what the smooth curves leave, this is the notes' own; common practice, no source
SMOOTH_STEPS = 8
SLIPPED_SHARE, SLIPPED_TIMES = 0.01, 8.0  # plucks that slipped: how many, and how much wider they scatter
MOST_SLIPPED = 2
ODD_SHARE, ODD_CENTS = 0.01, 4.0  # notes with an error of their own: how many, and how large; common practice, no source
OPEN_USUAL_CENTS, OPEN_WORTH = 0.15, 4.0  # scatter of open plucks about their drift, and what it counts against theirs
OPEN_UNHEARD_CENTS = 0.3
HUBER = 1.345  # 95 % efficiency for normal scatter; Huber 1964, from memory


@dataclass(frozen=True, kw_only=True)
class Hand:
    """How a hand scatters."""

    cents: Mapping[int, float]  # Of a single pluck, per string that has fretted notes, from fret `EVEN_FROM` on
    low: float  # By how much it is wider at fret 1, as a share
    repeats: Mapping[int, int]  # Per string: plucks of a note beyond its first

    def at(self, cell: Cell) -> float:
        """Of a single pluck of this cell."""
        return self.cents[cell.string] * wider_at(cell.fret, self.low)


@dataclass(frozen=True, kw_only=True)
class Combined:
    """The plucks of each cell as one value, shape (cells,)."""

    cells: tuple[Cell, ...]
    cents: Reals
    u_cents: Reals  # Of the value, the hand's scatter included
    odd_cents: Reals  # Standard deviation of an error that the note seems to have of its own, beside what all notes have


def hand_scatter(observations: Sequence[Observation]) -> Hand:
    """Scatter of the hand, from the repeats and, where these are few, from the smoothness of the notes."""
    cells = _grouped(observations)
    gaps = [
        (cell, (later.cents - earlier.cents) / math.sqrt(2.0))
        for cell, plucks in cells.items()
        for earlier, later in pairwise(plucks)
    ]
    repeats = {string: sum(cell.string == string for cell, _ in gaps) for string in {cell.string for cell in cells}}
    if len(gaps) < ENOUGH_REPEATS * len(cells):
        gaps += _roughness(cells)
    sizes, frets = np.array([gap for _, gap in gaps]), np.array([cell.fret for cell, _ in gaps])
    low = _low(sizes, frets)
    even = sizes / np.array([wider_at(fret, low) for fret in frets])
    together = _scale(even, toward=USUAL_CENTS, worth=USUAL_WORTH)
    scatter = {}
    for string in sorted(repeats):
        own = np.array([cell.string == string for cell, _ in gaps], dtype=bool)
        total = _scale(even[own], toward=together, worth=2.0 * USUAL_WORTH)
        listening = np.mean([pluck.u_cents**2 for cell, plucks in cells.items() if cell.string == string for pluck in plucks])
        scatter[string] = max(math.sqrt(max(total**2 - float(listening), 0.0)), LEAST_CENTS)
    return Hand(cents=scatter, low=low, repeats=repeats)


def open_uncertainty(observations: Sequence[Observation], strings: int) -> list[float]:
    """Per string: standard uncertainty of the open note from which all its fretted ones are counted.

    The open plucks' scatter about a line in time is pooled over the strings and drawn toward the usual; √n of them make the
    reference, which follows the drift from one to the next on a path not seen: taken as evenly likely within half the step
    (JCGM 100, 4.3.7).
    """
    plucks = {number: [] for number in range(1, strings + 1)}  # type: dict[int, list[Observation]]
    for one in observations:
        if one.fret == 0 and one.press is None:
            plucks[one.string].append(one)
    about = {number: _about_a_line(own) for number, own in plucks.items()}
    squares, freedom = sum(left for left, _ in about.values()), sum(count for _, count in about.values())
    together = (OPEN_WORTH * OPEN_USUAL_CENTS**2 + squares) / (OPEN_WORTH + freedom)
    answer = []
    for number, own in plucks.items():
        if not own:
            answer.append(OPEN_UNHEARD_CENTS)
            continue
        scatter = (OPEN_WORTH * together + about[number][0]) / (OPEN_WORTH + about[number][1])
        listening = float(np.mean([one.u_cents**2 for one in own]))
        steps = [later.cents - earlier.cents for earlier, later in pairwise(sorted(own, key=lambda one: one.start_s))]
        drift = max(float(np.mean(np.square(steps))) - 2.0 * (scatter + listening), 0.0) if steps else 0.0
        answer.append(math.sqrt(max(LEAST_CENTS**2, scatter + listening) / len(own) + drift / 12.0))
    return answer


def combine(
    observations: Sequence[Observation], hand: Hand, *, expected: Mapping[Cell, tuple[float, float]] | None = None
) -> Combined:
    """One value a cell, over which of its plucks slipped and whether the note has an error of its own.

    `expected`: cell → what a model says of it: cents and their standard uncertainty, what notes usually have of their own
    included.
    """
    cells = _grouped(observations)
    names = list(cells)
    cents, u, odd = np.zeros(len(cells)), np.zeros(len(cells)), np.zeros(len(cells))
    for count in {len(plucks) for plucks in cells.values()}:
        here = [number for number, cell in enumerate(names) if len(cells[cell]) == count]
        values = np.array([[pluck.cents for pluck in cells[names[n]]] for n in here])
        variance = np.array([[hand.at(names[n]) ** 2 + pluck.u_cents**2 for pluck in cells[names[n]]] for n in here])
        prior = None if expected is None else np.array([expected[names[n]] for n in here])
        cents[here], u[here], odd[here] = _weighed(values, variance, prior)
    return Combined(cells=tuple(names), cents=cents, u_cents=u, odd_cents=odd)


def robust_mean(values: Sequence[float], *, scale: float) -> float:
    """Huber's M-estimate of location, reweighting from the median (P. J. Huber, Ann. Math. Stat. 35, 73, 1964; from memory).

    `scale` is the standard deviation of a good pluck. One bad pluck of three does not carry the mean away; of two, nobody knows
    which is bad, and it is their mean.
    """
    location = float(median(values))
    for _ in range(50):
        weights = [min(1.0, HUBER * max(scale, LEAST_CENTS) / max(abs(one - location), 1e-12)) for one in values]
        before, location = location, float(sum(map(mul, weights, values)) / sum(weights))
        if abs(location - before) < 1e-9:
            break
    return location


def _weighed(values: Reals, variance: Reals, prior: Reals | None) -> tuple[Reals, Reals, Reals]:
    """Value, its standard uncertainty and its own error's standard deviation, for notes of equally many plucks.

    `values` and `variance` have the shape (notes, plucks), `prior` (notes, 2): cents and standard uncertainty. Sets of slipped
    plucks are weighed by the normal density of the plucks about their weighted mean times that of the mean about the prior.
    """
    count = values.shape[1]
    chosen = [set(some) for size in range(min(count, MOST_SLIPPED) + 1) for some in combinations(range(count), size)]
    slipped = np.array([[one in some for one in range(count)] for some in chosen])
    spread = variance[:, None, :] * np.where(slipped, SLIPPED_TIMES**2, 1.0)
    total = np.sum(1.0 / spread, axis=2)
    mean = np.sum(values[:, None, :] / spread, axis=2) / total
    log = -0.5 * np.sum(np.log(spread) + (values[:, None, :] - mean[:, :, None]) ** 2 / spread, axis=2) - 0.5 * np.log(total)
    log = log + np.sum(slipped, axis=1) * math.log(SLIPPED_SHARE / (1.0 - SLIPPED_SHARE))
    logs = log[:, :, None]
    if prior is not None:
        odd_variance = np.array([0.0, ODD_CENTS**2])
        wide = (prior[:, 1] ** 2)[:, None, None] + odd_variance + 1.0 / total[:, :, None]
        far = mean - prior[:, :1]
        logs = logs - 0.5 * (np.log(wide) + far[:, :, None] ** 2 / wide) + np.log([1.0 - ODD_SHARE, ODD_SHARE])
    weight = np.exp(logs - np.max(logs, axis=(1, 2), keepdims=True))
    weight /= np.sum(weight, axis=(1, 2), keepdims=True)
    of_set = np.sum(weight, axis=2)
    value = np.sum(of_set * mean, axis=1)
    u_squared = 1.0 / np.sum(of_set * total, axis=1) + np.sum(of_set * (mean - value[:, None]) ** 2, axis=1)
    if prior is None:
        return value, np.sqrt(u_squared), np.zeros(len(value))
    odd = np.sum(weight[:, :, 1], axis=1)
    own = np.minimum((u_squared + prior[:, 1] ** 2) * odd / np.maximum(1.0 - odd, 1e-9), ODD_CENTS**2)
    return value, np.sqrt(u_squared), np.sqrt(own)


def _grouped(observations: Sequence[Observation]) -> dict[Cell, list[Observation]]:
    cells: dict[Cell, list[Observation]] = {}
    for one in observations:
        if one.fret > 0:
            cells.setdefault(Cell(string=one.string, fret=one.fret, press=one.press), []).append(one)
    return cells


def wider_at(fret: int, low: float) -> float:
    """How much wider than up the neck a hand scatters at a fret."""
    return 1.0 + low * max(EVEN_FROM - fret, 0) / (EVEN_FROM - 1)


def _low(gaps: Reals, frets: Reals) -> float:
    """How much wider the hand scatters at fret 1: mean over `LOW_FRETS` by the likelihood of the gaps (Student-t)."""
    logs = []
    for low, share in LOW_FRETS:
        wider = np.array([wider_at(int(fret), low) for fret in frets])
        scale = _scale(gaps / wider, toward=USUAL_CENTS, worth=USUAL_WORTH) * wider
        logs.append(
            math.log(share) - float(np.sum(np.log(scale) + 0.5 * (FREEDOM + 1.0) * np.log1p((gaps / scale) ** 2 / FREEDOM)))
        )
    weight = np.exp(np.array(logs) - max(logs))
    return float(weight @ np.array([low for low, _ in LOW_FRETS]) / np.sum(weight))


def _scale(gaps: Reals, *, toward: float, worth: float) -> float:
    """Scale of Student-t residuals as the standard deviation it would have if normal, drawn toward a usual one."""
    usual = NORMAL_SHARE * toward**2
    squared = usual
    for _ in range(20):
        weight = np.minimum((FREEDOM + 1.0) / (FREEDOM + gaps**2 / squared), 1.0)
        squared = (worth * usual + float(np.sum(weight * gaps**2))) / (worth + float(np.sum(weight)))
    return math.sqrt(squared / NORMAL_SHARE)


def _roughness(cells: Mapping[Cell, Sequence[Observation]]) -> list[tuple[Cell, float]]:
    """What smooth curves leave of the notes as played, scaled to what a single pluck would leave; empty where they fit anything.

    A curve for every string (level, stretch up the neck, its bend, and what is more at the low frets) and a line across every
    fret, as a displaced or tilted one makes it; robust by the weights of a Student-t distribution.
    """
    played = [cell for cell in cells if cell.press is None]
    strings, frets = sorted({cell.string for cell in played}), sorted({cell.fret for cell in played})
    string = np.array([strings.index(cell.string) for cell in played])
    fret = np.array([cell.fret for cell in played])
    place = np.array([frets.index(one) for one in fret])
    if len(strings) < 3 or len(frets) < 6:
        return []
    up, side = fret / 12.0, 1.0 - 2.0 * string / (len(strings) - 1)
    curves = [
        (string == one) * shape for one in range(len(strings)) for shape in (1.0 + 0.0 * up, up, up**2, np.exp(-fret / 2.0))
    ]
    across = [(place == one) * shape for one in range(len(frets)) for shape in (1.0, side)]
    design = np.array(curves + across).T
    y = np.array([robust_mean([pluck.cents for pluck in cells[cell]], scale=USUAL_CENTS) for cell in played])
    freedom = len(y) - int(np.linalg.matrix_rank(design))
    if freedom < len(y) / 4:
        return []
    weight = np.ones(len(y))
    left = y
    for _ in range(SMOOTH_STEPS):
        root = np.sqrt(weight)
        fitted, *_ = np.linalg.lstsq(design * root[:, None], y * root, rcond=None)
        left = (y - design @ fitted) * math.sqrt(len(y) / freedom)
        scale = _scale(left, toward=USUAL_CENTS, worth=USUAL_WORTH)
        weight = np.minimum((FREEDOM + 1.0) / (FREEDOM + (left / scale) ** 2), 1.0)
    hand = math.sqrt(max(1.0 - (REMAINDER_CENTS / max(scale, REMAINDER_CENTS)) ** 2, 0.0))
    return [(cell, float(one) * hand * math.sqrt(len(cells[cell]))) for cell, one in zip(played, left, strict=True)]


def _about_a_line(plucks: Sequence[Observation]) -> tuple[float, int]:
    """Sum of squares of open plucks about a straight line in time, and its degrees of freedom."""
    if len(plucks) < 3 or len({one.start_s for one in plucks}) < 2:
        return 0.0, 0
    line = np.column_stack([np.ones(len(plucks)), [one.start_s for one in plucks]])
    cents = np.array([one.cents for one in plucks])
    fitted, *_ = np.linalg.lstsq(line, cents, rcond=None)
    return float(np.sum((cents - line @ fitted) ** 2)), len(plucks) - 2
