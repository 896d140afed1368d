"""What is known of each string before its notes are compared: from its description, sharpened by its measured stiffness.

Inharmonicity gives β0 = √B/π outright. In a string whose tension a metal core carries, κ = EA/T and β0·L0 = √(EI/T) hold the
same core diameter, so that κ = 2·β0·L0·√(πE/T): the measured B then also tells κ, in a plain string to the uncertainty of E and
T, in a wound one less well because the winding adds to the bending stiffness.

Conventions: b is that of the open string; a reading at fret k gives B·2^(−k/6), since B grows as 1/L². Priors are log-normal.
"""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fretcheck.diagnosis.observation import Observation
from fretcheck.neck.description import Neck
from fretcheck.neck.physics import Prior, StringConstants, core_of, string_constants

# Of a reading that brings none of its own, and the least that any is trusted: bridge and body shift single partials
U_INHARMONICITY_REL = 0.10
LEAST_U_REL = 0.02
MOST_U_REL = 0.5  # A B known worse than to half of itself may as well be none, of which a log-normal statement makes no sense
# Measured β0 of a wound string over that of its core, nothing to 15 % more: its stiffness is mainly the core's (M. Zollner,
# Physics of the Electric Guitar, 1.2), turns that touch add to it; how much is common practice, no source. Taken about 1 ± 0.15
# the wound strings' κ came out 5 % high, and fret 1 of string 6 0.2 cent sharp (20 foreign necks, whose windings add 5 %).
WINDING, U_WINDING_REL = 1.075, 0.045


def constants_of(neck: Neck, observations: Sequence[Observation]) -> tuple[StringConstants, ...]:
    return tuple(_one(neck, number, observations) for number in range(1, len(neck.strings) + 1))


def open_inharmonicity(neck: Neck, number: int, observations: Sequence[Observation]) -> tuple[float, float] | None:
    """Weighted median of a string's B, taken back to the open string, and its standard uncertainty; None without readings."""
    values, weights = [], []
    for one in observations:
        if one.string == number and one.inharmonicity is not None and one.inharmonicity > 0.0:
            relative = one.u_inharmonicity / one.inharmonicity if one.u_inharmonicity else U_INHARMONICITY_REL
            if relative > MOST_U_REL:
                continue
            values.append(one.inharmonicity * 2.0 ** (-neck.cents_above_open(number, one.fret) / 600.0))
            weights.append(1.0 / max(relative, LEAST_U_REL) ** 2)
    if not values:
        return None
    order = np.argsort(values)
    share = np.cumsum(np.array(weights)[order])
    median = float(np.array(values)[order][np.searchsorted(share, 0.5 * share[-1])])
    spread = 1.4826 * float(np.median(np.abs(np.array(values) / median - 1.0)))
    of_mean = 1.2533 * max(spread, 1.0 / math.sqrt(float(np.mean(weights)))) / math.sqrt(len(values))
    return median, median * max(of_mean, LEAST_U_REL)


def _one(neck: Neck, number: int, observations: Sequence[Observation]) -> StringConstants:
    string = neck.string(number)
    measured = open_inharmonicity(neck, number, observations)
    if measured is None:
        return string_constants(neck, number)
    constants = string_constants(neck, number, inharmonicity=measured[0], u_inharmonicity=measured[1])
    core = core_of(string)
    if core.is_polymer:
        return constants
    wound = string.construction == "wound"
    assert core.modulus_gpa is not None
    assert core.u_modulus_rel is not None
    from_stiffness = (
        2.0
        * constants.beta0_prior.median
        / (WINDING if wound else 1.0)
        * constants.open_length_mm
        * math.sqrt(math.pi * core.modulus_gpa * 1e3 / constants.tension_n)
    )
    u_rel = math.hypot(
        constants.beta0_prior.u_rel,
        U_WINDING_REL if wound else 0.0,
        core.u_modulus_rel / 2.0,
        constants.u_tension_n / constants.tension_n / 2.0,
    )
    return replace(constants, kappa_prior=_combined(constants.kappa_prior, Prior(median=from_stiffness, u_rel=u_rel)))


def _combined(one: Prior, other: Prior) -> Prior:
    """Two independent log-normal statements on one quantity."""
    weights = (1.0 / one.u_rel**2, 1.0 / other.u_rel**2)
    total = sum(weights)
    log = (weights[0] * math.log(one.median) + weights[1] * math.log(other.median)) / total
    return Prior(median=math.exp(log), u_rel=1.0 / math.sqrt(total))
