"""A table of errors, told apart robustly: a smooth trend along each row, an effect of each column, and what is left.

Rows are the strings of a neck, or the necks of a template; columns are frets. A row's trend is what nut, saddle, scale and hand
do to all its frets at once: in cents it lies in the span of 1, γ − 1 and 1/(γ − 1), γ = open length over stopped length (M. B.
Anderson & R. G. Beausoleil, J. Acoust. Soc. Am. 156(1), 683 (2024), first order), in mm of slot in that span over γ: the
shorter the string, the more cents a mm makes. Rows and columns are fitted in turn by weighted least squares; what lies beyond
three standard deviations is laid aside, so that a pluck that slipped, or a slot cut wrongly once, bends nothing.

Conventions: mm; what was not read is NaN. A trend that all rows share cannot be told from the columns: their sum alone is
known.
"""

from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from fretcheck.arrays import Reals

FEWEST_FRETS = 8  # With fewer frets read a trend of three shapes would explain anything: then a row has its mean only
LAID_ASIDE = 3.0
_KEPT_SQUARE = 0.973  # mean square of a normal deviate cut off there
_MAD_TO_SD, _TURNS, _WIDEST_MM = 1.4826, 12, 10.0


def trend_shapes(gamma: Reals) -> Reals:
    """The shapes at the frets of these ratios, (frets, 3), or (frets, 1) for few; each of root mean square 1."""
    if len(gamma) < FEWEST_FRETS:
        return np.ones((len(gamma), 1))
    shapes = np.column_stack([np.ones_like(gamma), gamma - 1.0, 1.0 / (gamma - 1.0)]) / gamma[:, None]
    return np.asarray(shapes / np.sqrt(np.mean(shapes**2, axis=0)))


@dataclass(frozen=True, kw_only=True)
class TwoWay:
    """`values` = rows @ shapes.T + across @ columns.T + `left`."""

    rows: Reals  # (rows, shapes)
    columns: Reals  # (frets, across)
    columns_covariance: Reals  # (frets, across, across), the rows' trends taken as known
    left: Reals
    kept: NDArray[np.bool_]
    variance: Reals  # Of each value: its own uncertainty's and the added one
    added: float  # Variance beyond the stated uncertainties; below 0 when these are too large
    freedom: float


def two_way(values: Reals, u: Reals, *, shapes: Reals, across: Reals, row_by_row: bool = False) -> TwoWay:
    """Fit.

    `values`, `u` (shape (rows, frets)): errors, NaN where nothing was read, and their standard uncertainties. `shapes` (shape
    (frets, k)): see `trend_shapes`. `across` (shape (rows, q)): what each row gets of a column's q effects: 1, and the string's
    place for a tilt. `row_by_row`: each row has an added variance of its own; with no effects of columns, rows are then fitted
    as if alone, many at once (`added` and `freedom` are of the table as one, and mean nothing then).
    """
    read = np.isfinite(values)
    axis = 1 if row_by_row else None
    y, square = np.where(read, values, 0.0), np.where(read, u, 1.0) ** 2
    number = read.sum(axis=axis, keepdims=True)
    spent = (1 if row_by_row else len(values)) * shapes.shape[1] + (values.shape[1] - shapes.shape[1]) * across.shape[1]
    share = np.maximum(number - spent, 1.0) / np.maximum(number, 1)
    median = partial(np.nanmedian, axis=axis, keepdims=True)
    gaps = np.where(read, 0.0, np.nan)
    usual = median(square + gaps)
    kept, soft, added, variance = read, read.astype(float), np.zeros_like(usual), square
    columns = np.zeros((values.shape[1], across.shape[1]))
    for turn in range(_TURNS):
        weight = soft / np.maximum(square + added, 0.25 * square)
        rows = _solve(weight, shapes, y - across @ columns.T)[0]
        columns, covariance = _solve(weight.T, across, (y - rows @ shapes.T).T)
        left = y - rows @ shapes.T - across @ columns.T
        if turn < _TURNS // 2:
            ratio = median(np.abs(left) / np.sqrt(square) + gaps) * _MAD_TO_SD
            added = (ratio**2 / share - 1.0) * usual
        else:  # by moments, each value as the more it tells the narrower it is
            squared_weight = (kept / variance) ** 2
            moment = np.sum(squared_weight * (left**2 / (_KEPT_SQUARE * share) - square), axis=axis, keepdims=True)
            added = moment / np.maximum(np.sum(squared_weight, axis=axis, keepdims=True), np.finfo(float).tiny)
        variance = np.maximum(square + added, 0.25 * square)
        far = left**2 / np.maximum(variance, square)  # never nearer than the stated uncertainty: what is kept would shrink itself
        kept = read & (far <= LAID_ASIDE**2)
        # first by Cauchy's weights: of six strings one that slipped draws the others' residuals beyond any hard limit
        soft = read / (1.0 + far) if turn < _TURNS // 2 - 1 else kept.astype(float)
    return TwoWay(
        rows=rows,
        columns=columns,
        columns_covariance=covariance,
        left=np.where(read, left, np.nan),
        kept=kept,
        variance=variance,
        added=float(added.flat[0]),
        freedom=float(max(kept.sum() - spent, 1)),
    )


@dataclass(frozen=True, kw_only=True)
class CommonTrend:
    """mm; `rest` is what stands out from the trend through the other frets."""

    coefficients: Reals
    coefficients_covariance: Reals
    rest: Reals
    covariance_of_rest: Reals


def common_trend(errors: Reals, variance: Reals, shapes: Reals) -> CommonTrend:
    """The trend that all necks of a template share, through errors of which a few may stand far out.

    Each fret is compared with the trend through the others: a fret must not hide in a trend that it bends itself, as fret 1,
    which alone tells much of the nut's height, otherwise would. `errors`, `variance` (shape (frets,)): of independent errors.
    `shapes` (shape (frets, k)). Returns covariances that also count that the frets' own small errors bend the trend.
    """
    fit = two_way(errors[None], np.sqrt(variance)[None], shapes=shapes, across=np.zeros((1, 0)), row_by_row=True)
    own = np.maximum(fit.variance[0], variance)

    def project(weight: Reals) -> Reals:
        """What turns errors into coefficients."""
        return np.asarray(np.linalg.solve(shapes.T @ (weight[:, None] * shapes), shapes.T * weight))

    weight = fit.kept[0] / own
    others = np.array([shapes[fret] @ project(np.where(np.arange(len(own)) == fret, 0.0, weight)) for fret in range(len(own))])
    return CommonTrend(
        coefficients=project(weight) @ errors,
        coefficients_covariance=(project(weight) * own) @ project(weight).T,
        rest=errors - others @ errors,
        covariance_of_rest=np.diag(variance) + (others * own) @ others.T,
    )


def _solve(weight: Reals, design: Reals, y: Reals) -> tuple[Reals, Reals]:
    """Weighted least squares of each row of `y` on one design; rows without enough values are held by a wide prior."""
    size = design.shape[1]
    squares = (design[:, :, None] * design[:, None, :]).reshape(len(design), size * size)
    information = (weight @ squares).reshape(len(weight), size, size)
    information[:, range(size), range(size)] += 1.0 / _WIDEST_MM**2
    covariance = np.asarray(np.linalg.inv(information), dtype=np.float64)
    return np.einsum("rij,rj->ri", covariance, (weight * y) @ design), covariance
