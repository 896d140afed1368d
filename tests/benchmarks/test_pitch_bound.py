"""The benchmark's bound against closed forms."""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose

from tests.benchmarks.pitch_bound import sd_f1_hz
from tests.synth.pluck import Mode

RATE = 48_000.0


def bound_of_one(decay_per_s, duration_s):
    """A single partial of amplitude 1 in noise of RMS 0.01."""
    mode = Mode(number=1, frequency_hz=440.0, decay_per_s=decay_per_s, amplitude=1.0, phase=0.3)
    return sd_f1_hz([mode], f1_hz=440.0, inharmonicity=0.0, sigma=0.01, sample_rate=RATE, duration_s=duration_s, stiff=False)


def test_undamped_sinusoid():
    """var f ≥ 24σ²fs²/((2π)²A²N(N²−1)) (Rife & Boorstyn 1974, MEMORY; value CALC). 0.1 %: the formula leaves out 2f terms."""
    frames = RATE * 1.0
    expected = np.sqrt(24 * 0.01**2 * RATE**2 / ((2 * np.pi) ** 2 * frames * (frames**2 - 1)))
    assert_allclose(bound_of_one(0.0, 1.0), expected, rtol=1e-3)


def test_damped_sinusoid_over_its_whole_decay():
    """sd f ≥ (2/π)(σ/A)α^1.5/√fs; T60 4 s, A/σ 100, 48 kHz: 6.6e-5 Hz (derived, CALC). 1 %: the figure has two digits."""
    alpha = np.log(1000.0) / 4.0
    expected = 2 / np.pi * 0.01 * alpha**1.5 / np.sqrt(RATE)
    assert_allclose(expected, 6.6e-5, rtol=1e-2)
    assert_allclose(bound_of_one(alpha, 8.0), expected, rtol=2e-3)


def test_an_unknown_stiffness_costs_and_more_partials_help():
    alpha = 2.0

    def modes(count):
        return [
            Mode(number=n, frequency_hz=n * 110.0, decay_per_s=alpha, amplitude=1.0 / n, phase=0.1 * n)
            for n in range(1, count + 1)
        ]

    common = {"f1_hz": 110.0, "inharmonicity": 0.0, "sigma": 0.01, "sample_rate": 16_000.0, "duration_s": 1.0}
    assert sd_f1_hz(modes(8), **common) > sd_f1_hz(modes(8), **common, stiff=False)
    assert sd_f1_hz(modes(8), **common) < sd_f1_hz(modes(3), **common)
    # 10 % more: a bound with more unknowns can only be larger
    assert sd_f1_hz(modes(8), **common, glide_cents=5.0, tau_s=0.15) > 1.1 * sd_f1_hz(modes(8), **common)
