"""Recordings against what they were asked to be, by energy and by the peaks of their spectrum."""

from __future__ import annotations

import numpy as np
import pytest

from tests.synth.necks import steel_neck
from tests.synth.recording import Take, door, open_up_and_down, plan_take, record, speech, squeak
from tests.synth.strung_neck import BuiltNeck

QUIET = Take(seconds_per_note=1.5, hum_db=-120.0, room_db=-120.0)


def spectrum_peak_hz(samples, sample_rate, *, near_hz):
    """Frequency of the strongest peak within 2 % of `near_hz`: Hann window, padded transform, parabola through the top."""
    size = 1 << 20
    spectrum = np.log(np.abs(np.fft.rfft(samples * np.hanning(len(samples)), size)) + 1e-300)
    bins = size / sample_rate
    low, high = int(near_hz * 0.98 * bins), int(near_hz * 1.02 * bins)
    top = low + int(np.argmax(spectrum[low:high]))
    left, middle, right = spectrum[top - 1 : top + 2]
    return (top + 0.5 * (left - right) / (left - 2.0 * middle + right)) / bins


def rms(samples):
    return float(np.sqrt(np.mean(samples**2)))


def stretch(recording, start_s, end_s):
    return recording.samples[round(start_s * recording.sample_rate) : round(end_s * recording.sample_rate)]


@pytest.fixture(scope="module")
def built():
    return BuiltNeck(neck=steel_neck(), frets_mm={7: 0.4}, drift_cents_per_minute={3: -2.0})


@pytest.mark.parametrize("string", [1, 3, 6])
def test_spectrum_peaks_lie_where_the_truth_says(built, string):
    notes = plan_take(built, string, [0, 7, 12, 0], np.random.default_rng(1), take=QUIET)
    recording = record(notes, np.random.default_rng(2), take=QUIET)
    for note in recording.notes:
        settled = stretch(recording, note.start_s + 0.4, note.start_s + note.ring_s - 0.05)
        for number in (1, 2, 3):
            partial = note.f1_hz * number * np.sqrt((1 + note.inharmonicity * number**2) / (1 + note.inharmonicity))
            cents = 1200.0 * np.log2(spectrum_peak_hz(settled, recording.sample_rate, near_hz=partial) / partial)
            assert abs(cents) < 1.5  # rest of the glide 0.6 c, body 0.15 c, second plane up to 0.2 c, neighbours' window lobes


def test_sound_begins_at_the_stated_onsets_and_ends_when_damped(built):
    take = Take(seconds_per_note=1.5, hum_db=-120.0, room_db=-120.0, gaps_s=(0.3, 0.3))
    recording = record(plan_take(built, 2, [0, 5, 0], np.random.default_rng(3), take=take), np.random.default_rng(4), take=take)
    for note in recording.notes:
        before = rms(stretch(recording, note.start_s - 0.06, note.start_s))
        after = rms(stretch(recording, note.start_s, note.start_s + 0.06))
        damped = rms(stretch(recording, note.start_s + note.ring_s + 0.1, note.start_s + note.ring_s + 0.15))
        assert after > 50.0 * before  # damped for 0.24 s at least: over 100 dB at T60 0.06 s
        assert damped < after / 100.0


def test_notes_differ_in_loudness_by_what_was_planned(built):
    notes = plan_take(built, 4, [0, *[5] * 12], np.random.default_rng(5), take=QUIET)
    recording = record(notes, np.random.default_rng(6), take=QUIET)
    planned = [note.level for note in notes]
    assert max(planned) / min(planned) > 1.7
    assert max(planned) <= QUIET.level
    for note in recording.notes:
        # where the next note overlaps the old one has been damped by then
        assert np.abs(stretch(recording, note.start_s, note.start_s + 0.5)).max() == pytest.approx(note.level, rel=0.12)


def test_truth_follows_hand_and_drift(built):
    steady = plan_take(built, 3, [0, 7, 0], np.random.default_rng(7), take=Take(hand_cents=0.0, open_hand_cents=0.0))
    first, stopped, last = steady
    assert stopped.deviation_cents == pytest.approx(built.deviation_cents(3, 7))
    assert last.deviation_cents - first.deviation_cents == pytest.approx(-2.0 * (last.start_s - first.start_s) / 60.0)
    open_then_hz = built.frequency_hz(3, 0) * 2.0 ** (-2.0 * stopped.start_s / 60.0 / 1200.0)
    assert 1200.0 * np.log2(stopped.f1_hz / open_then_hz) - 700.0 == pytest.approx(stopped.deviation_cents)


def test_truth_does_not_depend_on_the_sound(built):
    notes = plan_take(built, 1, [0, 3], np.random.default_rng(8), take=QUIET)
    recordings = [record(notes, np.random.default_rng(seed), take=QUIET) for seed in (1, 2)]
    assert recordings[0].notes == recordings[1].notes == notes
    assert not np.array_equal(recordings[0].samples, recordings[1].samples)


def test_disturbances_fall_in_the_quiet_before_their_note(built):
    take = Take(seconds_per_note=1.0, hum_db=-120.0, room_db=-120.0, disturbances={1: "speech", 2: "door"})
    recording = record(plan_take(built, 1, [0, 3, 5], np.random.default_rng(9), take=take), np.random.default_rng(10), take=take)
    for earlier, later in zip(recording.notes, recording.notes[1:], strict=False):
        gap = stretch(recording, earlier.start_s + earlier.ring_s + 0.3, later.start_s)
        assert np.abs(gap).max() == pytest.approx(0.25 * take.level, rel=0.05)


def test_hum_and_room_have_their_levels(built):
    take = Take(seconds_per_note=1.0, lead_s=2.0, hum_db=-50.0, room_db=-120.0)
    recording = record(plan_take(built, 1, [0], np.random.default_rng(11), take=take), np.random.default_rng(12), take=take)
    assert 20.0 * np.log10(rms(stretch(recording, 0.0, 2.0))) == pytest.approx(-50.0, abs=0.1)
    peak = spectrum_peak_hz(stretch(recording, 0.0, 2.0), take.sample_rate, near_hz=50.0)
    assert peak == pytest.approx(50.0, abs=0.05)
    take = Take(seconds_per_note=1.0, lead_s=2.0, hum_db=-120.0, room_db=-60.0)
    recording = record(plan_take(built, 1, [0], np.random.default_rng(11), take=take), np.random.default_rng(12), take=take)
    assert 20.0 * np.log10(rms(stretch(recording, 0.0, 2.0))) == pytest.approx(-60.0, abs=2.0)  # pink noise wanders


@pytest.mark.parametrize(("make", "low_hz", "high_hz"), [(speech, 80.0, 4000.0), (door, 0.0, 200.0), (squeak, 1000.0, 5000.0)])
def test_noises_peak_at_1_and_keep_to_their_band(make, low_hz, high_hz):
    sound = make(sample_rate=32000.0, rng=np.random.default_rng(13))
    power = np.abs(np.fft.rfft(sound)) ** 2
    frequency = np.fft.rfftfreq(len(sound), 1.0 / 32000.0)
    assert np.abs(sound).max() == pytest.approx(1.0)
    assert power[(frequency >= low_hz) & (frequency <= high_hz)].sum() > 0.95 * power.sum()


def test_open_up_and_down():
    assert open_up_and_down([1, 2]) == [0, 1, 2, 0, 2, 1, 0]
