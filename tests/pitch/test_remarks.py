"""Each remark is raised by the sound it is meant for, and none of them by a clean pluck."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fretcheck.pitch.reader import read_pluck
from fretcheck.pitch.remarks import Remark
from tests.synth.pluck import PluckSpec, added, clipped, hum, loudness, pluck_sound, white_noise

RATE = 48_000.0
READ_CENTS = 0.2
"""A fifth of what a hand repeats to; these plucks glide by 3 cents."""
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


def knock():
    """A box struck: six resonances that die within a tenth of a second (sizes: common practice, no source)."""
    rng = np.random.default_rng(5)
    time = np.arange(round(1.5 * RATE)) / RATE
    sound = sum(np.exp(-time / 0.03) * np.sin(2 * np.pi * hz * time) for hz in rng.uniform(60.0, 900.0, 6))
    return 0.1 * sound + 1e-4 * white_noise(len(time), rng=rng)


def speech():
    """A voice: partials of a pitch that glides up and down by two semitones, in syllables."""
    rng = np.random.default_rng(6)
    time = np.arange(round(1.5 * RATE)) / RATE
    phase = 2 * np.pi * np.cumsum(120.0 * 2 ** (2.0 * np.sin(2 * np.pi * 1.7 * time) / 12.0)) / RATE
    sound = sum(np.exp(-(((120.0 * n - 500.0) / 400.0) ** 2)) * np.cos(n * phase) for n in range(1, 20))
    return 0.1 * sound * np.sin(np.pi * 3.0 * time) ** 2 + 1e-3 * white_noise(len(time), rng=rng)


def third_and_fifth_partial():
    """Two lines 3 to 5: the partials 3 and 5 of one note, or two of another that are bent."""
    time = np.arange(round(1.5 * RATE)) / RATE
    sound = sum(size * np.exp(-(2 + n) * time) * np.cos(2 * np.pi * 147.3 * n * time + n) for n, size in ((3, 1.0), (5, 0.6)))
    return 0.1 * sound + 1e-4 * white_noise(len(time), rng=np.random.default_rng(1))


def third_partial_or_note():
    """Hum-like lines of a low string beneath a note at a multiple of theirs: 50, 100 and 150 Hz that hardly decay."""
    time = np.arange(round(0.45 * RATE)) / RATE
    sound = sum(size * np.cos(2 * np.pi * 50.0 * n * time + n) for n, size in ((1, 1.0), (2, 1.0)))
    sound += sum(0.5 / n * np.exp(-4.0 * time) * np.cos(2 * np.pi * 150.2 * n * time + n) for n in range(1, 6))
    return 0.1 * sound + 1e-4 * white_noise(len(time), rng=np.random.default_rng(7))


RAISED_BY = {
    Remark.TOO_QUIET: lambda: 1e-6 * played(),
    Remark.TOO_SHORT: lambda: played(replace(SPEC, duration_s=0.1)),
    Remark.NOT_A_STRING: bell,
    Remark.OCTAVE_IN_DOUBT: third_and_fifth_partial,
    Remark.HUM_BOUND: third_partial_or_note,
    Remark.TWO_STRINGS: two_strings,
    Remark.CLIPPED_AWAY: lambda: clipped(played(), at_fraction_of_peak=0.02),
    Remark.UNREADABLE: lambda: played(replace(SPEC, body_pull_cents=80.0)),
    Remark.CLIPPED: lambda: clipped(played(), at_fraction_of_peak=0.6),
    Remark.BEATING: lambda: played(replace(SPEC, body_pull_cents=12.0)),
    Remark.STILL_GLIDING: lambda: played(replace(SPEC, glide_cents=30.0, glide_tau_s=None, duration_s=0.3)),
    Remark.UNSTABLE: bent,
    Remark.UNSURE: lambda: played(replace(SPEC, body_pull_cents=15.0)),
}
"""The sound that each remark is meant for."""


@pytest.mark.parametrize("remark", RAISED_BY)
def test_raised_by_its_sound(remark):
    assert remark in read_pluck(RAISED_BY[remark](), RATE).remarks


@pytest.mark.parametrize("seed", range(4))
def test_nothing_is_said_of_a_clean_pluck(seed):
    reading = read_pluck(played(seed=seed), RATE)
    assert reading.remarks == ()
    assert reading.usable


@pytest.mark.parametrize("remark", RAISED_BY)
def test_used_unless_its_sound_is_no_use_and_refused_for_nothing_else(remark):
    """A remark that only tells why u is wide leaves the note in use; a refusal names what caused it alone."""
    reading = read_pluck(RAISED_BY[remark](), RATE)
    assert reading.usable is not remark.refuses
    assert [one for one in reading.remarks if one.refuses] == ([remark] if remark.refuses else [])


@pytest.mark.parametrize("remark", list(Remark))
def test_every_remark_has_a_sentence(remark):
    assert remark.sentence.endswith(".")


def test_no_remark_speaks_of_bending():
    """The reader does not know whether a string was open; what a player may have done is said where that is known."""
    assert not any(word in remark.sentence for remark in Remark for word in ("bent", "slid"))


@pytest.mark.parametrize("sound", [knock, bell, speech])
def test_what_is_no_string_is_not_used(sound):
    assert not read_pluck(sound(), RATE).usable


@pytest.mark.parametrize("relative_db", [-10.0, 0.0, 10.0])
def test_hum_as_loud_as_the_note_is_read_through(relative_db):
    """Hum that stands apart from the partials by 3 Hz and more must not move them."""
    noise = hum(len(played()), sample_rate=RATE, rng=np.random.default_rng(4))
    reading = read_pluck(added(played(), noise, relative_db=relative_db, sample_rate=RATE), RATE)
    assert reading.usable
    assert abs(1200 * np.log2(reading.f1_hz / SPEC.f1_hz)) < READ_CENTS


@pytest.mark.parametrize("partials", [5, 20])
def test_a_note_that_stands_in_the_hum_is_refused_for_that(partials):
    """A string of 200.0 Hz, a multiple of 50, whose lower partials the hum covers: 5 are all it has; of 20 some stand clear."""
    sound = played(replace(SPEC, f1_hz=200.0, inharmonicity=0.0, partials=partials))
    noise = hum(len(sound), sample_rate=RATE, rng=np.random.default_rng(4), harmonics=20)
    reading = read_pluck(added(sound, noise, relative_db=6.0, sample_rate=RATE), RATE)
    assert reading.remarks == (Remark.HUM_BOUND,)


def test_silence_is_too_quiet():
    assert read_pluck(np.zeros(48_000), RATE).remarks == (Remark.TOO_QUIET,)


def test_noise_is_not_read_as_a_note():
    noise = 0.1 * white_noise(72_000, rng=np.random.default_rng(8))
    assert not read_pluck(noise, RATE).usable


def test_a_hand_that_stops_the_note_shortens_the_window():
    reading = read_pluck(played(replace(SPEC, stop_s=0.9)), RATE)
    assert reading.usable
    assert 0.6 < reading.window_s[1] < 0.95
    assert abs(1200 * np.log2(reading.f1_hz / SPEC.f1_hz)) < READ_CENTS


def test_the_next_pluck_is_left_out():
    first, second = played(), played(replace(SPEC, f1_hz=174.6), seed=7)
    sound = first.copy()
    start = round(0.8 * RATE)
    sound[start:] += second[: len(sound) - start]
    reading = read_pluck(sound, RATE)
    assert reading.window_s[1] < 0.85
    assert abs(1200 * np.log2(reading.f1_hz / SPEC.f1_hz)) < READ_CENTS


def test_pure_sinusoid_of_the_mains_is_no_note():
    time = np.arange(72_000) / RATE
    sound = 0.1 * np.sin(2 * np.pi * 50.0 * time) + 0.03 * np.sin(2 * np.pi * 150.0 * time)
    assert loudness(sound, sample_rate=RATE) > 0.05
    assert not read_pluck(sound, RATE).usable
