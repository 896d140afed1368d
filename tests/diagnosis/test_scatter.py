"""Robust scatter from the repeats, and string constants from measured stiffness."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from fretcheck.diagnosis.as_designed import Cell
from fretcheck.diagnosis.observation import Observation
from fretcheck.diagnosis.scatter import USUAL_CENTS, combine, hand_scatter, open_uncertainty
from fretcheck.diagnosis.string_priors import constants_of, open_inharmonicity
from fretcheck.neck.physics import string_constants
from tests.diagnosis.necks import steel_neck


def plucks(sigma: dict[int, float], *, frets: int, repeats: int, seed: int = 0, u: float = 0.0) -> list[Observation]:
    rng = np.random.default_rng(seed)
    return [
        Observation(string=string, fret=fret, cents=float(2.0 * fret + spread * rng.standard_normal()), u_cents=u)
        for string, spread in sigma.items()
        for fret in range(1, frets + 1)
        for _ in range(repeats)
    ]


def test_scatter_of_many_repeats_is_the_standard_deviation() -> None:
    # 200 frets × 4 plucks: the sample's standard deviation is good to 3 %, the robust one to 4 %.
    scatter, repeats = hand_scatter(plucks({1: 0.4, 2: 1.2}, frets=200, repeats=4))
    assert scatter[1] == pytest.approx(0.4, rel=0.06)
    assert scatter[2] == pytest.approx(1.2, rel=0.06)
    assert repeats == {1: 600, 2: 600}


def test_outliers_hardly_move_the_scatter() -> None:
    # One pluck in twenty 10 cents off, so that one difference in ten is spoiled: the plain standard deviation reads 2.3; an upper
    # bound of 0.8 is what Student-t weights of few degrees of freedom leave.
    heard = plucks({1: 0.5}, frets=100, repeats=3)
    spoiled = [replace(one, cents=one.cents + 10.0) if number % 20 == 0 else one for number, one in enumerate(heard)]
    assert 0.4 < hand_scatter(spoiled)[0][1] < 0.8
    assert np.std([one.cents - 2.0 * one.fret for one in spoiled]) > 2.0


def test_listening_is_not_blamed_on_the_hand() -> None:
    heard = plucks({1: math.hypot(0.6, 0.8)}, frets=300, repeats=3, u=0.8)
    assert hand_scatter(heard)[0][1] == pytest.approx(0.6, rel=0.1)


def test_without_repeats_the_usual_scatter_is_assumed() -> None:
    scatter, repeats = hand_scatter(plucks({1: 0.1, 3: 0.1}, frets=12, repeats=1))
    assert scatter == {1: USUAL_CENTS, 3: USUAL_CENTS}
    assert repeats == {1: 0, 3: 0}


def test_a_pluck_far_from_the_model_weighs_less() -> None:
    heard = [Observation(string=1, fret=5, cents=cents, u_cents=0.05) for cents in (0.0, 0.1, 9.0)]
    cell = Cell(string=1, fret=5)
    plain = combine(heard, {1: 0.5})
    robust = combine(heard, {1: 0.5}, expected={cell: (0.0, 0.1)})
    assert plain.cents[0] == pytest.approx(9.1 / 3.0)
    assert abs(robust.cents[0]) < 0.5
    assert robust.u_cents[0] > plain.u_cents[0]


def test_open_note_without_plucks_has_the_usual_uncertainty() -> None:
    heard = [Observation(string=1, fret=0, cents=1.0, u_cents=0.2) for _ in range(4)]
    assert open_uncertainty(heard, 2) == pytest.approx([0.1, 0.3])


def test_inharmonicity_is_taken_back_to_the_open_string() -> None:
    # B grows as 2^(k/6) along the frets (1/L²): every reading here stands for the same open B.
    neck = steel_neck()
    heard = [
        Observation(string=3, fret=k, cents=0.0, u_cents=0.1, inharmonicity=1e-4 * 2.0 ** (k / 6.0), u_inharmonicity=1e-6)
        for k in range(13)
    ]
    found = open_inharmonicity(neck, 3, heard)
    assert found is not None
    assert found[0] == pytest.approx(1e-4, rel=1e-12)
    assert open_inharmonicity(neck, 2, heard) is None


@pytest.mark.parametrize("number", [3, 6])
def test_measured_stiffness_sharpens_the_string(number: int) -> None:
    # A string whose B is as described keeps its κ, known better than before; 5 % of B moves β0 by 2.5 %.
    neck = steel_neck()
    described = string_constants(neck, number)
    b = (math.pi * described.beta0_prior.median) ** 2
    heard = [
        Observation(string=number, fret=0, cents=0.0, u_cents=0.1, inharmonicity=b * factor, u_inharmonicity=0.02 * b)
        for factor in (1.04, 1.05, 1.06)
    ]
    sharpened = constants_of(neck, heard)[number - 1]
    assert sharpened.beta0_prior.median == pytest.approx(described.beta0_prior.median * math.sqrt(1.05), rel=1e-6)
    assert sharpened.kappa_prior.u_rel < described.kappa_prior.u_rel
    assert sharpened.kappa_prior.median == pytest.approx(described.kappa_prior.median, rel=0.06)
    assert constants_of(neck, [])[number - 1] == described
