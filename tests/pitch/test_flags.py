"""Each flag is raised by the sound it is meant for, and none of them by a clean pluck."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fretcheck.pitch.flags import disqualifies, sentence
from fretcheck.pitch.reader import read_pluck
from fretcheck.pitch.reading import Flag
from tests.synth.pluck import PluckSpec, added, clipped, hum, loudness, pluck_sound, white_noise

RATE = 48_000.0
SPEC = PluckSpec(f1_hz=146.83, duration_s=1.5, glide_cents=3.0, glide_tau_s=0.15)


def played(spec=SPEC, *, snr_db=50.0, seed=1):
    rng = np.random.default_rng(seed)
    sound = pluck_sound(spec, sample_rate=RATE, rng=rng)
    return added(sound, white_noise(len(sound), rng=rng), relative_db=-snr_db, sample_rate=RATE)


def bent():
    """A string pulled sharp by 30 cents and let go, halfway through: what a hand that moves does."""
    time = np.arange(round(1.5 * RATE)) / RATE
    cents = 30.0 * np.exp(-(((time - 0.6) / 0.15) ** 2))
    phase = 2 * np.pi * np.cumsum(146.83 * 2 ** (cents / 1200)) / RATE
    sound = sum(np.exp(-1.7 * (1 + 0.2 * (n - 1)) * time) * np.cos(n * phase + n) / n for n in range(1, 15))
    return 0.2 * sound + 1e-4 * white_noise(len(time), rng=np.random.default_rng(2))


def bell():
    """Partials of a free bar, 1 : 2.756 : 5.404 : 8.933 (any acoustics text, MEMORY): nothing like a string's."""
    time = np.arange(round(1.5 * RATE)) / RATE
    sound = sum(np.exp(-3 * time) * np.cos(2 * np.pi * 300.0 * ratio * time + ratio) for ratio in (1.0, 2.756, 5.404, 8.933))
    return 0.1 * sound + 1e-4 * white_noise(len(time), rng=np.random.default_rng(3))


def two_strings():
    sound = played()
    other = pluck_sound(replace(SPEC, f1_hz=196.0), sample_rate=RATE, rng=np.random.default_rng(9))
    return added(sound, other, relative_db=-3.0, sample_rate=RATE)


def hum_bound():
    sound = played()
    return added(sound, hum(len(sound), sample_rate=RATE, rng=np.random.default_rng(4)), relative_db=6.0, sample_rate=RATE)


RAISED_BY = {
    Flag.CLIPPED: lambda: clipped(played(), at_fraction_of_peak=0.6),
    Flag.TOO_QUIET: lambda: 1e-6 * played(),
    Flag.TOO_SHORT: lambda: played(replace(SPEC, duration_s=0.2)),
    Flag.TWO_STRINGS: two_strings,
    Flag.STILL_GLIDING: lambda: played(replace(SPEC, glide_cents=12.0, glide_tau_s=0.6, duration_s=1.0)),
    Flag.BEATING: lambda: played(replace(SPEC, split_hz=1.5, second_plane_db=-6.0)),
    Flag.HUM_BOUND: hum_bound,
    Flag.NOT_A_STRING: bell,
    Flag.UNSTABLE: bent,
    Flag.UNSURE: lambda: played(snr_db=-12.0),
}


@pytest.mark.parametrize("flag", list(Flag))
def test_raised_by_its_sound(flag):
    assert flag in read_pluck(RAISED_BY[flag](), RATE).flags


@pytest.mark.parametrize("seed", range(4))
def test_no_flag_on_a_clean_pluck(seed):
    reading = read_pluck(played(seed=seed), RATE)
    assert reading.flags == ()
    assert reading.usable


@pytest.mark.parametrize("flag", [Flag.CLIPPED, Flag.BEATING])
def test_what_only_widens_the_uncertainty_is_used(flag):
    assert not disqualifies(flag)
    assert read_pluck(RAISED_BY[flag](), RATE).usable


@pytest.mark.parametrize("flag", [flag for flag in Flag if flag not in (Flag.CLIPPED, Flag.BEATING)])
def test_what_cannot_be_trusted_is_not_used(flag):
    assert disqualifies(flag)
    assert not read_pluck(RAISED_BY[flag](), RATE).usable


@pytest.mark.parametrize("flag", list(Flag))
def test_every_flag_has_a_sentence(flag):
    assert sentence(flag).endswith(".")


def test_silence_is_too_quiet():
    assert read_pluck(np.zeros(48_000), RATE).flags == (Flag.TOO_QUIET,)


def test_noise_is_not_read_as_a_note():
    noise = 0.1 * white_noise(72_000, rng=np.random.default_rng(8))
    assert not read_pluck(noise, RATE).usable


def test_a_hand_that_stops_the_note_shortens_the_window():
    reading = read_pluck(played(replace(SPEC, stop_s=0.9)), RATE)
    assert reading.usable
    assert 0.6 < reading.window_s[1] < 0.95
    assert abs(1200 * np.log2(reading.f1_hz / SPEC.f1_hz)) < 0.05


def test_the_next_pluck_is_left_out():
    first, second = played(), played(replace(SPEC, f1_hz=174.6), seed=7)
    sound = first.copy()
    start = round(0.8 * RATE)
    sound[start:] += second[: len(sound) - start]
    reading = read_pluck(sound, RATE)
    assert reading.window_s[1] < 0.85
    assert abs(1200 * np.log2(reading.f1_hz / SPEC.f1_hz)) < 0.05


def test_pure_sinusoid_of_the_mains_is_no_note():
    time = np.arange(72_000) / RATE
    sound = 0.1 * np.sin(2 * np.pi * 50.0 * time) + 0.03 * np.sin(2 * np.pi * 150.0 * time)
    assert loudness(sound, sample_rate=RATE) > 0.05
    assert not read_pluck(sound, RATE).usable
