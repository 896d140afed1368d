"""Plucks too soft for the room: the player is told, and nobody else sets it off.

Rooms are noise of −50 dB, white or falling from 200 Hz on as a fan's does. Notes are as loud as the room in the first tenth of a
second or softer, which is what begins no pluck.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from fretcheck.audio.cues import Cue
from fretcheck.audio.input.source import Block
from fretcheck.session import events
from fretcheck.session.journal.journal import Journal
from fretcheck.session.live.faint import SILENT_FOR_S, TWICE_WITHIN_S, FaintNotes
from fretcheck.session.live.live_session import LiveSession
from fretcheck.session.live.runner import Runner
from fretcheck.session.plan import make_plan
from tests.audio import streams
from tests.live.strings import played, three_string_neck
from tests.synth.nominal import note_frequency_hz

RATE = 32_000.0
BLOCK = 1024
ROOM = 10 ** (-50 / 20)
NECK = three_string_neck()
ASKED_HZ = note_frequency_hz("B3", reference_hz=440.0) * 2 ** (5 / 12)


def room(rng, seconds, *, kind="white"):
    noise = rng.standard_normal(round(seconds * RATE))
    if kind == "fan":
        spectrum = np.fft.rfft(noise)
        noise = np.fft.irfft(spectrum / np.hypot(1.0, np.fft.rfftfreq(len(noise), 1 / RATE) / 200.0), len(noise))
    return ROOM * noise / np.std(noise)


def notes(places, *, level_db, every_s=2.5):
    """Plucks whose first tenth of a second has this level on average, in silence."""
    recording = played(NECK, places, sample_rate=RATE, seconds_per_note=every_s, gaps_s=(0.3, 0.3), room_db=-140.0)
    first = round(recording.notes[0].start_s * RATE)
    level = np.sqrt(np.mean(recording.samples[first : first + round(0.1 * RATE)] ** 2))
    return recording.samples * 10 ** (level_db / 20) / level


def heard(sound, *, hz=ASKED_HZ):
    """When, in seconds, and as what faint notes were told."""
    listener = FaintNotes(RATE)
    found = []
    for start in range(0, len(sound), BLOCK):
        note = listener.push(sound[start : start + BLOCK], hz)
        if note is not None:
            found.append(((start + BLOCK) / RATE, note))
    return found


@pytest.mark.parametrize(("kind", "level_db"), [("white", -50.0), ("white", -56.0), ("fan", -49.0)])
def test_the_second_faint_note_is_told_with_its_level(kind, level_db):
    sound = notes([(2, 5)] * 3, level_db=level_db)
    (when_s, note), *_ = heard(sound + room(np.random.default_rng(3), len(sound) / RATE, kind=kind))
    assert 2.5 < when_s < 2 * 2.5 + 1.5  # not the first, and the second not much later than it was played
    assert note.level_db == pytest.approx(level_db, abs=9.0)  # of the lines that stand out, over 0.4 s of a fading note
    assert note.room_db == pytest.approx(-50.0, abs=1.5)


def test_one_faint_note_is_not_told():
    sound = notes([(2, 5)], level_db=-50.0)
    quiet = room(np.random.default_rng(4), len(sound) / RATE + 3.0)
    quiet[: len(sound)] += sound
    assert heard(quiet) == []


def test_two_far_apart_are_not_told():
    one = notes([(2, 5)], level_db=-50.0)
    sound = room(np.random.default_rng(4), TWICE_WITHIN_S + 8.0)
    for at_s in (1.0, TWICE_WITHIN_S + 3.0):
        sound[round(at_s * RATE) :][: len(one)] += one
    assert heard(sound) == []


def test_it_is_not_told_again_at_once():
    sound = notes([(2, 5)] * 8, level_db=-50.0)
    times = [when_s for when_s, _ in heard(sound + room(np.random.default_rng(5), len(sound) / RATE))]
    assert len(times) == 2
    assert np.diff(times) >= SILENT_FOR_S


def test_another_note_is_not_told():
    sound = notes([(2, 8)] * 3, level_db=-50.0)
    assert heard(sound + room(np.random.default_rng(6), len(sound) / RATE)) == []


@pytest.mark.parametrize("kind", ["white", "fan"])
@pytest.mark.parametrize("hz", [82.4, 246.9, 659.3])
def test_a_room_alone_says_nothing(kind, hz):
    assert heard(room(np.random.default_rng(7), 60.0, kind=kind), hz=hz) == []


def test_a_machine_that_starts_on_the_very_note_says_nothing():
    sound = room(np.random.default_rng(8), 20.0)
    time = np.arange(len(sound)) / RATE
    for begin in (3.0, 9.0, 15.0):
        on = (time >= begin) & (time < begin + 4.0)
        sound += on * sum(ROOM / n * np.sin(2 * np.pi * n * ASKED_HZ * time) for n in range(1, 7))
    assert heard(sound) == []


@pytest.mark.parametrize("hz", [110.0, 196.0])
def test_a_voice_in_the_background_at_the_pitch_asked_for_says_nothing(hz):
    rng = np.random.default_rng(9)
    sound = room(rng, 60.0)
    for at_s in np.arange(1.0, 58.0, 1.3):
        voice = streams.voice(rng, seconds=rng.uniform(0.3, 1.1), sample_rate=RATE, f0_hz=hz * 2 ** (rng.uniform(-1, 1) / 12))
        sound[round(at_s * RATE) :][: len(voice)] += voice * 10 ** (rng.uniform(-60, -48) / 20) / np.std(voice)
    assert heard(sound, hz=hz) == []


class Cues:
    """Remembers what was played; never sounds."""

    is_sounding = False
    failure = None

    def __init__(self):
        self.played = []

    def play(self, cue):
        self.played.append(cue)

    def close(self):
        pass


def test_a_session_tells_of_faint_plucks_takes_none_and_goes_on(tmp_path):
    plan = make_plan(NECK, name="spot", strings=[2])
    parts = [
        notes([(2, 0)], level_db=-18.0),
        notes([(2, 1)] * 3, level_db=-51.0),
        notes([(2, 1), (2, 5), (2, 12), (2, 0)], level_db=-18.0),
    ]
    sound = np.concatenate([np.zeros(round(0.5 * RATE)), *parts])
    sound += room(np.random.default_rng(10), len(sound) / RATE)
    happened, cues = [], Cues()
    with Journal.create(tmp_path, NECK, plan) as journal:
        runner = Runner(NECK, plan, keep=journal.keep, clock=itertools.count().__next__)
        session = LiveSession(runner, journal, tell=happened.append, cues=cues)
        session.begin(source="synthetic strings", sample_rate=RATE)
        session.start()
        for start in range(0, len(sound), BLOCK):
            session.take(Block(samples=sound[start : start + BLOCK], start_frame=start))
    (faint,) = [event for event in happened if isinstance(event, events.TooFaint)]
    assert (faint.ask.string, faint.ask.fret) == (2, 1)
    assert "Pluck harder" in faint.text
    assert happened[-1] == events.Finished(complete=True)
    assert cues.played == [Cue.ACCEPTED, Cue.AGAIN, *[Cue.ACCEPTED] * 3, Cue.STRING_FINISHED]
    first_loud_s = 0.5 + (len(parts[0]) + len(parts[1])) / RATE
    assert [taken.ask.fret for taken in runner.taken] == [0, 1, 5, 12, 0]
    assert runner.taken[1].start_s > first_loud_s
