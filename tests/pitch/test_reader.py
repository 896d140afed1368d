"""The estimator on sound whose pitch is known exactly."""

from __future__ import annotations

import numpy as np
import pytest

from fretcheck.errors import UsageError
from fretcheck.pitch.reader import read_pluck
from tests.synth.pluck import PluckSpec, added, pluck_sound, white_noise

RATE = 48_000.0


def cents(found_hz, true_hz):
    return 1200.0 * np.log2(found_hz / true_hz)


@pytest.mark.parametrize("f1_hz", [30.868, 82.407, 195.998, 440.0, 1318.51])
def test_a_clean_pluck_is_read_to_a_hundredth_of_a_cent(f1_hz):
    """40 dB above white noise; the bound for such a note lies well below 0.01 cents."""
    rng = np.random.default_rng(round(f1_hz))
    spec = PluckSpec(f1_hz=f1_hz, t60_s=min(6.0, 4.0 * (110.0 / f1_hz) ** 0.5))
    sound = pluck_sound(spec, sample_rate=RATE, rng=rng)
    sound = added(sound, white_noise(len(sound), rng=rng), relative_db=-40.0, sample_rate=RATE)
    reading = read_pluck(sound, RATE)
    assert reading.remarks == ()
    assert abs(cents(reading.f1_hz, f1_hz)) < 0.01
    assert abs(reading.glide_cents) < 0.1
    assert abs(reading.inharmonicity - 1e-4) < 1e-5


@pytest.mark.parametrize("snr_db", [20.0, 40.0, np.inf])
def test_a_plain_string_in_any_room(snr_db):
    """Ten partials by their formula (Fletcher 1964, from memory), also with no noise at all: 0.02 cents, B to 2 %."""
    time, n = np.arange(72_000) / RATE, np.arange(1, 11)[:, None]
    sound = 0.1 * np.sum(np.exp(-3 * time) / n * np.sin(2 * np.pi * 220 * n * np.sqrt(1 + 1e-4 * n**2) * time), axis=0)
    noise = 10 ** (-snr_db / 20) * 0.05 * white_noise(72_000, rng=np.random.default_rng(1))
    reading = read_pluck(sound + noise, RATE)
    assert reading.remarks == ()
    assert abs(cents(reading.f1_hz, 220 * np.sqrt(1 + 1e-4))) < 0.02
    assert reading.inharmonicity == pytest.approx(1e-4, rel=0.02)


@pytest.mark.parametrize("samples", [np.zeros((2, 4800)), np.array([0.0, np.nan, 1.0])])
def test_sound_that_is_none_is_refused(samples):
    with pytest.raises(UsageError, match="one channel of finite samples"):
        read_pluck(samples, RATE)


def test_low_sample_rate_is_refused():
    with pytest.raises(UsageError, match="too low"):
        read_pluck(np.zeros(4000), 1000.0)


def test_partials_that_disagree_widen_the_uncertainty_by_as_much():
    """A body pulls each partial by up to 6 cents, its planes beat: two standard uncertainties hold 16 or more of 20 readings.

    Of a normal error they hold 95 %, and fewer than 16 come three times in a thousand. Taken for agreed, at 0.2 cents, the
    readings would be held half at most.
    """
    errors, us = [], []
    for seed in range(20):
        rng = np.random.default_rng([17, seed])
        spec = PluckSpec(f1_hz=196.0, body_pull_cents=6.0, split_hz=0.8, second_plane_db=-3.0)
        sound = pluck_sound(spec, sample_rate=RATE, rng=rng)
        sound = added(sound, white_noise(len(sound), rng=rng), relative_db=-40.0, sample_rate=RATE)
        reading = read_pluck(sound, RATE)
        errors.append(abs(cents(reading.f1_hz, 196.0)))
        us.append(reading.u_cents)
    assert np.sum(np.array(errors) <= 2.0 * np.array(us)) >= 16
    assert np.sum(np.array(errors) <= 2.0 * 0.2) <= 10
