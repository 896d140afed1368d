"""What must not change a pitch: gain, polarity, a constant offset, the sample rate, silence around the note."""

from __future__ import annotations

from functools import cache

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from fretcheck.pitch.reader import read_pluck
from tests.synth.pluck import PluckSpec, added, pluck_sound, white_noise

RATE = 48_000.0
NOTES_HZ = (41.2, 110.0, 246.94, 659.26)
PROFILE = settings(max_examples=25, deadline=None, derandomize=True)
notes = st.sampled_from(NOTES_HZ)


@cache
def pluck(f1_hz, rate=RATE, noise_seed=1):
    """The same pluck at any rate: 1.2 s, 50 dB over noise of the same density."""
    spec = PluckSpec(f1_hz=f1_hz, duration_s=1.2, partials=12, glide_cents=3.0, glide_tau_s=0.15)
    # a rate so low that it loses partials would have another peak level: the level is set from the fullest sound
    sound = pluck_sound(spec, sample_rate=rate, rng=np.random.default_rng(3))
    noise = white_noise(len(sound), rng=np.random.default_rng(noise_seed))
    return added(sound, noise, relative_db=-50.0 + 10.0 * np.log10(rate / RATE), sample_rate=rate)


def cents(first_hz, second_hz):
    return 1200.0 * np.log2(first_hz / second_hz)


@PROFILE
@given(notes, st.floats(-60.0, 0.0), st.booleans())
def test_gain_and_polarity(f1_hz, gain_db, inverted):
    """1e-5 cents: arithmetic only."""
    factor = 10.0 ** (gain_db / 20.0) * (-1.0 if inverted else 1.0)
    assert abs(cents(read_pluck(factor * pluck(f1_hz), RATE).f1_hz, read_pluck(pluck(f1_hz), RATE).f1_hz)) < 1e-5


@PROFILE
@given(notes, st.floats(-0.5, 0.5))
def test_constant_offset(f1_hz, offset):
    """1e-5 cents: the mean is taken off before anything else."""
    assert abs(cents(read_pluck(pluck(f1_hz) + offset, RATE).f1_hz, read_pluck(pluck(f1_hz), RATE).f1_hz)) < 1e-5


@PROFILE
@given(notes, st.sampled_from([8_000.0, 11_025.0, 16_000.0, 22_050.0, 32_000.0, 44_100.0, 96_000.0, 192_000.0]))
def test_sample_rate(f1_hz, rate):
    """0.3 cents: low rates hold fewer partials, and these plucks glide by 3 cents; a hand repeats to half a cent."""
    reading = read_pluck(pluck(f1_hz, rate), rate)
    assert abs(cents(reading.f1_hz, f1_hz)) < 0.3


@PROFILE
@given(notes, st.floats(0.0, 0.3))
def test_silence_after_the_note(f1_hz, silence_s):
    """Digital silence after the note is no part of it: the end is found. 0.05 cents: the last frames differ."""
    sound = np.concatenate([pluck(f1_hz), np.zeros(round(silence_s * RATE))])
    assert abs(cents(read_pluck(sound, RATE).f1_hz, f1_hz)) < 0.05


@PROFILE
@given(notes, st.floats(0.0, 0.05))
def test_a_later_start(f1_hz, trimmed_s):
    """Up to 50 ms cut from the beginning move the settled pitch by no more than the noise does."""
    reading = read_pluck(pluck(f1_hz)[round(trimmed_s * RATE) :], RATE)
    assert abs(cents(reading.f1_hz, f1_hz)) < max(0.02, 5.0 * reading.u_cents)


@PROFILE
@given(notes, st.floats(-2400.0, 2400.0))
def test_a_hint_is_never_forced(f1_hz, away_cents):
    hinted = read_pluck(pluck(f1_hz), RATE, hint_hz=f1_hz * 2.0 ** (away_cents / 1200.0))
    assert abs(cents(hinted.f1_hz, f1_hz)) < 0.05
