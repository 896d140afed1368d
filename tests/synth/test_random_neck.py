"""Mistaken layouts, false strings, necks by chance, and what a perfect listener reads on them."""

from __future__ import annotations

import numpy as np
import pytest

from tests.synth import layout_mistake
from tests.synth.false_string import random_profile, shift_cents
from tests.synth.necks import steel_neck
from tests.synth.perfect_listener import sampled_deviations, sampled_press_test
from tests.synth.random_neck import Scatter, random_built_neck
from tests.synth.strung_neck import BuiltNeck

STILL = Scatter(
    frets_mm=0, fret_tilts_mm=0, nut_mm=0, nut_height_mm=0, saddle_mm=0, action_mm=0, relief_mm=0, end_stiffness=0,
    finger_behind_mm=0, finger_depth_mm=0, core=0, mass=0, hand_cents=(0, 0), tuning_cents=0, drift_cents_per_minute=0,
)  # fmt: skip


def layout_cents(layout):
    """What a layout does to the notes of string 1."""
    neck = steel_neck()
    return (BuiltNeck(neck=neck, layout_mm=layout).deviations_cents - BuiltNeck(neck=neck).deviations_cents)[0]


def test_rule_of_18_flattens_by_the_known_cents():
    """18/17 is 98.9546 c a fret: −5.227, −7.318, −12.545 c at frets 5, 7, 12 (CALC); stretch changes by hundredths."""
    cents = layout_cents(layout_mistake.rule_of_18(scale_length_mm=648.0, frets=20))
    assert cents[[5, 7, 12]] == pytest.approx([-5.227, -7.318, -12.545], abs=0.12)


def test_template_of_another_scale():
    """A 650 mm template on a 648 mm neck puts fret 12 at 325 of 648 mm: 1200·log2(324/323) sharp (CALC)."""
    layout = layout_mistake.other_scale(scale_length_mm=648.0, frets=20, template_mm=650.0)
    assert layout[11] == pytest.approx(1.0, abs=1e-9)
    assert layout_cents(layout)[12] == pytest.approx(1200.0 * np.log2(324.0 / 323.0), abs=0.12)


def test_shifted_layouts_shift_every_fret_alike():
    kerf = layout_mistake.kerf_left_out(scale_length_mm=648.0, frets=20, kerf_mm=0.6)
    nut = layout_mistake.nut_thickness_left_out(scale_length_mm=648.0, frets=20, nut_mm=5.0)
    assert kerf == pytest.approx([0.3] * 20)
    assert nut == pytest.approx([-5.0] * 20)


def test_rounding_moves_no_fret_by_more_than_half_a_mark():
    layout = np.array(layout_mistake.rounded(scale_length_mm=648.0, frets=20, step_mm=1.0))
    positions = layout + 648.0 * (1.0 - 2.0 ** (-np.arange(1, 21) / 12.0))
    assert positions == pytest.approx(np.round(positions), abs=1e-9)
    assert 0.3 < np.abs(layout).max() <= 0.5


def test_errors_of_step_by_step_marking_grow_as_a_random_walk():
    rng = np.random.default_rng(11)
    walks = np.array(
        [layout_mistake.step_by_step(scale_length_mm=648.0, frets=20, step_error_mm=0.1, rng=rng) for _ in range(400)]
    )
    spread = walks.std(axis=0)
    assert spread[[0, 3, 15]] == pytest.approx([0.1, 0.2, 0.4], rel=0.15)  # √n; 400 walks give 3.5 % (1 sd)


def test_a_heavy_stretch_flattens_only_what_sounds_there():
    """1 % more mass between nut and fret 12 only: the octave is free of it and reads sharp against the open string.

    By Rayleigh's principle the open string is lower by ½·1 %·½ = 4.33 c, as half the weight 2sin² lies there (CALC).
    """
    profile = np.where(np.linspace(0.0, 1.0, 2001) < 0.5, 0.01, 0.0)
    opened, octave = shift_cents(tuple(profile), np.array([0.0, 0.5]))
    assert opened == pytest.approx(-1200.0 / np.log(2.0) * 0.5 * 0.01 * 0.5, abs=0.03)  # steps of 1/400 of the string
    assert octave == pytest.approx(0.0, abs=0.01)


def test_false_string_is_out_by_the_stated_peak_on_its_own_string_only():
    profile = random_profile(9.0, np.random.default_rng(4), frets=20)
    neck = steel_neck()
    change = BuiltNeck(neck=neck, false_strings={4: profile}).deviations_cents - BuiltNeck(neck=neck).deviations_cents
    assert np.abs(change[3, 1:]).max() == pytest.approx(9.0, abs=0.1)
    assert change[3, 0] == pytest.approx(0.0, abs=1e-9)
    assert np.delete(change, 3, axis=0) == pytest.approx(0.0, abs=1e-9)


def test_false_string_is_more_than_a_nut_or_a_saddle_out_of_place():
    """Nut and saddle fill the span of 1 and γ − 1; a third of the peak is no part of it. Its mass is out by a few percent."""
    gamma = 2.0 ** (np.arange(1, 21) / 12.0)
    for seed in range(20):
        profile = random_profile(9.0, np.random.default_rng(seed), frets=20)
        shifts = shift_cents(profile, 1.0 - 1.0 / np.concatenate(([1.0], gamma)))
        heard = shifts[1:] - shifts[0]
        left = heard - np.polyval(np.polyfit(gamma - 1.0, heard, 1), gamma - 1.0)
        assert np.abs(heard).max() == pytest.approx(9.0, abs=0.01)
        assert np.abs(left).max() >= 2.99
        assert np.abs(profile).max() < 0.15


def test_same_seed_gives_the_same_neck_and_faults_come_on_top():
    neck = steel_neck()
    sound = random_built_neck(neck, np.random.default_rng(8))
    again = random_built_neck(neck, np.random.default_rng(8))
    faulty = random_built_neck(neck, np.random.default_rng(8), frets_mm={7: 0.4}, nut_height_mm=0.4, core_factors={2: 1.1})
    assert sound == again
    assert faulty.frets_mm[7] - sound.frets_mm[7] == pytest.approx(0.4)
    assert faulty.frets_mm[8] == sound.frets_mm[8]
    assert faulty.nut_height_mm - sound.nut_height_mm == pytest.approx(0.4)
    assert faulty.core_factors[2] / sound.core_factors[2] == pytest.approx(1.1)


def test_scatter_has_the_stated_size():
    necks = [random_built_neck(steel_neck(), np.random.default_rng(seed)) for seed in range(60)]
    frets = np.array([list(neck.frets_mm.values()) for neck in necks])
    tilts = np.array([list(neck.fret_tilts_mm.values()) for neck in necks])
    assert frets.std() == pytest.approx(0.03, rel=0.1)  # 1200 draws give 2 % (1 sd)
    assert tilts.std() == pytest.approx(0.02, rel=0.1)


def test_without_scatter_the_listener_reads_the_true_deviations():
    built = random_built_neck(steel_neck(), np.random.default_rng(1), scatter=STILL, frets_mm={7: 0.4})
    heard = sampled_deviations(built, np.random.default_rng(2), u_cents=1e-6, open_hand_cents=0.0, wander_cents=0.0)
    assert len(heard) == 6 * (2 * 20 + 3)
    for pluck in heard:
        assert pluck.cents == pytest.approx(built.deviation_cents(pluck.string, pluck.fret), abs=1e-4)
        assert pluck.f1_hz == pytest.approx(built.frequency_hz(pluck.string, pluck.fret), rel=1e-7)
    assert [pluck.start_s for pluck in heard] == sorted(pluck.start_s for pluck in heard)


def test_steady_drift_moves_the_pitches_and_not_the_deviations():
    built = BuiltNeck(neck=steel_neck(), drift_cents_per_minute={2: -4.0})
    heard = sampled_deviations(built, np.random.default_rng(2), u_cents=1e-6, open_hand_cents=0.0, wander_cents=0.0)
    second = [pluck for pluck in heard if pluck.string == 2]
    minutes = (second[-1].start_s - second[0].start_s) / 60.0
    assert second[-1].cents - second[0].cents == pytest.approx(-4.0 * minutes, abs=1e-4)
    for pluck in second:
        if pluck.fret:
            assert pluck.cents == pytest.approx(built.deviation_cents(2, pluck.fret), abs=1e-4)


def test_hand_scatters_each_string_by_its_own_amount():
    built = BuiltNeck(neck=steel_neck(), hand_cents={1: 0.5, 6: 1.0})
    heard = sampled_deviations(built, np.random.default_rng(3), plucks=20, u_cents=0.01, wander_cents=0.0, open_hand_cents=0.0)
    for string, spread in ((1, 0.5), (2, 0.0), (6, 1.0)):
        errors = [
            pluck.cents - built.deviation_cents(string, pluck.fret) for pluck in heard if pluck.string == string and pluck.fret
        ]
        assert np.std(errors) == pytest.approx(spread, abs=0.015 + 0.1 * spread)  # 400 plucks give 3.5 % (1 sd)


def test_press_test_reads_sharper_when_firm():
    built = BuiltNeck(neck=steel_neck(), finger_depth_mm=0.2)
    heard = sampled_press_test(built, np.random.default_rng(5), string=3, u_cents=0.01)
    assert {(pluck.fret, pluck.press) for pluck in heard} == {(5, "light"), (5, "firm"), (12, "light"), (12, "firm")}
    for fret in (5, 12):
        light, firm = (np.mean([p.cents for p in heard if p.fret == fret and p.press == press]) for press in ("light", "firm"))
        assert firm - light > 2.0
