"""Reading a note while it rings, against reading it whole."""

from __future__ import annotations

import numpy as np
import pytest

from fretcheck.pitch.reader import read_pluck
from fretcheck.pitch.streaming import EVERY_S, StreamingReader
from tests.synth.pluck import PluckSpec, added, pluck_sound, white_noise

RATE = 44_100.0
EACH = tuple(EVERY_S * (1 + number) for number in range(40))


@pytest.fixture(scope="module")
def sound():
    rng = np.random.default_rng(11)
    made = pluck_sound(PluckSpec(f1_hz=146.832, glide_cents=5.0, glide_tau_s=0.12, duration_s=1.6), sample_rate=RATE, rng=rng)
    return added(made, white_noise(len(made), rng=rng), relative_db=-45.0, sample_rate=RATE)


@pytest.mark.parametrize("block", [256, 1024, 4410])
def test_same_as_offline_whatever_the_blocks(sound, block):
    reader = StreamingReader(RATE, settled_limit_cents=1e-9, decides_at_s=EACH)  # which no note comes to
    for at in range(0, len(sound), block):
        reader.push(sound[at : at + block])
    assert reader.finish() == read_pluck(sound, RATE)


@pytest.mark.parametrize("block", [256, 1024, 4410, 10**6])
@pytest.mark.parametrize("decisive_only", [False, True])
def test_settled_at_the_same_length_whatever_the_blocks(sound, block, decisive_only):
    reader = StreamingReader(RATE, settled_limit_cents=0.4, decides_at_s=(0.1, 0.7, 1.1))
    for at in range(0, len(sound), block):
        reader.push(sound[at : at + block], decisive_only=decisive_only)
    assert reader.settled
    assert reader.read_frames == round(0.7 * RATE)  # 0.1 s is too short to be read at all
    assert reader.finish() == read_pluck(sound[: reader.read_frames], RATE)


def test_nothing_is_read_beyond_the_last_decisive_length(sound):
    reader = StreamingReader(RATE, settled_limit_cents=1e-9, decides_at_s=(0.5, 0.8))
    for at in range(0, len(sound), 1024):
        reader.push(sound[at : at + 1024])
    assert reader.exhausted
    assert not reader.settled
    assert reader.finish() == read_pluck(sound[: round(0.8 * RATE)], RATE)


def test_a_note_that_ends_early_is_read_whole(sound):
    reader = StreamingReader(RATE, settled_limit_cents=0.1, decides_at_s=(1.0, 2.0))
    part = sound[: round(0.63 * RATE)]
    reader.push(part)
    assert reader.finish() == read_pluck(part, RATE)
    assert reader.read_frames == len(part)


def test_every_running_reading_is_the_offline_one_of_the_sound_so_far(sound):
    reader = StreamingReader(RATE, settled_limit_cents=1e-9, decides_at_s=EACH)
    for at in range(0, round(0.8 * RATE), 2205):
        current = reader.push(sound[at : at + 2205])
        assert current == read_pluck(sound[: at + 2205], RATE)


def test_no_running_reading_is_made_in_a_hurry(sound):
    reader = StreamingReader(RATE, settled_limit_cents=0.1, decides_at_s=(1.0,))
    for at in range(0, round(0.9 * RATE), 1024):
        assert reader.push(sound[at : at + 1024], decisive_only=True) is None


def test_refreshed_every_fifty_milliseconds(sound):
    reader = StreamingReader(RATE, settled_limit_cents=1e-9, decides_at_s=EACH)
    seen = []
    for at in range(0, len(sound), 441):
        reader.push(sound[at : at + 441])
        if reader.current is not None and (not seen or reader.current is not seen[-1]):
            seen.append(reader.current)
    assert len(seen) == int(len(sound) / RATE / EVERY_S)


def test_settles_as_soon_as_the_uncertainty_is_within_the_limit(sound):
    reader = StreamingReader(RATE, settled_limit_cents=0.4, decides_at_s=EACH)
    before = None
    for at in range(0, len(sound), 2205):
        reader.push(sound[at : at + 2205])
        if reader.settled:
            break
        before = reader.current
    assert reader.settled
    assert reader.read_frames == pytest.approx(reader.duration_s * RATE)
    assert reader.current.u_cents <= 0.4
    assert before is None or not before.usable or before.u_cents > 0.4
    # 5 u: the reading that stopped the clock has to be right, not only sure of itself
    assert abs(1200 * np.log2(reader.current.f1_hz / 146.832)) < 5 * reader.current.u_cents
