"""What nut, saddle, scale and hand do to all frets at once, and how it is taken out of the frets' errors.

In cents these effects lie in the span of 1, γ − 1 and 1/(γ − 1) with γ = 2^(fret/12) (M. B. Anderson & R. G. Beausoleil, J.
Acoust. Soc. Am. 156(1), 683 (2024), first order); in mm of slot each is divided by γ: the shorter the string, the more cents
a mm makes.

Conventions
-----------
Shapes are scaled to a root mean square of 1 over the frets. mm throughout.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from fretcheck.lots.variance_components import Floats

NAMES = ("even in cents", "growing toward the body", "nut height")
FEWEST_FRETS = 8
"""With fewer frets read a trend of three shapes would explain anything."""
_BISQUARE = 4.685
_MAD_TO_SD = 1.4826


@dataclass(frozen=True, kw_only=True)
class CommonTrend:
    """The trend through the frets' errors, what stands out from it, and the covariance of that.

    Each fret is compared with the trend through the others: a fret must not hide in a trend that it bends itself, as fret 1,
    which alone tells much of the nut's height, otherwise would.
    """

    values: Floats
    rest: Floats
    covariance_of_rest: Floats


def trend_shapes(frets: Sequence[int]) -> Floats:
    """The three shapes at the given frets, shape (frets, 3)."""
    gamma = 2.0 ** (np.array(frets) / 12.0)
    shapes = np.column_stack([np.ones_like(gamma), gamma - 1.0, 1.0 / (gamma - 1.0)]) / gamma[:, None]
    return np.asarray(shapes / np.sqrt(np.mean(shapes**2, axis=0)))


def common_trend(errors: Floats, covariance: Floats, shapes: Floats) -> CommonTrend:
    """Robust trend through errors of which a few may stand far out.

    Parameters
    ----------
    errors : ndarray, shape (frets,)
    covariance : ndarray, shape (frets, frets)
        Of the errors.
    shapes : ndarray, shape (frets, 3)

    Returns
    -------
    CommonTrend
        `covariance_of_rest` also counts that the other frets' own small errors bend the trend a little.
    """
    # Own noise of each fret, without what the necks' trends have in common: the part orthogonal to the shapes.
    across = np.eye(len(errors)) - shapes @ np.linalg.pinv(shapes)
    noise = float(np.sqrt(np.trace(across @ covariance @ across) / (len(errors) - shapes.shape[1])))
    by_median = _least_median(errors, shapes)
    scale = max(noise, _MAD_TO_SD * float(np.median(np.abs(errors - shapes @ by_median))))
    starts = (
        by_median,
        np.asarray(np.linalg.lstsq(shapes, errors, rcond=None)[0]),
    )  # the first alone would forsake fret 1 too easily
    coefficients, weights = min((_bisquare(errors, shapes, start, scale) for start in starts), key=lambda fit: -fit[1].sum())
    others = np.zeros((len(errors), len(errors)))
    for fret in range(len(errors)):
        without = weights.copy()
        without[fret] = 0.0
        others[fret] = shapes[fret] @ np.linalg.pinv(shapes * np.sqrt(without)[:, None]) * np.sqrt(without)
    keep = np.eye(len(errors)) - others
    own_variance = max(0.0, scale**2 - noise**2)
    return CommonTrend(
        values=np.asarray(shapes @ coefficients),
        rest=np.asarray(keep @ errors),
        covariance_of_rest=np.asarray(keep @ covariance @ keep.T + own_variance * others @ others.T),
    )


def _bisquare(errors: Floats, shapes: Floats, coefficients: Floats, scale: float) -> tuple[Floats, Floats]:
    """Coefficients and weights after reweighting to a standstill."""
    weights = np.ones(len(errors))
    for _ in range(50):
        ratio = (errors - shapes @ coefficients) / (_BISQUARE * scale)
        weights = np.where(np.abs(ratio) < 1.0, (1.0 - ratio**2) ** 2, 0.0)
        before = coefficients
        root = np.sqrt(weights)
        coefficients = np.asarray(np.linalg.lstsq(shapes * root[:, None], errors * root, rcond=None)[0])
        if np.allclose(coefficients, before, rtol=0.0, atol=1e-9):
            break
    return np.asarray(coefficients), weights


def _least_median(errors: Floats, shapes: Floats) -> Floats:
    """Coefficients of the exact fit through some fret for each shape that leaves the smallest median error."""
    triples = np.array(list(combinations(range(len(errors)), shapes.shape[1])))
    candidates = np.linalg.solve(shapes[triples], errors[triples][:, :, None])[:, :, 0]
    medians = np.median(np.abs(errors[None, :] - candidates @ shapes.T), axis=1)
    return np.asarray(candidates[int(np.argmin(medians))])
