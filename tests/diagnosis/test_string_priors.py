"""What a measured inharmonicity tells of a string's stretch, and what it cannot tell of a wound one."""

from __future__ import annotations

import math

import pytest

from fretcheck.diagnosis.model.string_priors import constants_of
from fretcheck.diagnosis.observation import Observation
from fretcheck.neck.physics import string_constants
from tests.diagnosis.necks import steel_neck


def stretch_uncertainty(number: int) -> tuple[float, float]:
    """Relative u of κ as described, and with 20 readings of B that agree to 2 %."""
    neck = steel_neck()
    described = string_constants(neck, number)
    b = (math.pi * described.beta0_prior.median) ** 2
    heard = [
        Observation(string=number, fret=0, cents=0.0, u_cents=0.1, inharmonicity=b, u_inharmonicity=0.02 * b) for _ in range(20)
    ]
    return described.kappa_prior.u_rel, constants_of(neck, heard)[number - 1].kappa_prior.u_rel


@pytest.mark.parametrize("number", [4, 5, 6])
def test_of_a_wound_string_stiffness_tells_no_more_than_its_winding_lets_it(number: int) -> None:
    """The winding adds nothing to 15 % to β0, evenly (common practice, no source): its u is 0.15/√12, however well B is heard."""
    described, measured = stretch_uncertainty(number)
    assert measured > 0.99 / math.hypot(1.0 / described, math.sqrt(12.0) / 0.15)  # 1 %: u of the prior's own first order


def test_of_a_plain_string_it_tells_more() -> None:
    described, measured = stretch_uncertainty(1)
    assert measured < described


def test_stiffness_that_may_as_well_be_none_is_left_out() -> None:
    """An ideal string's B, read as a millionth ± two: the description alone tells its stretch."""
    neck = steel_neck()
    heard = [Observation(string=1, fret=0, cents=0.0, u_cents=0.1, inharmonicity=1e-6, u_inharmonicity=2e-6)]
    assert constants_of(neck, heard)[0] == string_constants(neck, 1)
