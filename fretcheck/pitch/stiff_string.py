"""From the partials' frequencies to the string: f0 and B of f_n = n·f0·√(1+B·n²), and partial 1 of the string itself.

Partials scatter about a stiff string's by more than their noise, since resonances of the body pull each on its own. The scatter
is estimated with the string (a random effect; R. DerSimonian & N. Laird, Control. Clin. Trials 7, 177, 1986, from memory,
with the iteration of R. C. Paule & J. Mandel, J. Res. NBS 87, 377, 1982, from memory), so that a loud partial does not
rule alone when it is not that trustworthy; and single outliers count less (Student weights).

Conventions
-----------
The unknowns are log f1 and B; u are standard uncertainties; scatter is in cents.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log

import numpy as np
from numpy.typing import NDArray

from fretcheck.pitch.noise import middle

Array = NDArray[np.float64]

CENTS = 1200.0 / log(2.0)

_PRIOR_B = 3e-4
_PRIOR_U_B = 1.5e-3
_FREEDOM = 5.0
_NOISE_WIDENED, _SCATTER_WIDENED = 0.95, 1.35  # by trial over the benchmark's conditions
_FEW = 4  # partials among which no outlier can be told
_SIGNIFICANT = 2.5  # standard deviations of χ²
_TURNS, _ROBUST_TURNS, _SCATTER_TURNS = 12, 4, 12
_LOWER_TURNS = 3


@dataclass(frozen=True)
class StiffString:
    """The string that suits the partials best."""

    f1_hz: float
    u_cents: float
    inharmonicity: float
    u_inharmonicity: float
    scatter_cents: float
    """How far partials stray from the string's beyond their noise, one sigma."""
    effective_partials: float
    """How many equally trusted partials would carry as much weight."""
    influence: Array
    """How much log f1 moves with the log frequency of each partial."""

    def partial_hz(self, numbers: Array) -> Array:
        """Partials of those numbers."""
        stretch = (1.0 + self.inharmonicity * numbers**2) / (1.0 + self.inharmonicity)
        return np.asarray(numbers * self.f1_hz * np.sqrt(stretch))


def fit_string(numbers: Array, frequency_hz: Array, variance_hz2: Array, *, f1_hz: float, inharmonicity: float) -> StiffString:
    """Weighted least squares of log frequency, scatter included.

    Parameters
    ----------
    numbers, frequency_hz, variance_hz2 : ndarray, shape (partials,)
    f1_hz, inharmonicity : float
        Where to start.
    """
    noise = variance_hz2 / frequency_hz**2
    log_hz = np.log(frequency_hz)
    log_f1, b = _start(numbers, log_hz, noise, (log(f1_hz), inharmonicity))
    robust = np.ones_like(noise)
    scatter = 0.0
    for turn in range(_TURNS):
        left, by_b = _linearised(numbers, log_hz, log_f1, b)
        if turn < _ROBUST_TURNS and len(numbers) > _FEW:
            scatter = _middling_scatter(left, noise, free=2.0 if turn else 0.0)
            robust = 1.0 / (1.0 + left**2 / (_FREEDOM * (noise + scatter)))
        else:
            scatter = _scatter(by_b, left, noise, robust, prior_left=_PRIOR_B - b)
        weight = robust / (noise + scatter)
        normal, change = _solve(by_b, weight, left, _PRIOR_B - b)
        log_f1, b = log_f1 + change[0], max(0.0, b + change[1])
        if abs(change[0]) < 1e-10 and turn > _ROBUST_TURNS:
            break
        if len(numbers) > _FEW and turn >= _ROBUST_TURNS:
            left = left - change[0] - change[1] * by_b
            robust = (_FREEDOM + 1.0) / (_FREEDOM + left**2 / (noise + scatter))
            robust = np.minimum(robust, 1.0)
    weight = robust / (noise + scatter)
    # few partials, and weights that come from the partials themselves, make the scatter less sure than a normal one
    widened = _NOISE_WIDENED if scatter == 0.0 else _SCATTER_WIDENED + 2.0 / max(1, len(numbers) - 2)
    birge = max(1.0, float(np.sum(weight * left**2)) / max(1, len(numbers) - 2))
    own, both, other = normal
    covariance = np.array([[other, -both], [-both, own]]) / (own * other - both**2)
    u_log_f1, u_b = np.sqrt(np.diag(covariance) * birge) * widened
    return StiffString(
        float(np.exp(log_f1)),
        float(u_log_f1) * CENTS,
        b,
        float(u_b),
        float(np.sqrt(scatter)) * CENTS,
        float(np.sum(weight) ** 2 / np.sum(weight**2)),
        np.asarray(weight * (covariance[0, 0] + covariance[0, 1] * by_b)),
    )


def _start(numbers: Array, log_hz: Array, noise: Array, given: tuple[float, float]) -> tuple[float, float]:
    """The start given, or the string of the lower half of the partials, where more partials lie close to that.

    High partials that were taken for their neighbours pull a fit that begins with all of them.
    """
    lower = slice(0, max(2, (len(numbers) + 1) // 2))
    log_f1, b = given
    if len(numbers) <= _FEW:
        return given
    for _ in range(_LOWER_TURNS):
        left, by_b = _linearised(numbers[lower], log_hz[lower], log_f1, b)
        weight = 1.0 / (noise[lower] + max(0.0, float(middle(left**2))))
        _, change = _solve(by_b, weight, left, _PRIOR_B - b)
        log_f1, b = log_f1 + change[0], max(0.0, b + change[1])
    strays = [float(middle(_linearised(numbers, log_hz, *start)[0] ** 2)) for start in (given, (log_f1, b))]
    return given if strays[0] <= strays[1] else (log_f1, b)


def _linearised(numbers: Array, log_hz: Array, log_f1: float, b: float) -> tuple[Array, Array]:
    """What a string leaves of the log frequencies, and their derivatives by B; those by log f1 are 1."""
    curve = np.log(numbers) + 0.5 * (np.log1p(b * numbers**2) - np.log1p(b))
    by_b = 0.5 * (numbers**2 / (1.0 + b * numbers**2) - 1.0 / (1.0 + b))
    return log_hz - curve - log_f1, np.asarray(by_b)


def _solve(by_b: Array, weight: Array, left: Array, prior_left: float) -> tuple[tuple[float, float, float], tuple[float, float]]:
    """Normal matrix (its corners and what they share) and change of (log f1, B), the prior on B included."""
    by_b_weighed = weight * by_b
    own, both = float(weight.sum()), float(by_b_weighed.sum())
    other = float(by_b_weighed @ by_b) + _PRIOR_U_B**-2
    first, second = float(weight @ left), float(by_b_weighed @ left) + prior_left * _PRIOR_U_B**-2
    determinant = own * other - both**2
    return (own, both, other), ((other * first - both * second) / determinant, (own * second - both * first) / determinant)


def _middling_scatter(left: Array, noise: Array, *, free: float) -> float:
    """Variance beyond the noise that makes half of the partials stray by less than half of a normal scatter would."""
    share = 0.4549 * max(0.3, 1.0 - free / len(left))  # median of χ² with one degree of freedom
    return max(0.0, float(middle(left**2 / share - noise)))


def _scatter(by_b: Array, left: Array, noise: Array, robust: Array, *, prior_left: float) -> float:
    """Variance beyond the noise that makes χ² equal to its expectation; 0 where χ² is not clearly larger than that."""
    freedom = len(left) - 2
    if freedom < 1:
        return 0.0

    scatter = 0.0
    for turn in range(_SCATTER_TURNS):
        weight = robust / (noise + scatter)
        _, change = _solve(by_b, weight, left, prior_left)
        parts = weight * (left - change[0] - change[1] * by_b) ** 2
        chi2 = float(parts.sum())
        if turn == 0 and chi2 - freedom <= _SIGNIFICANT * np.sqrt(2.0 * freedom):
            return 0.0
        # Newton's step for 1/χ², which is nearly straight in the scatter
        change_of_scatter = chi2 * (chi2 / freedom - 1.0) / float((parts / (noise + scatter)).sum())
        scatter = max(0.0, scatter + change_of_scatter)
        if abs(change_of_scatter) < 1e-3 * scatter:
            break
    return scatter
