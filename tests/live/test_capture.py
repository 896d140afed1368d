"""The real program on the real capture path: strings sound in a null sink, PortAudio hears its monitor, tmux shows the screen.

The truth is that of the synthesis. Tolerance 0.3 cents, many times the estimator's own uncertainty at this noise.
"""

from __future__ import annotations

import re

import numpy as np
import pytest

from fretcheck.session.journal.outcome import inspection_of
from fretcheck.session.journal.story import read_story
from tests.live.lines_player import LinesPlayer
from tests.live.strings import played, three_string_neck
from tests.neck_files import write_neck

pytestmark = pytest.mark.live

NECK = three_string_neck()
RATE = 44_100
CLOSE_CENTS = 0.3
ROOM_DB = -64.0


class Bench:
    """The program in a terminal, and the strings it hears."""

    def __init__(self, sound_server, terminals, folder):
        self.server = sound_server
        self.neck = folder / "neck.toml"
        write_neck(NECK, self.neck)
        self.data = folder / "data"
        self.terminal = terminals(environment={**sound_server.environment, "FRETCHECK_DATA": str(self.data)})

    def start(self, *options):
        """Start the program, and return once it listens."""
        self.terminal.run("inspect", str(self.neck), "--device", "bench", "--no-keep", *options)
        self.terminal.wait_for("PLUCK")

    def play(self, recording):
        return self.server.play(recording.samples, recording.sample_rate, latency_ms=1500)

    def story(self):
        (folder,) = (self.data / "sessions").iterdir()
        return read_story(folder)[0]

    def finish(self):
        """Exit code, once the program has ended by itself, and the story of its session."""
        code = self.terminal.exit_code()
        return code, self.story()


def hiss(seconds):
    """A room that is never quite still."""
    return 10 ** (ROOM_DB / 20) * np.random.default_rng(5).standard_normal(round(seconds * RATE))


@pytest.fixture
def bench(sound_server, terminals, tmp_path):
    return Bench(sound_server, terminals, tmp_path)


def test_slips_are_named_cues_sound_and_the_plan_still_comes_to_its_end(bench):
    """Cues are on and play into the very sink that is heard, as a loudspeaker at the bench does; the room hisses all the time.

    The player waits for what the screen answers, as one does: a pluck that begins while a cue sounds is refused.
    """
    faint, quiet = [(2, 5)] * 3, "luck harder"
    answers = [
        ([(2, 0)], "1 of 5 done"),
        ([(2, 1)], "2 of 5 done"),
        ([(2, 2)], "Heard string 2, fret 2 (C#4)"),
        ([(3, 5)], "Heard string 3, fret 5 (C4)"),
        (faint, quiet),
        ([(2, 5)], "3 of 5 done"),
        ([(2, 12)], "4 of 5 done"),
        ([(2, 0)], None),
    ]
    terminal, truth = bench.terminal, []
    bench.server.play(hiss(240.0), RATE, latency_ms=1500)
    bench.start("--plan", "spot", "--strings", "2")
    for seed, (places, answer) in enumerate(answers):
        levels = dict.fromkeys(range(3), 0.003) if places == faint else None
        recording = played(NECK, places, seed=seed, sample_rate=RATE, seconds_per_note=1.8, levels=levels, room_db=-140.0)
        player = bench.play(recording)
        if answer is not None:
            terminal.wait_for(answer)
        player.wait(timeout=60)
        if answer is None or "done" in answer:
            truth.append(recording.notes[0].f1_hz)
    _, story = bench.finish()
    assert story.complete
    assert [taken.ask.fret for taken in story.taken] == [0, 1, 5, 12, 0]
    heard = [taken.note.f1_hz for taken in story.taken]
    assert np.max(np.abs(1200 * np.log2(np.array(heard) / truth))) < CLOSE_CENTS


def test_only_what_decides_is_asked_to_its_end_by_sound_alone(sound_server, tmp_path):
    """Of a neck of three strings and three frets, and limits that its notes keep by far: it asks its first round and is sure."""
    neck, truth = three_string_neck(frets=3), {}

    def sound(string, fret, _off):
        options = {"sample_rate": RATE, "seconds_per_note": 1.4, "lead_s": 0.1, "seed": fret, "room_db": -140.0}
        recording = played(neck, [(string, fret)], **options)
        truth[string, fret] = recording.notes[0].f1_hz
        rung = recording.samples[: round(1.4 * RATE)]
        rung[-round(0.05 * RATE) :] *= np.linspace(1.0, 0.0, round(0.05 * RATE))
        return np.concatenate([rung, np.zeros(round(0.1 * RATE))])

    sound_server.play(hiss(120.0), RATE, latency_ms=1500)
    with LinesPlayer(sound_server, tmp_path, neck, sound, "inspect", "--no-keep", "--no-cues", "--tolerance", "30") as bench:
        bench.through()
        printed = bench.rest()
    story = bench.story()
    assert story.complete
    assert inspection_of(story).missing == ()
    assert {(taken.ask.string, taken.ask.fret) for taken in story.taken} == set(truth)
    assert {fret for _, fret in truth} == {0, 1, 2, 3}
    off = [1200 * np.log2(taken.note.f1_hz / truth[taken.ask.string, taken.ask.fret]) for taken in story.taken]
    assert np.max(np.abs(off)) < CLOSE_CENTS
    assert any(line.startswith("enough    Decided after") for line in bench.lines), bench.lines
    assert re.search(r"WITHIN TOLERANCE, \d of 9 notes heard", printed), printed


@pytest.mark.parametrize("fault", ["sink pulled out", "server killed", "moved to another source"])
def test_a_session_outlives_its_device(bench, fault):
    bench.start("--strings", "2", "--frets", "5", "--no-cues")
    bench.play(played(NECK, [(2, 0), (2, 5)], sample_rate=RATE)).wait(timeout=60)
    bench.terminal.wait_for("2 of 3 done")
    if fault == "server killed":
        bench.server.kill()
    else:
        if fault == "moved to another source":
            bench.server.add_sink("spare")
        bench.server.remove_sink()
    bench.terminal.wait_for("NO SOUND")
    if fault == "server killed":
        bench.server.start()
    else:
        bench.server.add_sink()
    bench.terminal.wait_for("Sound is back")
    bench.play(played(NECK, [(2, 0)], sample_rate=RATE, seed=9))
    code, story = bench.finish()
    assert code in (0, 1, 3)
    assert [taken.ask.fret for taken in story.taken] == [0, 5, 0]
    starts = [taken.start_s for taken in story.taken]
    assert starts == sorted(starts)


def test_a_frozen_server_hangs_nothing(bench):
    bench.start("--plan", "spot", "--strings", "2", "--no-cues")
    bench.server.stop()
    try:
        bench.terminal.wait_for("NO SOUND")
        bench.terminal.press("p")
        bench.terminal.wait_for("PAUSED")
        bench.terminal.press("q")
        bench.terminal.exit_code()
    finally:
        bench.server.go_on()


def test_no_device_is_one_line(sound_server, terminals, tmp_path):
    bench = Bench(sound_server, terminals, tmp_path)
    bench.terminal.run("inspect", str(bench.neck), "--device", "nothing-of-that-name")
    assert bench.terminal.exit_code() == 4
    assert "nothing-of-that-name" in bench.terminal.printed()
    assert not (bench.data / "sessions").exists()  # no empty session is left behind
