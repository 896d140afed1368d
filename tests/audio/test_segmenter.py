"""Plucks cut from streams whose onsets are known because they were put there.

Tolerance of an onset: 15 ms, a third of the attack that is left out of every measurement; most are within 1 ms.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from fretcheck.audio.input.source import Block
from fretcheck.audio.segment.pluck import Onset, Pluck, SetAside
from fretcheck.audio.segment.segmenter import DOES_NOT_FADE, OVER_RINGING, Segmenter
from tests.audio import streams
from tests.synth.pluck import hum, pink_noise

RATE = 24_000.0
STEPS = (0, 1, 5, 12, 3, 0, 0, 7)
ONSET_TOLERANCE_S = 0.015


def semitones_above(f1_hz):
    return tuple(f1_hz * 2 ** (step / 12) for step in STEPS)


def assert_all_found(stream, events):
    plucks = streams.plucks_in(events)
    assert [pluck.start_s for pluck in plucks] == pytest.approx(stream.onsets_s, abs=ONSET_TOLERANCE_S)
    for pluck in plucks:
        assert np.array_equal(pluck.samples, stream.samples[pluck.start_frame : pluck.start_frame + len(pluck.samples)])
        assert 0.03 * stream.sample_rate < pluck.settled_from < 0.2 * stream.sample_rate
        assert pluck.clipped_fraction == 0.0


@pytest.mark.parametrize("damped", [True, False], ids=["damped", "old note rings on"])
@pytest.mark.parametrize("f1_hz", [30.87, 82.4, 196.0, 700.0])
def test_loud_and_soft_plucks_of_any_string_over_hum(rng, f1_hz, damped):
    levels = (0.0, -20.0) if damped else (0.0, -10.0)
    stream = streams.string_stream(rng, f1_hz=semitones_above(f1_hz), levels_db=levels, damped=damped, hum_db=-40.0)
    events = streams.segment(stream.samples, RATE)
    assert_all_found(stream, events)
    assert streams.set_aside_in(events) == []


@pytest.mark.parametrize("rate", [8_000.0, 22_050.0, 44_100.0, 192_000.0])
def test_any_sample_rate(rng, rate):
    stream = streams.string_stream(rng, f1_hz=semitones_above(110.0)[:5], sample_rate=rate, hum_db=-40.0, mains_hz=60.0)
    assert_all_found(stream, streams.segment(stream.samples, rate))


def test_the_same_note_again_while_it_still_rings(rng):
    stream = streams.string_stream(rng, f1_hz=(147.0,) * 6, levels_db=(0.0,), damped=False, t60_s=12.0)
    assert_all_found(stream, streams.segment(stream.samples, RATE))


def test_a_pluck_without_a_click_is_found(rng):
    stream = streams.string_stream(rng, f1_hz=semitones_above(98.0), attack_noise_db=None)
    assert_all_found(stream, streams.segment(stream.samples, RATE))


@pytest.mark.parametrize("split_hz", [0.1, 0.3, 1.0])
@pytest.mark.parametrize("f1_hz", [30.87, 196.0, 1318.0])
def test_a_beating_string_is_one_pluck(rng, f1_hz, split_hz):
    stream = streams.string_stream(
        rng, f1_hz=(f1_hz,), gap_s=8.0, t60_s=12.0, split_hz=split_hz, split_growth=1.0, second_plane_db=-0.3, noise_db=-75.0
    )
    assert_all_found(stream, streams.segment(stream.samples, RATE))


@pytest.mark.parametrize("size", [1, 37, 256, 1024, 9_999, 10**7])
def test_block_boundaries_do_not_matter(rng, size):
    stream = streams.string_stream(rng, f1_hz=semitones_above(110.0)[:2], hum_db=-45.0, sample_rate=8_000.0)
    streams.mix(stream.samples, streams.door_slam(rng, sample_rate=8_000.0), at_s=3.9, sample_rate=8_000.0)
    streams.mix(stream.samples, streams.voice(rng, seconds=0.4, sample_rate=8_000.0), at_s=0.1, sample_rate=8_000.0)
    expected, given = (streams.segment(stream.samples, 8_000.0, block=block) for block in (512, size))
    assert [type(event) for event in given] == [type(event) for event in expected]
    assert streams.set_aside_in(given) == streams.set_aside_in(expected)
    for pluck, other in zip(streams.plucks_in(given), streams.plucks_in(expected), strict=True):
        assert np.array_equal(pluck.samples, other.samples)
        assert (pluck.start_frame, pluck.settled_from, pluck.end) == (other.start_frame, other.settled_from, other.end)
        assert pluck.noise_rms == other.noise_rms


def test_each_onset_is_answered_by_one_pluck_or_reason(rng):
    stream = streams.string_stream(rng, f1_hz=semitones_above(110.0))
    for index in range(5):
        streams.mix(stream.samples, streams.squeak(rng, sample_rate=RATE), at_s=1.2 + 1.5 * index, sample_rate=RATE)
    events = streams.segment(stream.samples, RATE)
    answered = [
        isinstance(after, Onset) or (isinstance(event, Onset) and not isinstance(after, Pluck | SetAside))
        for event, after in pairwise(events)
        if isinstance(event, Onset)
    ]
    assert answered
    assert not any(answered)


@pytest.mark.parametrize("kind", ["voice", "high voice", "door", "squeak"])
def test_other_sounds_in_a_gap_are_set_aside(rng, kind):
    stream = streams.string_stream(rng, f1_hz=(110.0, 123.5), gap_s=5.0, t60_s=1.5, noise_db=-50.0)
    for begin in stream.onsets_s:
        sound = {
            "voice": lambda: streams.voice(rng, seconds=1.2, sample_rate=RATE),
            "high voice": lambda: streams.voice(rng, seconds=1.2, sample_rate=RATE, f0_hz=220.0),
            "door": lambda: streams.door_slam(rng, sample_rate=RATE),
            "squeak": lambda: streams.squeak(rng, sample_rate=RATE),
        }[kind]()
        streams.mix(stream.samples, sound, at_s=begin + 3.0, sample_rate=RATE)
    events = streams.segment(stream.samples, RATE)
    assert_all_found(stream, events)
    aside = streams.set_aside_in(events)
    for begin in stream.onsets_s:
        assert any(begin + 2.9 < item.start_s < begin + 3.6 for item in aside)
    assert all(item.end_s > item.start_s and item.reason for item in aside)


def test_a_squeak_over_a_ringing_note_is_no_pluck_and_ends_the_note(rng):
    stream = streams.string_stream(rng, f1_hz=(110.0,), gap_s=4.0)
    at = stream.onsets_s[0] + 1.5
    streams.mix(stream.samples, streams.squeak(rng, sample_rate=RATE, level=0.05), at_s=at, sample_rate=RATE)
    events = streams.segment(stream.samples, RATE)
    assert_all_found(stream, events)
    (pluck,) = streams.plucks_in(events)
    assert len(pluck.samples) / RATE == pytest.approx(1.5, abs=0.06)
    assert [item.reason for item in streams.set_aside_in(events)] == [OVER_RINGING]


def test_ends_tell_what_happened(rng):
    stream = streams.string_stream(rng, f1_hz=(220.0, 247.0), gap_s=2.0, t60_s=8.0)
    first, last = streams.plucks_in(streams.segment(stream.samples, RATE))
    assert (first.end, last.end) == ("next_pluck", "stopped")
    assert last.start_s + len(last.samples) / RATE == pytest.approx(stream.onsets_s[1] + 2.0, abs=0.05)
    decaying = streams.string_stream(rng, f1_hz=(220.0,), gap_s=5.0, t60_s=1.5)
    (pluck,) = streams.plucks_in(streams.segment(decaying.samples, RATE))
    assert pluck.end == "decayed"
    cut = stream.samples[: round((stream.onsets_s[1] + 1.0) * RATE)]
    assert streams.plucks_in(streams.segment(cut, RATE))[-1].end == "end_of_stream"


def test_noise_is_measured_before_the_pluck(rng):
    stream = streams.string_stream(rng, f1_hz=(220.0,), noise_db=-40.0)
    (pluck,) = streams.plucks_in(streams.segment(stream.samples, RATE))
    assert pluck.noise_rms == pytest.approx(0.3 * 10 ** (-40 / 20), rel=0.2)  # RMS of 0.3 s of pink noise varies by 10 %


def test_a_recording_that_begins_with_its_pluck(rng):
    stream = streams.string_stream(rng, f1_hz=(196.0, 220.0), gap_s=3.0)
    start = round(stream.onsets_s[0] * RATE)
    plucks = streams.plucks_in(streams.segment(stream.samples[start:], RATE))
    assert plucks[0].start_frame == 0
    assert len(plucks) == 2
    assert plucks[0].noise_rms is None


def test_lost_samples_end_the_pluck(rng):
    stream = streams.string_stream(rng, f1_hz=(196.0, 220.0), gap_s=3.0, levels_db=(0.0,), t60_s=10.0)
    gap = round((stream.onsets_s[0] + 1.0) * RATE)
    segmenter = Segmenter(RATE)
    events = [event for block in streams.blocks_of(stream.samples[:gap], 1024) for event in segmenter.push(block)]
    assert segmenter.ringing_from is not None
    rest = list(streams.blocks_of(stream.samples[gap + 2_400 :], 1024, start=gap + 2_400))
    rest[0] = Block(samples=rest[0].samples, start_frame=rest[0].start_frame, lost=True)
    at_gap = segmenter.push(rest[0])
    assert [event.end for event in at_gap if isinstance(event, Pluck)] == ["lost_samples"]
    assert segmenter.ringing_from is None
    events = at_gap + [event for block in rest[1:] for event in segmenter.push(block)] + segmenter.finish()
    plucks = streams.plucks_in(events)
    assert [pluck.end for pluck in plucks] == ["lost_samples", "stopped"]
    assert plucks[1].start_s == pytest.approx(stream.onsets_s[1], abs=ONSET_TOLERANCE_S)


@pytest.mark.parametrize("noise", ["white", "pink", "hum"])
def test_noise_alone_gives_no_onset(rng, noise):
    count = round(30 * RATE)
    samples = {
        "white": lambda: 0.02 * rng.standard_normal(count),
        "pink": lambda: 0.02 * pink_noise(count, sample_rate=RATE, rng=rng),
        "hum": lambda: 0.02 * hum(count, sample_rate=RATE, rng=rng) + 1e-4 * rng.standard_normal(count),
    }[noise]()
    assert streams.segment(samples, RATE) == []


def test_a_fan_switched_on_is_learned_as_the_room(rng):
    samples = 1e-4 * rng.standard_normal(round(12 * RATE))
    samples[round(2 * RATE) :] += 0.003 * pink_noise(round(10 * RATE), sample_rate=RATE, rng=rng)
    stream = streams.string_stream(rng, f1_hz=(110.0,), lead_s=0.2, gap_s=3.0, noise_db=-200.0)
    streams.mix(samples, stream.samples, at_s=8.0, sample_rate=RATE)
    plucks = streams.plucks_in(streams.segment(samples, RATE))
    assert [pluck.start_s for pluck in plucks] == pytest.approx([8.0 + stream.onsets_s[0]], abs=ONSET_TOLERANCE_S)
    assert plucks[0].noise_rms == pytest.approx(0.003, rel=0.2)


def test_hum_that_is_switched_on_is_no_pluck(rng):
    samples = 1e-5 * rng.standard_normal(round(8 * RATE))
    samples[round(2 * RATE) :] += 0.01 * hum(round(6 * RATE), sample_rate=RATE, rng=rng)
    stream = streams.string_stream(rng, f1_hz=(110.0,), lead_s=0.2, gap_s=2.0, noise_db=-200.0, t60_s=20.0)
    streams.mix(samples, stream.samples, at_s=4.0, sample_rate=RATE)
    events = streams.segment(samples, RATE)
    assert [pluck.start_s for pluck in streams.plucks_in(events)] == pytest.approx([4.0 + stream.onsets_s[0]], abs=0.015)
    assert DOES_NOT_FADE in [item.reason for item in streams.set_aside_in(events)]


def test_memory_is_bounded_by_the_longest_pluck_kept(rng):
    stream = streams.string_stream(rng, f1_hz=(55.0,), gap_s=9.0, t60_s=30.0)
    segmenter = Segmenter(RATE, longest_s=2.0)
    held = 0
    events = []
    for block in streams.blocks_of(stream.samples, 1024):
        events += segmenter.push(block)
        held = max(held, segmenter._tape.end - segmenter._tape.start)
    events += segmenter.finish()
    (pluck,) = streams.plucks_in(events)
    assert len(pluck.samples) == 2 * RATE
    assert held < 4 * RATE


def test_what_a_live_screen_asks_for(rng):
    stream = streams.string_stream(rng, f1_hz=(220.0,), noise_db=-50.0)
    segmenter = Segmenter(RATE)
    assert segmenter.ringing_from is None
    assert segmenter.noise_floor_rms is None
    start = round(stream.onsets_s[0] * RATE)
    for block in streams.blocks_of(stream.samples[: start - 500], 1024):
        assert segmenter.push(block) == []
    assert segmenter.noise_floor_rms == pytest.approx(0.3 * 10 ** (-50 / 20), rel=0.25)
    onsets = []
    for block in streams.blocks_of(stream.samples[start - 500 : start + 12_000], 1024, start=start - 500):
        onsets += segmenter.push(block)
    assert onsets == [Onset(pytest.approx(start, abs=ONSET_TOLERANCE_S * RATE))]
    begin = segmenter.ringing_from
    assert begin == onsets[0].start_frame
    assert np.array_equal(segmenter.so_far(10_000).samples, stream.samples[begin : begin + 10_000])
    assert segmenter.so_far(20_000) is None
    assert segmenter.level_rms == pytest.approx(np.sqrt(np.mean(stream.samples[start + 10_440 : start + 12_000] ** 2)), rel=0.1)
