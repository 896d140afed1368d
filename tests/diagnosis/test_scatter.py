"""Robust scatter from the repeats, and string constants from measured stiffness."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretcheck.diagnosis.infer.scatter import USUAL_CENTS, Hand, combine, hand_scatter, open_uncertainty, robust_mean
from fretcheck.diagnosis.model.as_designed import Cell
from fretcheck.diagnosis.model.string_priors import constants_of, open_inharmonicity
from fretcheck.diagnosis.observation import Observation
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
    hand = hand_scatter(plucks({1: 0.4, 2: 1.2}, frets=200, repeats=4))
    assert hand.cents[1] == pytest.approx(0.4, rel=0.06)
    assert hand.cents[2] == pytest.approx(1.2, rel=0.06)
    assert hand.repeats == {1: 600, 2: 600}


def test_outliers_hardly_move_the_scatter() -> None:
    # One pluck in twenty 10 cents off, so that one difference in ten is spoiled: the plain standard deviation reads 2.3; an upper
    # bound of 0.8 is what Student-t weights of few degrees of freedom leave.
    heard = plucks({1: 0.5}, frets=100, repeats=3)
    spoiled = [replace(one, cents=one.cents + 10.0) if number % 20 == 0 else one for number, one in enumerate(heard)]
    assert 0.4 < hand_scatter(spoiled).cents[1] < 0.8
    assert np.std([one.cents - 2.0 * one.fret for one in spoiled]) > 2.0


def test_listening_is_not_blamed_on_the_hand() -> None:
    heard = plucks({1: math.hypot(0.6, 0.8)}, frets=300, repeats=3, u=0.8)
    assert hand_scatter(heard).cents[1] == pytest.approx(0.6, rel=0.1)


def test_a_hand_that_is_unsteady_at_the_low_frets() -> None:
    # three times as wide at fret 1, falling to none at fret 5; 8 strings × 8 repeats make 64 at each fret: 12 % each
    rng = np.random.default_rng(3)
    heard = [
        Observation(string=s, fret=k, cents=0.5 * (1.0 + 2.0 * max(5 - k, 0) / 4) * rng.standard_normal(), u_cents=0.0)
        for s in range(1, 9)
        for k in range(1, 21)
        for _ in range(9)
    ]
    hand = hand_scatter(heard)
    assert hand.at(Cell(string=1, fret=12)) == pytest.approx(0.5, rel=0.15)
    assert hand.at(Cell(string=1, fret=1)) == pytest.approx(1.5, rel=0.25)
    assert hand_scatter(plucks(dict.fromkeys(range(1, 9), 0.5), frets=20, repeats=9)).low < 0.2


def test_without_repeats_the_usual_scatter_is_assumed_of_few_strings() -> None:
    hand = hand_scatter(plucks({1: 0.1, 3: 0.1}, frets=12, repeats=1))
    assert hand.cents == {1: pytest.approx(USUAL_CENTS), 3: pytest.approx(USUAL_CENTS)}
    assert hand.repeats == {1: 0, 3: 0}


@pytest.mark.parametrize("sigma", [0.4, 0.8, 1.6])
def test_without_repeats_the_smoothness_tells_the_hand(sigma: float) -> None:
    # 66 degrees of freedom, drawn toward 0.8 by 4: within 25 % on average over ten necks, whose curves and frets differ
    found = []
    for seed in range(10):
        rng = np.random.default_rng(seed)
        curve, fret_cents = rng.normal(0.0, 3.0, (6, 2)), rng.normal(0.0, 1.0, 21)
        heard = [
            Observation(
                string=s, fret=k, u_cents=0.0,
                cents=curve[s - 1] @ [1.0, k / 12] + fret_cents[k] + math.hypot(sigma, 0.15) * rng.standard_normal(),
            )
            for s in range(1, 7) for k in range(1, 21)
        ]  # fmt: skip
        found.append(np.mean(list(hand_scatter(heard).cents.values())))
    assert np.mean(found) == pytest.approx(sigma, rel=0.25)


@given(st.lists(st.floats(-5, 5), min_size=1, max_size=6), st.floats(-100, 100))
def test_mean_moves_with_the_values(values: list[float], shift: float) -> None:
    data = np.array(values)
    assert robust_mean(data + shift, scale=1.0) == pytest.approx(robust_mean(data, scale=1.0) + shift, abs=1e-6)


def test_one_bad_pluck_of_three_does_not_carry_the_mean() -> None:
    # Huber's weight of the bad one is 1.345·0.3/20: it moves the mean by 1.345·0.3/2 at most
    assert abs(robust_mean([2.1, 1.9, 22.0], scale=0.3) - 2.0) <= 1.345 * 0.3 / 2 + 0.1


HAND = Hand(cents={1: 0.5}, low=0.0, repeats={1: 1})
CELL = Cell(string=1, fret=5)


def heard_at_5(*cents: float) -> list[Observation]:
    return [Observation(string=1, fret=5, cents=one, u_cents=0.05) for one in cents]


def test_good_plucks_are_averaged() -> None:
    # the mean and σ/√n
    combined = combine(heard_at_5(0.2, -0.1, 0.4), HAND)
    assert combined.cents[0] == pytest.approx(0.5 / 3.0, abs=0.01)
    assert combined.u_cents[0] == pytest.approx(math.hypot(0.5, 0.05) / math.sqrt(3.0), rel=0.05)


@pytest.mark.parametrize("spoiled", [7.0, 14.0, -7.0])
def test_one_pluck_of_two_that_slipped_is_told_by_the_neck(spoiled: float) -> None:
    combined = combine(heard_at_5(0.3, spoiled), HAND, expected={CELL: (0.0, 0.4)})
    assert abs(combined.cents[0] - 0.3) < 0.5  # the target of the whole diagnosis
    assert combined.u_cents[0] < 0.8


def test_without_the_neck_nobody_knows_which_of_two_slipped() -> None:
    combined = combine(heard_at_5(0.0, 7.0), HAND)
    assert combined.cents[0] == pytest.approx(3.5, abs=0.1)
    assert combined.u_cents[0] > 3.0


def test_two_plucks_that_agree_far_from_the_neck_are_a_note_of_its_own() -> None:
    combined = combine(heard_at_5(5.1, 4.9), HAND, expected={CELL: (0.0, 0.4)})
    assert combined.cents[0] == pytest.approx(5.0, abs=0.1)
    assert combined.u_cents[0] < 0.5
    assert combined.odd_cents[0] > 2.0
    usual = combine(heard_at_5(0.6, -0.4), HAND, expected={CELL: (0.0, 0.4)})
    assert usual.odd_cents[0] < 0.1


def opens(*cents: float, string: int = 1) -> list[Observation]:
    return [Observation(string=string, fret=0, cents=one, u_cents=0.05, start_s=60.0 * n) for n, one in enumerate(cents)]


def test_open_plucks_that_scatter_widen_the_reference() -> None:
    # 30 plucks of 0.4 cents about a drift of 2 cents: s/√n, good to an eighth
    rng = np.random.default_rng(5)
    drifting = opens(*(np.linspace(0.0, 2.0, 30) + 0.4 * rng.standard_normal(30)))
    assert open_uncertainty(drifting, 1)[0] == pytest.approx(0.4 / math.sqrt(30), rel=0.25)
    steady = opens(*([0.0] * 30))
    assert open_uncertainty(steady, 1)[0] < 0.6 * open_uncertainty(drifting, 1)[0]


def test_a_step_between_two_open_plucks_counts() -> None:
    # JCGM 100, 4.3.7: evenly likely within half a step of 3 cents about the line: 3/√12
    assert open_uncertainty(opens(0.0, 3.0), 1)[0] == pytest.approx(3.0 / math.sqrt(12.0), rel=0.05)


def test_open_note_without_plucks_has_the_usual_uncertainty() -> None:
    assert open_uncertainty(opens(1.0, 1.0, 1.0, 1.0), 2)[1] == 0.3


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
