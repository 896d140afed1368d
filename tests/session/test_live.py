"""From sound to inspection, with a source that is not a microphone: synthetic strings, heard block by block.

The truth is that of the synthesis. Tolerance 0.3 cents: many times the estimator's own uncertainty at this noise (0.05 cents),
far below a wrong fret (100) or a finger's scatter (1).
"""

from __future__ import annotations

import itertools
import threading

import numpy as np
import pytest

from fretcheck.audio.cues import Cue, CuePlayer, SpeakerCues
from fretcheck.audio.input.file_source import FileSource
from fretcheck.audio.input.source import Block
from fretcheck.audio.segment.cutting import cut_plucks
from fretcheck.session import events
from fretcheck.session.journal.journal import Journal
from fretcheck.session.journal.outcome import inspection_of, read_again
from fretcheck.session.journal.sounds import flac_bytes, on_grid
from fretcheck.session.journal.story import read_story
from fretcheck.session.live.ear import Ear
from fretcheck.session.live.live_session import LiveSession
from fretcheck.session.live.runner import Runner
from fretcheck.session.plan import make_plan
from fretcheck.session.recordings import inspect_recordings
from fretcheck.session.take import FIRST_S, read_take
from tests.audio.test_cues import Loudspeaker
from tests.live.strings import played, played_plan, three_string_neck

pytestmark = pytest.mark.xdist_group("heard whole")  # one process makes the shared session once

NECK = three_string_neck()
ONE = make_plan(NECK, name="spot", strings=[2])
BLOCK = 1024
CLOSE_CENTS = 0.3


class Bench:
    """A live session on a journal, with its events gathered."""

    def __init__(self, folder, plan, *, cues=None, step_back=False, behind=lambda: False):
        self.events = []
        self.told_s = []
        self.heard_s = 0.0
        self.journal = Journal.create(folder, NECK, plan)
        runner = Runner(NECK, plan, keep=self.journal.keep, clock=itertools.count().__next__, step_back=step_back)
        self.session = LiveSession(runner, self.journal, tell=self._tell, cues=cues or CuePlayer(), behind=behind)

    def _tell(self, event):
        self.events.append(event)
        self.told_s.append(self.heard_s)

    def hear(self, recording, *, lose=()):
        """Play a recording to it; blocks that begin within `lose` (start and stop in seconds) are lost."""
        self.session.begin(source="synthetic strings", sample_rate=recording.sample_rate)
        self.session.start()
        lost = False
        for start in range(0, len(recording.samples), BLOCK):
            self.heard_s = (start + BLOCK) / recording.sample_rate  # an event comes with the last of its block
            if any(first <= start / recording.sample_rate < last for first, last in lose):
                lost = True
                continue
            self.session.take(Block(samples=recording.samples[start : start + BLOCK], start_frame=start, lost=lost))
            lost = False
        self.session.end_of_sound()
        return self

    def of(self, kind):
        return [event for event in self.events if isinstance(event, kind)]


def check_against_truth(readings, recording):
    """Every reading against the synthesised note that began when it did."""
    for reading in readings:
        truth = min(recording.notes, key=lambda note: abs(note.start_s - reading.start_s))
        assert abs(truth.start_s - reading.start_s) < 0.05
        assert (reading.string, reading.fret) == (truth.string, truth.fret)
        assert abs(1200 * np.log2(reading.f1_hz / truth.f1_hz)) < CLOSE_CENTS


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """A whole spot inspection of three strings, heard without a hand on anything."""
    plan = make_plan(NECK, name="spot")
    recording = played_plan(NECK, plan)
    return Bench(tmp_path_factory.mktemp("whole"), plan).hear(recording), recording


def test_a_whole_inspection_by_sound_alone(whole):
    bench, recording = whole
    assert bench.events[-1] == events.Finished(complete=True)
    inspection = inspection_of(bench.journal.story)
    assert inspection.missing == ()
    assert len([r for r in inspection.readings if r.used]) == 15
    check_against_truth(inspection.readings, recording)


def test_each_note_is_taken_while_it_still_rings(whole):
    bench, _ = whole
    lengths = {len(event.pluck.samples) / event.pluck.sample_rate for event in bench.of(events.Accepted)}
    assert lengths == {FIRST_S}


def test_read_again_gives_the_same_inspection(whole):
    bench, _ = whole
    assert read_again(bench.journal.folder) == inspection_of(read_story(bench.journal.folder)[0])


def test_a_recorded_session_replayed_as_a_file_gives_identical_readings(whole, tmp_path):
    """The same sound as a recording of each string: every reading equal, to the last digit, drift correction included."""
    bench, recording = whole
    live = inspection_of(read_story(bench.journal.folder)[0])
    rate = recording.sample_rate
    for string in (1, 2, 3):
        own = [note.start_s for note in recording.notes if note.string == string]
        first = 0 if string == 3 else round((min(own) - 0.3) * rate)
        last = round((max(own) + 1.45) * rate)
        (tmp_path / f"string-{string}.flac").write_bytes(flac_bytes(on_grid(recording.samples[first:last]), rate))
    recorded = inspect_recordings(NECK, tmp_path, processes=1)
    assert len(recorded.readings) == len(live.readings) == 15
    in_order = sorted(recorded.readings, key=lambda r: (-r.string, r.start_s))
    for reading, same in zip(live.readings, in_order, strict=True):
        assert (same.string, same.fret) == (reading.string, reading.fret)
        heard = ("f1_hz", "inharmonicity", "u_inharmonicity", "snr_db", "partials", "glide_cents", "flags")
        assert [getattr(same, name) for name in heard] == [getattr(reading, name) for name in heard]
        # drift is taken out by time, which counts from another start: rounding only
        assert same.deviation_cents == pytest.approx(reading.deviation_cents, abs=1e-9)
        assert same.u_cents == pytest.approx(reading.u_cents, abs=1e-9)


def test_the_ear_and_the_file_cut_and_read_alike_whatever_the_blocks(tmp_path):
    recording = played_plan(NECK, ONE, sample_rate=44100.0)
    path = tmp_path / "string.flac"
    path.write_bytes(flac_bytes(on_grid(recording.samples), recording.sample_rate))
    with FileSource(path) as source:
        from_file = list(cut_plucks(source, read_take).plucks)
    for size in (256, 1500):
        live = heard_by_an_ear(recording, size).plucks
        assert [note for _, note in live] == [note for _, note in from_file]
        for (pluck, _), (other, _) in zip(live, from_file, strict=True):
            np.testing.assert_array_equal(pluck.samples, other.samples)


class Heard:
    """What an ear told."""

    def __init__(self):
        self.begun, self.running, self.plucks = [], [], []

    def began(self, start_s):
        self.begun.append(start_s)

    def measured(self, note, settled):
        self.running.append((note, settled))

    def complete(self, pluck, note):
        self.plucks.append((pluck, note))

    def no_pluck(self, sound):
        pass


def heard_by_an_ear(recording, size=256, **how):
    ear = Ear(recording.sample_rate, heard := Heard())
    for start in range(0, len(recording.samples), size):
        ear.push(Block(samples=recording.samples[start : start + size], start_frame=start), **how)
    ear.finish()
    return heard


def test_a_running_value_comes_each_fifty_milliseconds_while_a_note_rings():
    heard = heard_by_an_ear(played(NECK, [(2, 5)]))
    assert len(heard.plucks) == 1
    ends_s = [note.window_s[1] for note, _ in heard.running]  # how far into the pluck each was read
    assert ends_s[0] < 0.4
    assert len(ends_s) >= (FIRST_S - 0.4) / 0.05
    assert np.all(np.diff(ends_s) < 0.06)  # each 50 ms, to a frame of the fit
    settled = [settled for _, settled in heard.running]
    assert settled == sorted(settled)


def test_where_nobody_looks_only_what_decides_is_read():
    recording = played(NECK, [(2, 5)])
    heard = heard_by_an_ear(recording, decisive_only=True)
    assert not heard.running
    ((pluck, note),) = heard.plucks
    ((same, same_note),) = heard_by_an_ear(recording).plucks
    assert note == same_note
    np.testing.assert_array_equal(pluck.samples, same.samples)


def test_a_wrong_fret_a_neighbour_string_and_two_strings_at_once_are_told_in_time_and_asked_for_again(tmp_path):
    """Within 1.5 s of the pluck a wrong place, within 1.8 s what is refused else; the sound of the session is the clock."""
    recording = played(NECK, [(2, 0), (2, 2), (2, 1), (3, 5), (2, 5), (2, 12), (2, 12), (2, 0)], seconds_per_note=1.9)
    both_s, rate = recording.notes[5].start_s, recording.sample_rate
    other = played(NECK, [(3, 0)], seconds_per_note=1.9)
    begin = round((both_s - other.notes[0].start_s) * rate)
    length = min(len(other.samples), round(1.9 * rate))
    recording.samples[begin : begin + length] += other.samples[:length]
    bench = Bench(tmp_path, ONE).hear(recording)
    fret, string = bench.of(events.WrongNote)
    assert (fret.heard[0], string.heard[0]) == ((2, 2), (3, 5))
    (both,) = bench.of(events.Again)
    assert both.short == "TWO STRINGS"
    for event, note, within_s in ((fret, 1, 1.5), (string, 3, 1.5), (both, 5, 1.8)):
        assert bench.told_s[bench.events.index(event)] - recording.notes[note].start_s <= within_s
    assert bench.events[-1] == events.Finished(complete=True)


def test_an_open_string_twice_goes_one_back(tmp_path):
    places = [(2, 0), (2, 1), (2, 0), (2, 0), (2, 1), (2, 5), (2, 12), (2, 0)]
    recording = played(NECK, places)
    bench = Bench(tmp_path, ONE, step_back=True).hear(recording)
    (back,) = bench.of(events.SteppedBack)
    assert back.ask.fret == 1
    story, _ = read_story(bench.journal.folder)
    assert [one.ask.fret for one in story.taken] == [0, 1, 5, 12, 0]
    assert story.taken[1].start_s == pytest.approx(recording.notes[4].start_s, abs=0.05)


def test_samples_lost_within_a_pluck_discard_it(tmp_path):
    places = [(2, 0), (2, 1), (2, 1), (2, 5), (2, 12), (2, 0)]
    recording = played(NECK, places)
    lost_at = recording.notes[1].start_s + 0.4
    bench = Bench(tmp_path, ONE).hear(recording, lose=[(lost_at, lost_at + 0.1)])
    assert any("lost" in event.reason for event in bench.of(events.Again))
    taken = [event.taken for event in bench.of(events.Accepted)]
    assert taken[1].start_s == pytest.approx(recording.notes[2].start_s, abs=0.05)
    assert bench.events[-1] == events.Finished(complete=True)


class ScriptedCues:
    """Sounds for as long as it is told, counted in blocks heard."""

    failure = None

    def __init__(self, blocks=0):
        self.played = []
        self._blocks = blocks
        self._left = 0

    def play(self, cue):
        self.played.append(cue)
        self._left = self._blocks

    @property
    def is_sounding(self):
        self._left -= 1
        return self._left >= 0

    def close(self):
        pass


def test_cues_tell_what_became_of_each_pluck(tmp_path):
    cues = ScriptedCues()
    Bench(tmp_path, ONE, cues=cues).hear(played(NECK, [(2, 0), (2, 2), (2, 1), (2, 5), (2, 12), (2, 0)]))
    assert cues.played == [Cue.ACCEPTED, Cue.WRONG_FRET, Cue.ACCEPTED, Cue.ACCEPTED, Cue.ACCEPTED, Cue.STRING_FINISHED]


def test_a_cue_waits_for_sound_that_was_not_heard_yet_and_is_dropped_where_that_holds_a_pluck(tmp_path):
    recording = played(NECK, [(2, 0), (2, 2), (2, 1), (2, 5), (2, 12), (2, 0)])
    second_s, third_s = (recording.notes[index].start_s for index in (1, 2))
    cues, heard_s = ScriptedCues(), []
    bench = Bench(tmp_path, ONE, cues=cues, behind=lambda: bench.heard_s < third_s + 0.2)  # as if one reading took long
    play = cues.play
    cues.play = lambda cue: (play(cue), heard_s.append(bench.heard_s))
    bench.hear(recording)
    assert second_s > recording.notes[0].start_s + 1.2  # the first note was taken well before the second began
    assert cues.played == [Cue.ACCEPTED, Cue.ACCEPTED, Cue.ACCEPTED, Cue.STRING_FINISHED]
    assert heard_s[0] > third_s + 0.2
    assert bench.events[-1] == events.Finished(complete=True)


@pytest.mark.parametrize("fails", ["missing", "open", "write"])
def test_a_loudspeaker_that_fails_disturbs_nothing(tmp_path, monkeypatch, fails):
    monkeypatch.setattr("fretcheck.audio.input.portaudio.load_sounddevice", lambda: Loudspeaker(fails=fails))
    cues, tick = SpeakerCues(), threading.Event()
    bench = Bench(tmp_path, ONE, cues=cues)
    play = cues.play

    def play_and_wait(cue):  # the recording is heard faster than it sounded: what takes time must not reach into the next pluck
        play(cue)
        while cues.is_sounding:
            tick.wait(0.001)

    cues.play = play_and_wait
    bench.hear(played(NECK, [(2, 0), (2, 1), (2, 5), (2, 12), (2, 0)]))
    cues.close()
    assert bench.events[-1] == events.Finished(complete=True)
    assert len(bench.of(events.Accepted)) == 5
    (failed,) = bench.of(events.NoCues)
    assert failed.text.startswith("No cues will sound: playing a cue failed")


def test_a_pluck_that_begins_while_a_cue_sounds_is_not_taken(tmp_path):
    # notes come every 1.5 s and are taken after 1.0 s; a cue of 0.8 s reaches into the next pluck
    cues = ScriptedCues(blocks=round(0.8 * 32000 / BLOCK))
    recording = played(NECK, [(2, 0), (2, 1), (2, 1), (2, 5), (2, 5), (2, 12), (2, 12), (2, 0), (2, 0)])
    bench = Bench(tmp_path, ONE, cues=cues).hear(recording)
    assert [one.start_s for one in bench.journal.story.taken] == pytest.approx(
        [recording.notes[index].start_s for index in (0, 2, 4, 6, 8)], abs=0.05
    )
    assert sum("cue" in event.reason for event in bench.of(events.Again)) == 4
    assert cues.played == [Cue.ACCEPTED] * 4 + [Cue.STRING_FINISHED]


def test_a_session_goes_on_where_it_was_interrupted(tmp_path):
    recording = played(NECK, [(2, 0), (2, 1), (2, 5)])
    bench = Bench(tmp_path, ONE).hear(recording)
    bench.journal.close()
    with Journal.open(bench.journal.folder) as journal:
        story = journal.story
        runner = Runner(NECK, story.plan, keep=journal.keep, clock=itertools.count().__next__, taken=story.taken)
        happened = []
        session = LiveSession(runner, journal, tell=happened.append, cues=CuePlayer())
        rest = played(NECK, [(2, 0), (2, 12), (2, 0)], seed=8)
        session.begin(source="synthetic strings", sample_rate=rest.sample_rate)
        session.start()
        for start in range(0, len(rest.samples), BLOCK):
            session.take(Block(samples=rest.samples[start : start + BLOCK], start_frame=start))
        session.end_of_sound()
    assert happened[-1] == events.Finished(complete=True)
    story, _ = read_story(bench.journal.folder)
    assert story.complete
    assert [one.ask.fret for one in story.taken] == [0, 1, 5, 0, 12, 0]
    starts = [one.start_s for one in story.taken]
    assert starts == sorted(starts)
    assert inspection_of(story).missing == ()
