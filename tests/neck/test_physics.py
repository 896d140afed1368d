"""String constants against published and independently computed values."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from fretcheck.neck import physics
from fretcheck.neck.description import Neck, String


def string_constants(string, *, reference_hz, **measured):
    """Of a string by itself, on a neck of its scale length."""
    neck = Neck(name="", scale_length_mm=string.scale_length_mm, frets=12, strings=(string,), reference_hz=reference_hz)
    return physics.string_constants(neck, 1, **measured)


STEEL = String(note="E4", gauge_mm=0.254, construction="plain", material="steel", scale_length_mm=648.0)
NYLON = replace(STEEL, material="nylon", gauge_mm=0.712, scale_length_mm=650.0)
WOUND = replace(STEEL, note="E2", material="bronze", construction="wound", gauge_mm=1.35)

# Check 12: plain steel, L 648 mm, E 200 GPa and density 7850 kg/m³ (MEMORY); T, κ and B follow (CALC).
# The gauges printed as .254, .330 and .432 mm are 10, 13 and 17 thousandths of an inch: with .330 exactly T would be 68.8 N.
PLAIN_STEEL = [
    ("E4", 0.254, 72.6, 139.6, 1.32e-5),
    ("B3", 0.3302, 68.9, 248.7, 3.98e-5),
    ("G3", 0.4318, 74.2, 394.9, 1.08e-4),
]


@pytest.mark.parametrize(("note", "gauge_mm", "tension_n", "kappa", "inharmonicity"), PLAIN_STEEL)
def test_plain_steel(note, gauge_mm, tension_n, kappa, inharmonicity):
    constants = string_constants(replace(STEEL, note=note, gauge_mm=gauge_mm), reference_hz=440.0)
    # tolerances: half a unit of the last digit given
    assert constants.tension_n == pytest.approx(tension_n, abs=0.05)
    assert constants.kappa == pytest.approx(kappa, abs=0.05)
    assert constants.inharmonicity == pytest.approx(inharmonicity, rel=0.005)
    assert constants.reason is None
    assert 0.03 < constants.u_kappa / constants.kappa < 0.10


# Check 9: nylon set of Anderson & Beausoleil 2024 (READ): X0 650 mm, note, radius ρ, κ, β0. For a solid round string κ follows
# from β0, hence from B; tolerance 1.5 %: β0 is printed to three digits (κ goes with its square).
NYLON_SET = [("E4", 0.356, 48.2, 0.00190), ("B3", 0.409, 48.7, 0.00220), ("G3", 0.512, 58.6, 0.00301)]


@pytest.mark.parametrize(("note", "radius_mm", "kappa", "beta0"), NYLON_SET)
def test_nylon_from_its_measured_inharmonicity(note, radius_mm, kappa, beta0):
    string = replace(NYLON, note=note, gauge_mm=2 * radius_mm)
    measured = (math.pi * beta0) ** 2
    constants = string_constants(string, reference_hz=440.0, inharmonicity=measured, u_inharmonicity=0.02 * measured)
    assert constants.inharmonicity == pytest.approx(measured, rel=1e-9)
    assert constants.kappa == pytest.approx(kappa, rel=0.015)
    assert constants.reason is None


@pytest.mark.parametrize(("note", "radius_mm", "kappa", "beta0"), NYLON_SET)
def test_nylon_prior_covers_the_published_set(note, radius_mm, kappa, beta0):
    constants = string_constants(replace(NYLON, note=note, gauge_mm=2 * radius_mm), reference_hz=440.0)
    assert constants.kappa is None
    assert constants.inharmonicity is None
    assert "measured inharmonicity" in constants.reason
    for prior, published in ((constants.kappa_prior, kappa), (constants.beta0_prior, beta0)):
        assert abs(math.log(published / prior.median)) < 2 * prior.u_rel


def test_nylon_tension_of_the_published_set():
    # Check 11: Woodhouse 2004 Table I (READ at second hand): E4, L 650 mm, 0.38 g/m, 70.3 N; his pitch gives T within 1 %
    constants = string_constants(replace(NYLON, mass_per_length_g_m=0.38), reference_hz=440.0)
    assert constants.tension_n == pytest.approx(70.3, rel=0.01)


def test_wound_string_without_its_core_is_unknown_but_has_a_wide_prior():
    constants = string_constants(WOUND, reference_hz=440.0)
    assert constants.kappa is None
    assert "core_mm" in constants.reason
    assert constants.kappa_prior.u_rel > 0.3
    # A bronze-wound low E of 1.35 mm pulls about 100–130 N at 648 mm: common practice, no source
    assert 100.0 < constants.tension_n < 130.0


@pytest.mark.parametrize(("gauge_mm", "core_mm"), [(0.61, 0.33), (0.81, 0.36), (1.07, 0.40), (1.35, 0.45)])
def test_usual_core_covers_cores_met_in_the_trade(gauge_mm, core_mm):
    # Cores of bronze-wound strings: common practice, no source; the prior need only hold them within two deviations
    string = replace(WOUND, gauge_mm=gauge_mm)
    unknown = string_constants(string, reference_hz=440.0).kappa_prior
    known = string_constants(replace(string, core_mm=core_mm), reference_hz=440.0).kappa_prior
    assert abs(math.log(known.median / unknown.median)) < 2 * unknown.u_rel


def test_core_makes_a_wound_string_known():
    known = string_constants(replace(WOUND, core_mm=0.46), reference_hz=440.0)
    # κ = EA/T by hand: 200e9 · π · 0.46e-3² / 4 / T
    assert known.kappa == pytest.approx(200e9 * math.pi * 0.46e-3**2 / 4 / known.tension_n, rel=1e-12)
    assert known.kappa_prior.u_rel < string_constants(WOUND, reference_hz=440.0).kappa_prior.u_rel


def test_propagation_agrees_with_a_closed_form():
    # Plain, tension computed: κ = E/(density·v²), so u² = u_E² + u_density² whatever the gauge (CALC)
    constants = string_constants(STEEL, reference_hz=440.0)
    assert constants.kappa_prior.u_rel == pytest.approx(math.hypot(0.05, 0.01), rel=1e-6)
    given = string_constants(replace(STEEL, tension_n=72.6), reference_hz=440.0)
    assert given.kappa_prior.u_rel == pytest.approx(math.sqrt(0.05**2 + (2 * 0.004 / 0.254) ** 2 + 0.02**2), rel=1e-6)


def test_short_string_uses_its_own_length():
    # The same wire from fret 5 on, tuned a fourth higher, pulls the same (CALC: T ∝ (L·f)²)
    short = string_constants(replace(STEEL, note="A4", first_fret=5), reference_hz=440.0)
    assert short.tension_n == pytest.approx(string_constants(STEEL, reference_hz=440.0).tension_n, rel=1e-9)


def test_wound_uncertainty_agrees_with_monte_carlo():
    # First-order propagation against 20 000 draws of gauge, core, densities, packing and modulus, all independent (GUM S1);
    # the draws' own error is below 1 %, second-order terms a few percent with a core known to a hundredth of a mm
    import numpy as np

    rng = np.random.default_rng(7)
    draw = rng.normal(1.0, 1.0, (6, 20_000))
    gauge = 1.35e-3 * (1 + (draw[0] - 1) * 0.004 / 1.35)
    core = 0.46e-3 * (1 + (draw[1] - 1) * 0.004 / 0.46)
    steel, bronze = 7850 * (1 + (draw[2] - 1) * 0.01), 8750 * (1 + (draw[3] - 1) * 0.02)
    packing, modulus = math.pi / 4 * (1 + (draw[4] - 1) * 0.05), 200e9 * (1 + (draw[5] - 1) * 0.05)
    mass = math.pi / 4 * (steel * core**2 + packing * bronze * (gauge**2 - core**2))
    tension = mass * (2 * 0.648 * 82.4069) ** 2
    kappa = modulus * math.pi / 4 * core**2 / tension
    constants = string_constants(replace(WOUND, core_mm=0.46), reference_hz=440.0)
    assert constants.tension_n == pytest.approx(np.median(tension), rel=0.005)
    assert constants.u_tension_n == pytest.approx(np.std(tension), rel=0.05)
    assert constants.kappa == pytest.approx(np.median(kappa), rel=0.005)
    assert constants.u_kappa == pytest.approx(np.std(kappa), rel=0.05)
    # β0 of the core alone, and beside it what the winding may add to its bending: 15 % of β0, common practice, no source
    beta0 = np.sqrt(modulus * math.pi / 64 * core**4 / tension)
    of_core = np.std(beta0) / np.median(beta0)
    assert constants.beta0_prior.u_rel == pytest.approx(math.hypot(of_core, 0.15), rel=0.05)
