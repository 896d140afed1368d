"""The trend that all necks of a template share, and how each fret stands out from it.

Each fret is compared with the trend through the others: a fret must not hide in a trend that it bends itself, as fret 1, which
alone tells much of the nut's height, otherwise would.

Source: least median of squares and reweighted least squares, P. J. Rousseeuw, J. Am. Stat. Assoc. 79, 871 (1984), with its factor
for few points.
"""

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from fretcheck.arrays import Reals
from fretcheck.lots.template.two_way import LAID_ASIDE

_MAD_TO_SD = 1.4826
Mask = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class CommonTrend:
    """mm; `rest` is what stands out from the trend through the other frets."""

    coefficients: Reals
    coefficients_covariance: Reals
    rest: Reals
    covariance_of_rest: Reals


def common_trend(errors: Reals, variance: Reals, shapes: Reals) -> CommonTrend:
    """Robust trend through errors of which a few may stand far out.

    `errors`, `variance` (shape (frets,)): of independent errors. `shapes` (shape (frets, k)).
    Returns the covariances also count that the frets' own small errors bend the trend.
    """
    count = len(shapes)
    sigma = np.sqrt(variance)
    # The least median alone would forsake fret 1 too easily, least squares a fret that is out: what keeps most is taken.
    starts = (np.asarray(np.linalg.lstsq(shapes, errors, rcond=None)[0]), _least_median(errors / sigma, shapes / sigma[:, None]))
    fits = [_reweighted(errors, variance, shapes, start) for start in starts]
    kept, own, project = max(fits, key=lambda fit: int(fit[0].sum()))
    others = np.array([shapes[fret] @ _project(shapes, kept / own * (np.arange(count) != fret)) for fret in range(count)])
    return CommonTrend(
        coefficients=project @ errors,
        coefficients_covariance=(project * own) @ project.T,
        rest=errors - others @ errors,
        covariance_of_rest=np.diag(variance) + (others * own) @ others.T,
    )


def _reweighted(errors: Reals, variance: Reals, shapes: Reals, start: Reals) -> tuple[Mask, Reals, Reals]:
    """Least squares with frets far out laid aside: those kept, variance with the frets' own scatter, errors to coefficients."""
    count, shape = shapes.shape
    left = errors - shapes @ start
    extra = (_MAD_TO_SD * (1.0 + 5.0 / (count - shape)) * float(np.median(np.abs(left)))) ** 2 - float(np.median(variance))
    for _ in range(6):
        own = variance + max(0.0, extra)
        kept = left**2 <= LAID_ASIDE**2 * own
        project = _project(shapes, kept / own)
        left = errors - shapes @ (project @ errors)
        extra = float(np.sum((left**2 - variance)[kept] / own[kept]) / np.sum(1.0 / own[kept]))
        extra *= kept.sum() / max(kept.sum() - shape, 1)
    return kept, own, project


def _project(shapes: Reals, weight: Reals) -> Reals:
    """What turns errors into coefficients, by weighted least squares."""
    return np.asarray(np.linalg.solve(shapes.T @ (weight[:, None] * shapes), shapes.T * weight))


def _least_median(errors: Reals, shapes: Reals) -> Reals:
    """Coefficients of the exact fit through as many frets as there are shapes that leaves the smallest median error."""
    chosen = np.array(list(combinations(range(len(errors)), shapes.shape[1])))
    candidates = np.linalg.solve(shapes[chosen], errors[chosen][:, :, None])[:, :, 0]
    medians = np.median(np.abs(errors[None, :] - candidates @ shapes.T), axis=1)
    return np.asarray(candidates[int(np.argmin(medians))])
