"""The synthetic pluck against closed forms of sinusoids and of the stiff string."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.synth import pluck

RATE = 48_000.0
SPEC = pluck.PluckSpec(f1_hz=110.0, partials=6, duration_s=1.0)


def phase_slope_hz(sound, near_hz, *, from_s, to_s):
    """Mean frequency of one isolated sinusoid between two times, by the phase of its heterodyned, windowed mean."""
    time = np.arange(len(sound)) / RATE
    width = round(0.2 * RATE)
    window = np.hanning(width)
    base = sound * np.exp(-2j * np.pi * near_hz * time)
    phases = [np.angle(np.sum(window * base[round(at * RATE) :][:width])) for at in (from_s, to_s)]
    turn = (phases[1] - phases[0] + np.pi) % (2 * np.pi) - np.pi
    return near_hz + turn / (2 * np.pi * (to_s - from_s))


def test_partial_one_is_the_settled_frequency():
    """A single partial is a sinusoid at f1, whatever B is: f1 = f0·√(1+B). Tolerance: leakage of its mirror image."""
    sound = pluck.pluck_sound(replace(SPEC, partials=1, inharmonicity=3e-4), sample_rate=RATE, rng=np.random.default_rng(1))
    assert_allclose(phase_slope_hz(sound, 110.0, from_s=0.1, to_s=0.7), 110.0, atol=1e-4)


def test_partials_are_those_of_a_stiff_string():
    """f_n = n·f0·√(1+B·n²) (Fletcher 1964, from memory), CALC here from f1."""
    found = pluck.modes(replace(SPEC, inharmonicity=2e-4), sample_rate=RATE, rng=np.random.default_rng(1))
    expected = [n * 110.0 * np.sqrt((1 + 2e-4 * n**2) / (1 + 2e-4)) for n in range(1, 7)]
    assert_allclose([mode.frequency_hz for mode in found], expected, rtol=1e-12)


def test_glide_phase_is_the_integral_of_the_frequency():
    """Against fine trapezoidal quadrature; 30 cents is far beyond any real glide. Tolerance: the quadrature's own."""
    time = np.linspace(0.0, 1.0, 200_001)
    speed = 2.0 ** (30.0 * np.exp(-time / 0.2) / 1200.0)
    integral = np.concatenate(([0.0], np.cumsum((speed[1:] + speed[:-1]) / 2) * time[1]))
    assert_allclose(pluck.warped_time(time, glide_cents=30.0, tau_s=0.2), integral, atol=1e-10)


def test_glide_settles_with_half_the_amplitudes_time_constant():
    """Tension follows the square of the amplitude, so its time constant is half: T60/ln(1000)/2."""
    assert_allclose(replace(SPEC, t60_s=4.0).tau_s, 4.0 / np.log(1000.0) / 2.0)


def test_decay_is_sixty_decibels_in_t60():
    """RMS an integer number of cycles apart; 0.3 s at T60 1 s is 18 dB."""
    spec = replace(SPEC, f1_hz=100.0, partials=1, inharmonicity=0.0, t60_s=1.0)
    sound = pluck.pluck_sound(spec, sample_rate=RATE, rng=np.random.default_rng(2))
    early, late = (np.sqrt(np.mean(sound[round(at * RATE) :][:4800] ** 2)) for at in (0.1, 0.4))
    assert_allclose(20 * np.log10(early / late), 18.0, atol=1e-6)


def test_peak_is_the_level():
    sound = pluck.pluck_sound(replace(SPEC, level=0.25), sample_rate=RATE, rng=np.random.default_rng(3))
    assert_allclose(np.max(np.abs(sound)), 0.25)


@pytest.mark.parametrize("make", [pluck.hum, pluck.rumble, pluck.pink_noise])
def test_added_disturbance_has_the_level_asked_for(make):
    rng = np.random.default_rng(4)
    sound = pluck.pluck_sound(SPEC, sample_rate=RATE, rng=rng)
    disturbance = make(len(sound), sample_rate=RATE, rng=rng)
    mixed = pluck.added(sound, disturbance, relative_db=-20.0, sample_rate=RATE)
    ratio = pluck.loudness(mixed - sound, sample_rate=RATE) / pluck.loudness(sound, sample_rate=RATE)
    assert_allclose(ratio, 0.1)


def test_same_seed_same_sound():
    spec = replace(SPEC, body_pull_cents=1.0, attack_noise_db=-20.0, split_hz=0.2, second_plane_db=-6.0)
    first, second = (pluck.pluck_sound(spec, sample_rate=RATE, rng=np.random.default_rng(5)) for _ in range(2))
    assert np.array_equal(first, second)


def test_hand_stops_the_note():
    sound = pluck.pluck_sound(replace(SPEC, stop_s=0.5), sample_rate=RATE, rng=np.random.default_rng(6))
    assert np.max(np.abs(sound[round(0.6 * RATE) :])) < 1e-4 * np.max(np.abs(sound))
