"""From the partials' frequencies to the string: partial 1 and B of f_n = n·f0·√(1+B·n²) (H. Fletcher, 1964, from memory).

Partials scatter about a stiff string's by more than their own uncertainty, since resonances of the body pull each on its own and
planes of vibration beat. The scatter is estimated with the string (R. DerSimonian & N. Laird, Control. Clin. Trials 7, 177,
1986, from memory), so that a loud partial does not rule alone; and single outliers count less (Student weights).
"""

from dataclasses import dataclass

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.units import CENTS_PER_NEPER

_PRIOR_B, _PRIOR_U_B = 1e-4, 2e-4  # strings have 1e-5 to 1e-3; decides only where few partials sound: 1e-4 to 3e-4 read alike
_PRIOR_SCATTER = (0.5 / CENTS_PER_NEPER) ** 2  # counts as one partial more; 0.5 to 2 cents read alike
_FREEDOM, _FEW = 4.0, 3  # Student weights; among three partials no outlier can be told. 2 to 10 degrees read alike
_LEAST_SHOWN = 0.2  # of a scatter, by a partial that draws the string to itself
_TURNS = 12
_MEDIAN_SQUARE = 0.4549  # of a standard normal variable


@dataclass(frozen=True)
class StiffString:
    """The string that suits the partials best."""

    f1_hz: float
    u_cents: float
    inharmonicity: float
    u_inharmonicity: float
    influence: Reals  # How much log f1 moves with the log frequency of each partial


def fit_string(numbers: Reals, frequency_hz: Reals, variance: Reals, *, inharmonicity: float) -> StiffString:
    """Fit it by weighted least squares in log frequency, the scatter among the partials included.

    `numbers`, `frequency_hz`, `variance` (shape (partials,)): `variance` is that of log frequency. `inharmonicity`: where to
    start.
    """
    square = numbers**2
    log_ratio = np.log(frequency_hz / numbers)
    b = inharmonicity
    strayed = log_ratio - 0.5 * np.log1p(b * square)
    scatter = _PRIOR_SCATTER + float(np.median((strayed - np.median(strayed)) ** 2)) / _MEDIAN_SQUARE
    robust = np.ones(len(numbers))
    for _ in range(_TURNS):
        target = log_ratio - 0.5 * (np.log1p(b * square) - np.log1p(b))
        by_b = 0.5 * (square / (1.0 + b * square) - 1.0 / (1.0 + b))
        design = np.stack([np.ones_like(by_b), by_b])
        weighted = design * (robust / (variance + scatter))
        normal = weighted @ design.T
        right = weighted @ target
        normal[1, 1] += _PRIOR_U_B**-2
        right[1] += (_PRIOR_B - b) * _PRIOR_U_B**-2
        covariance = np.linalg.inv(normal)
        influence = covariance @ weighted
        log_f1, change = covariance @ right
        left2 = (target - log_f1 - change * by_b) ** 2
        b = max(0.0, b + float(change))
        if len(numbers) > _FEW:
            robust = np.minimum(1.0, (_FREEDOM + 1.0) / (_FREEDOM + left2 / (variance + scatter)))
        # a partial that draws the string to itself shows less of its scatter: leverage
        shown = left2 / np.maximum(_LEAST_SHOWN, 1.0 - np.sum(design * influence, axis=0))
        scatter = max(0.0, (float(np.sum(robust * (shown - variance))) + _PRIOR_SCATTER) / (float(np.sum(robust)) + 1.0))
    u_log_f1, u_b = np.sqrt(np.diag(covariance))
    return StiffString(float(np.exp(log_f1)), CENTS_PER_NEPER * float(u_log_f1), b, float(u_b), influence[0])
