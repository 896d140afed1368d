"""The built neck against published values and first-order formulas.

[AB] is M. B. Anderson & R. G. Beausoleil, "Classical guitar intonation and compensation: The well-tempered guitar", J. Acoust.
Soc. Am. 156(1), 683 (2024). READ: seen in the authors' manuscript; CALC: computed from its equations; MEMORY: handbook value.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares

from fretcheck.errors import NeckError, UsageError
from tests.synth.necks import one_string_neck, steel_neck
from tests.synth.string_matter import StringMatter, stiff_end_factor
from tests.synth.strung_neck import BuiltNeck

CENTS_PER_RELATIVE = 1200.0 / np.log(2.0)


def classical(*, kappa=51.0, beta=0.00236, scale=650.0, b=1.0, c=4.0, d=0.0, setback=0.0, nut_setback=0.0, frets=12, end=1.0):
    """A nylon string on [AB]'s geometry; their nut setback is positive away from the bridge, our nut axis toward it."""
    neck = one_string_neck(scale_length_mm=scale, frets=frets, saddle_setback_mm=setback)
    length = np.hypot(scale + setback + nut_setback, c)
    matter = StringMatter.from_constants(kappa=kappa, beta=beta, tension_n=60.0, length_mm=length, frequency_hz=329.6276)
    return BuiltNeck(
        neck=neck,
        matter={1: matter},
        nut_mm=-nut_setback,
        design_nut_height_mm=b,
        action_12_mm=b + c * (scale / 2.0) / (scale + setback),  # puts the saddle at b + c
        finger_behind_mm=d,
        end_stiffness=end,
    )


def test_uncompensated_nylon_string_reads_what_the_paper_s_equations_give():
    """[AB], X0 650, b 1, c 4, κ 51, β0 .00236, no setbacks, d 0 (CALC from the equations, to the last digit given)."""
    expected = [1.727, 1.609, 1.817, 2.124, 2.483, 2.883, 3.316, 3.782, 4.280, 4.810, 5.375, 5.975]
    assert classical().deviations_cents[0, 1:] == pytest.approx(expected, abs=0.0006)


def test_stretch_at_fret_1_with_the_finger_behind_it():
    """[AB] READ: Q1 = 47e-6 at d 10, ΔS 1.9, ΔN −.37; given to two digits."""
    _, whole = classical(d=10.0, setback=1.9, nut_setback=-0.37)._lengths(1, 0.0)
    assert whole[1] / whole[0] - 1.0 == pytest.approx(47e-6, abs=0.5e-6)


def test_resonant_length_term_at_fret_12():
    """[AB] READ: the speaking length alone makes −0.17 c at fret 12 (setbacks as above); given to two digits."""
    speaking, _ = classical(d=10.0, setback=1.9, nut_setback=-0.37)._lengths(1, 0.0)
    ideal, _ = classical(d=10.0, b=0.0, c=0.0, setback=1.9, nut_setback=-0.37)._lengths(1, 0.0)
    term = 1200.0 * np.log2(speaking[0] / speaking[12]) - 1200.0 * np.log2(ideal[0] / ideal[12])
    assert term == pytest.approx(-0.17, abs=0.006)


@pytest.mark.parametrize(("d", "nut_setback"), [(0.0, -0.51), (10.0, -0.57)])
def test_simple_setbacks_bring_the_mean_deviation_and_its_slope_to_nothing(d, nut_setback):
    """[AB] READ: ΔS 1.54 with ΔN −.51 (d 0) or −.57 (d 10), from a linear fit over frets 1–12; what is left is small."""
    before = np.abs(classical(d=d).deviations_cents[0, 1:]).max()
    after = np.abs(classical(d=d, setback=1.54, nut_setback=nut_setback).deviations_cents[0, 1:]).max()
    assert before > 5.0
    assert after < 1.0


# [AB] READ: note, T, κ, β0 → best ΔS, ΔN (mm) and what remains (c rms), X0 650, b 1, c 4, d 0. Tolerances .06 mm, .01 mm, .02 c
# cover the rounding of the inputs to three digits.
NYLON_SET = [
    ("E4", 48.2, 0.00190, 1.48, -0.36, 0.15),
    ("B3", 48.7, 0.00220, 1.69, -0.36, 0.15),
    ("G3", 58.6, 0.00301, 2.33, -0.43, 0.19),
    ("D3", 46.0, 0.00192, 1.48, -0.34, 0.14),
    ("A2", 48.7, 0.00239, 1.82, -0.36, 0.15),
    ("E2", 58.2, 0.00321, 2.46, -0.43, 0.19),
]


@pytest.mark.parametrize(("note", "kappa", "beta", "setback", "nut_setback", "rms"), NYLON_SET)
def test_best_setbacks_of_a_nylon_set(note, kappa, beta, setback, nut_setback, rms):
    def deviations(setbacks):
        return classical(kappa=kappa, beta=beta, setback=setbacks[0], nut_setback=setbacks[1]).deviations_cents[0, 1:]

    best = least_squares(deviations, [0.0, 0.0])
    assert best.x[0] == pytest.approx(setback, abs=0.06)
    assert best.x[1] == pytest.approx(nut_setback, abs=0.01)
    assert np.sqrt(np.mean(best.fun**2)) == pytest.approx(rms, abs=0.02)


def test_measured_guitar_agrees_with_one_clamped_end_only():
    """[AB] READ: b 1.4, c 5.5, d 10, X0 652, ΔS −3.5, ΔN 0: fret 1 at 4.5–5.75 c, fret 12 at 15.75–19.5 c."""
    geometry = {"b": 1.4, "c": 5.5, "d": 10.0, "scale": 652.0, "setback": -3.5}
    for _, kappa, beta, *_ in NYLON_SET:
        pinned = classical(kappa=kappa, beta=beta, **geometry).deviations_cents[0]
        assert 4.5 - 0.25 <= pinned[1] <= 5.75 + 0.25  # their readings scatter by about 0.25 c
        assert 15.75 - 0.25 <= pinned[12] <= 19.5 + 0.25
    clamped = classical(kappa=58.2, beta=0.00321, end=2.0, **geometry).deviations_cents[0]
    assert clamped[12] > 19.5 + 1.0


# Plain steel, 648 mm, E 200 GPa, density 7850 kg/m³ (MEMORY) → T, κ, B (CALC).
@pytest.mark.parametrize(
    ("gauge", "frequency", "tension", "kappa", "inharmonicity"),
    [(0.254, 329.6276, 72.6, 139.6, 1.32e-5), (0.330, 246.9417, 68.9, 248.7, 3.98e-5), (0.432, 195.9977, 74.2, 394.9, 1.08e-4)],
)
def test_plain_steel_constants(gauge, frequency, tension, kappa, inharmonicity):
    """The table takes T = μ(2Lf)²; a stiff string needs up to 0.7 % less, and stretch spreads its mass by up to 0.7 %."""
    matter = StringMatter.from_plain(gauge_mm=gauge, modulus_gpa=200.0, density_kg_m3=7850.0)
    strain = matter.strain_when_tuned(frequency_hz=frequency, length_mm=648.0)
    tuned = strain * matter.axial_stiffness_n
    assert tuned == pytest.approx(tension, rel=0.015)
    assert 1.0 / strain == pytest.approx(kappa, rel=0.015)
    assert np.pi**2 * matter.beta(tension_n=tuned, length_mm=648.0) ** 2 == pytest.approx(inharmonicity, rel=0.015)


def test_perfect_steel_neck_reads_sharp_near_the_nut():
    """Plain steel, true frets, b 1, c 4: about +4 c (E4, κ 140) to +11 c (plain G3, κ 395) at fret 1.

    First order with d 0 (CALC): 1731.234·[(γ−1)β0 + κQ/2], Q = [(γ−1)(b+c)² + 2b(b+c) + b²/(γ−1)]/(2·648²) = 3.4e-5.
    """
    perfect = BuiltNeck(neck=steel_neck(), design_nut_height_mm=1.0, action_12_mm=3.0, finger_behind_mm=0.0).deviations_cents
    assert perfect[0, 1] == pytest.approx(4.2, abs=0.15)
    assert perfect[2, 1] == pytest.approx(11.8, abs=0.3)
    assert perfect[:, 0] == pytest.approx(0.0, abs=1e-6)


def test_open_string_sounds_its_note_whatever_is_built_wrong():
    built = BuiltNeck(neck=steel_neck(), nut_mm=0.5, saddle_mm={1: 2.0}, nut_height_mm=0.3, tuning_cents={2: -4.0})
    assert built.frequency_hz(1, 0) == pytest.approx(329.6276, abs=1e-4)
    assert built.deviation_cents(2, 0) == pytest.approx(-4.0, abs=1e-6)


def change(**faults):
    """Deviations with a fault less those without, strings × frets 1–20."""
    neck = steel_neck()
    base = {"finger_behind_mm": 8.0}
    return (BuiltNeck(neck=neck, **base, **faults).deviations_cents - BuiltNeck(neck=neck, **base).deviations_cents)[:, 1:]


FRETS = np.arange(1, 21)
GAMMA = 2.0 ** (FRETS / 12.0)


def test_fret_toward_the_bridge_sounds_sharp_by_the_length_it_takes():
    """First order 1731.234·dL/L_k; 1 mm at 648 mm is 5.3 c at fret 12 (CALC). Stretch adds a little."""
    shift = change(frets_mm={12: 0.2})
    assert shift[:, 11] == pytest.approx(CENTS_PER_RELATIVE * 0.2 / 324.0, abs=0.02)
    assert np.delete(shift, 11, axis=1) == pytest.approx(0.0, abs=1e-9)


def test_tilted_fret_adds_at_string_1_and_takes_off_at_the_last():
    shift = change(fret_tilts_mm={5: 0.3})[:, 4]
    expected = CENTS_PER_RELATIVE * 0.3 * np.linspace(1.0, -1.0, 6) / (648.0 / GAMMA[4])
    assert shift == pytest.approx(expected, abs=0.05)


def test_nut_toward_the_bridge_makes_stopped_notes_flat_alike():
    """First order −1731.234·ΔN/X0 in our axis: the open string is shorter and is tuned back, all stopped notes fall."""
    shift = change(nut_mm=0.5)
    assert shift == pytest.approx(-CENTS_PER_RELATIVE * 0.5 / 648.0, abs=0.25)  # the finger's stretch varies a little
    assert np.all(shift < 0.0)


def test_skewed_nut_has_opposite_signs_at_the_edges():
    shift = change(nut_skew_mm=0.5)
    assert np.all(shift[0] < 0.0)
    assert np.all(shift[5] > 0.0)


def test_saddle_toward_the_bridge_flattens_in_proportion_to_gamma_less_1():
    """−1731.234·(γ−1)·ΔS/X0 to first order, on its own string only; here the lengths' exact ratio."""
    shift = change(saddle_mm={3: 1.0})
    expected = 1200.0 * np.log2(649.0 / (648.0 + GAMMA))
    assert np.all(np.abs(shift[2] - expected) < 0.03 + 0.12 * (GAMMA - 1.0))  # a longer string under a lower angle stretches less
    assert np.all(shift[2] < 0.0)
    assert np.delete(shift, 2, axis=0) == pytest.approx(0.0, abs=1e-9)


def test_high_nut_sharpens_the_first_frets_most_and_each_string_by_its_own_stiffness():
    shift = change(nut_height_mm=0.4)
    assert np.all(shift[:, 0] > 2.0)
    assert np.all(shift[:, 0] > shift[:, 4])
    assert shift[2, 0] > shift[0, 0]  # plain G3 has nearly three times the κ of E4
    own = change(nut_heights_mm={4: 0.4})
    assert own[3, 0] == pytest.approx(shift[3, 0], abs=1e-9)
    assert own[2] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    "more", [{"relief_mm": 0.3}, {"action_12_mm": 2.5}, {"finger_depth_mm": 0.4}, {"finger_behind_mm": 10.0}]
)
def test_whatever_stretches_the_string_more_sharpens_it(more):
    neck = steel_neck()
    shift = BuiltNeck(neck=neck, **more).deviations_cents[:, 6] - BuiltNeck(neck=neck).deviations_cents[:, 6]
    assert np.all(shift > 0.0)


def test_pressing_harder_sharpens_in_proportion_to_kappa():
    """First order 1731.234·κQ/2: for one depth the stretch is the same on all strings of one geometry."""
    built = BuiltNeck(neck=steel_neck())
    rise = [built.deviation_cents(string, 5, press=0.4) - built.deviation_cents(string, 5) for string in (1, 2, 3)]
    assert rise[0] > 0.3
    assert rise[1] / rise[0] == pytest.approx(248.7 / 139.6, rel=0.03)
    assert rise[2] / rise[0] == pytest.approx(394.9 / 139.6, rel=0.03)


def test_stiffer_core_sharpens_and_a_heavier_string_of_the_same_core_stretches_less():
    stiffer, heavier = change(core_factors={2: 1.2}), change(mass_factors={2: 1.2})
    assert np.all(stiffer[1, :5] > 0.0)
    assert np.all(heavier[1, :5] < 0.0)


def test_more_clamping_of_the_ends_sharpens_toward_the_body():
    """First order 1731.234·(γ−1)·β0 for each clamped end."""
    shift = change(end_stiffness=1.1)
    assert np.all(np.diff(shift[0]) > 0.0)


def test_inharmonicity_doubles_every_six_frets():
    """B = π³Ed⁴/(64TL²) grows as 2^(k/6) along the frets; the rise of tension takes about a percent off."""
    built = BuiltNeck(neck=steel_neck())
    assert built.inharmonicity(1, 12) / built.inharmonicity(1, 0) == pytest.approx(4.0, rel=0.02)


def test_end_factors_are_the_paper_s_two_cases():
    """[AB] READ: 1+β+(1+π²/2)β² pinned–clamped, 1+2β+(4+π²/2)β² clamped–clamped; pinned–pinned is √(1+π²β²)."""
    beta = 0.004
    assert stiff_end_factor(beta) == pytest.approx(1 + beta + (1 + np.pi**2 / 2) * beta**2, rel=1e-12)
    assert stiff_end_factor(beta, end_stiffness=2.0) == pytest.approx(1 + 2 * beta + (4 + np.pi**2 / 2) * beta**2, rel=1e-12)
    assert stiff_end_factor(beta, end_stiffness=0.0) == pytest.approx(np.sqrt(1 + np.pi**2 * beta**2), rel=1e-7)


def test_short_string_starts_at_its_own_nut():
    neck = one_string_neck(note="G4", scale_length_mm=660.0, frets=20, first_fret=5)
    matter = StringMatter.from_plain(gauge_mm=0.23, modulus_gpa=200.0, density_kg_m3=7850.0)
    built = BuiltNeck(neck=neck, matter={1: matter})
    assert np.all(np.isnan(built.deviations_cents[0, 1:6]))
    assert built.frequency_hz(1, 17) == pytest.approx(2 * 391.9954, rel=0.005)
    with pytest.raises(NeckError, match="cannot be stopped at fret 5: its frets are 6 to 20"):
        built.frequency_hz(1, 5)


@pytest.mark.parametrize(
    ("faults", "message"),
    [
        ({"frets_mm": {21: 0.1}}, "frets_mm names number 21; this neck has 1 to 20"),
        ({"saddle_mm": {0: 0.1}}, "saddle_mm names number 0; this neck has 1 to 6"),
        ({"layout_mm": (0.0,)}, "layout_mm has 1 displacements for 20 frets"),
    ],
)
def test_faults_of_parts_that_are_not_there_are_refused(faults, message):
    with pytest.raises(UsageError, match=message):
        BuiltNeck(neck=steel_neck(), **faults)


def test_string_that_is_not_there_is_refused():
    with pytest.raises(UsageError, match="string 7 is not on this neck"):
        BuiltNeck(neck=steel_neck()).frequency_hz(7, 0)


def test_strings_of_a_course_lie_together_across_the_neck():
    """Four courses of two: a tilt is felt in full at the first pair, a third at the second, and so on."""
    single = one_string_neck(material="steel", gauge_mm=0.3).strings[0]
    pairs = tuple(replace(single, course=course) for course in (1, 1, 2, 2, 3, 3, 4, 4))
    built = BuiltNeck(neck=replace(one_string_neck(), strings=pairs), fret_tilts_mm={5: 0.3})
    assert [built.side(string) for string in range(1, 9)] == pytest.approx([1, 1, 1 / 3, 1 / 3, -1 / 3, -1 / 3, -1, -1])
    assert built.deviation_cents(1, 5) == pytest.approx(built.deviation_cents(2, 5))


def test_zero_fret_takes_the_nut_s_height_away():
    """Over a zero fret the string starts in the plane of the crowns: first notes stretch less (b = 0 in [AB])."""
    neck = steel_neck()
    over_zero_fret = BuiltNeck(neck=replace(neck, zero_fret=True)).deviations_cents
    assert np.all(over_zero_fret[:, 1] < BuiltNeck(neck=neck).deviations_cents[:, 1] - 0.5)


def test_fanned_frets_follow_each_string_s_own_scale():
    """Each string has its own scale length: without faults all strings of one make read alike, none out by the fan."""
    neck = steel_neck()
    fanned = replace(
        neck,
        strings=tuple(replace(string, scale_length_mm=640.0 + 5.0 * row) for row, string in enumerate(neck.strings)),
        square_fret=7,
    )
    built, straight = BuiltNeck(neck=fanned), BuiltNeck(neck=neck)
    assert built.fret_x_mm(6)[11] - built.fret_x_mm(1)[11] == pytest.approx(12.5)
    # stretch goes as κ/X0², so as the fourth power of a scale up to 2.6 % longer
    assert built.deviations_cents == pytest.approx(straight.deviations_cents, rel=0.12, abs=0.05)


def test_tables_agree_with_single_notes_and_with_the_press_path():
    built = BuiltNeck(neck=steel_neck(), finger_depth_mm=0.2, false_strings={2: (0.0, 0.01, 0.0)})
    assert built.deviation_cents(2, 9) == pytest.approx(built.deviations_cents[1, 9], abs=1e-9)
    assert built.frequency_hz(2, 9, press=1e-9) == pytest.approx(built.frequencies_hz[1, 9], rel=1e-9)
    assert np.all(built.inharmonicities > 0.0)
