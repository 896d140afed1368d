"""Strings, voices and noises told apart by their sound alone."""

from __future__ import annotations

import numpy as np
import pytest

from fretcheck.audio.segment.character import (
    COHERENT,
    FADES_AT_ONCE,
    NOT_STEADY,
    TOO_SHORT,
    coherence,
    speaks_against_string,
)
from fretcheck.audio.segment.tape import Tape
from fretcheck.clipping import clipped_fraction
from tests.audio import streams
from tests.synth.pluck import PluckSpec, added, pink_noise, pluck_sound, white_noise

RATE = 24_000.0
ATTACK = round(0.05 * RATE)


@pytest.mark.parametrize("f1_hz", [30.87, 82.4, 330.0, 1318.0])
@pytest.mark.parametrize("t60_s", [1.0, 8.0])
def test_strings_of_all_pitches_pass(rng, f1_hz, t60_s):
    spec = PluckSpec(f1_hz=f1_hz, t60_s=t60_s, inharmonicity=2e-4, glide_cents=20.0, split_hz=0.3, second_plane_db=-2.0)
    sound = pluck_sound(spec, sample_rate=RATE, rng=rng)
    noisy = added(sound, pink_noise(len(sound), sample_rate=RATE, rng=rng), relative_db=-20.0, sample_rate=RATE)
    assert speaks_against_string(sound[ATTACK:], RATE) is None
    assert speaks_against_string(noisy[ATTACK:], RATE) is None


def test_noise_never_passes(rng):
    for _ in range(50):
        for noise in (white_noise(round(2 * RATE), rng=rng), pink_noise(round(2 * RATE), sample_rate=RATE, rng=rng)):
            assert coherence(noise, RATE) < COHERENT
    assert speaks_against_string(noise, RATE) == NOT_STEADY


def test_a_sinusoid_is_coherent_and_a_slide_is_not():
    time = np.arange(round(RATE)) / RATE
    assert coherence(np.sin(2 * np.pi * 123.4 * time), RATE) > 0.99
    assert coherence(np.sin(2 * np.pi * (123.4 * time + 100.0 * time**2)), RATE) < COHERENT


def test_short_and_dying_sounds(rng):
    tone = np.sin(2 * np.pi * 220.0 * np.arange(round(RATE)) / RATE)
    assert speaks_against_string(tone[: round(0.1 * RATE)], RATE) == TOO_SHORT
    assert speaks_against_string(tone * np.exp(-np.arange(len(tone)) / (0.02 * RATE)), RATE) == FADES_AT_ONCE
    assert speaks_against_string(streams.door_slam(rng, sample_rate=RATE)[ATTACK:], RATE) is not None


def test_clipping_is_found_at_any_rail_and_nowhere_else(rng):
    sound = pluck_sound(PluckSpec(f1_hz=110.0, level=0.9), sample_rate=RATE, rng=rng)
    assert clipped_fraction(sound) == 0.0
    assert clipped_fraction(np.round(sound * 128) / 128) == 0.0, "steps of 8 bits are no clipping"
    hot = np.clip(2.0 * sound, -1.0, 1.0)
    share = np.mean(np.abs(hot) == 1.0)
    assert share > 0.001
    assert clipped_fraction(hot) == pytest.approx(share, rel=0.2)  # runs of one or two samples are not counted
    assert clipped_fraction(0.4 * hot) == pytest.approx(share, rel=0.2)
    assert clipped_fraction(np.zeros(100)) == 0.0
    assert clipped_fraction(np.ones(2)) == 0.0


def test_a_tape_holds_what_was_not_forgotten(rng):
    tape, sound = Tape(100), rng.standard_normal(50_000)
    for low in range(0, len(sound), 777):
        tape.append(sound[low : low + 777])
        tape.forget_before(tape.end - 1_000)
        assert tape.end - tape.start <= 1_000
        assert np.array_equal(tape.copy(0, 10**9), sound[max(0, tape.end - 1_100) : tape.end - 100])
    assert len(tape._data) < 10_000
