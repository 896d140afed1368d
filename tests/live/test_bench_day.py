"""A builder's day on the real capture path: strings tuned up, strings that slip, a saddle that is moved, a voice that speaks.

The plucks are recorded ones (`tests/real`), resampled to the fret that is asked for, so that every interval is known.
"""

from __future__ import annotations

import importlib.util
import re
import subprocess
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from fretcheck.diagnosis.model.as_designed import expected_cents
from fretcheck.neck.temperament import cents_between
from fretcheck.session.journal.outcome import inspection_of
from tests.live.lines_player import RATE, LinesPlayer
from tests.real.necks import neck_for, plucks_for, resampled
from tests.real.plucks import missing

pytestmark = [pytest.mark.live, pytest.mark.skipif(missing() is not None, reason=str(missing()))]

LABEL, STRING = "clean guitar F", 4
NECK = neck_for(LABEL)
EXPECTED = expected_cents(NECK)[STRING - 1]
RING_S, FADE_S = 1.7, 0.05
CLOSE_CENTS = 2.0
"""The reading's own error on recorded plucks, which ring unevenly; a note from across a slip would be 12 off."""


@cache
def rung(string, fret, cents):
    """One recorded pluck at a place, `cents` off what is expected there."""
    pluck = plucks_for(LABEL)[string - 1]
    at = cents_between(NECK.target_hz(string, fret), pluck.filed_hz) + (expected_cents(NECK)[string - 1][fret] if fret else 0.0)
    sound = resampled(pluck.sound, pluck.sample_rate, 2.0 ** ((at + cents) / 1200.0))[: round(RING_S * RATE)].copy()
    sound *= 0.3 / np.max(np.abs(sound))
    sound[-round(FADE_S * RATE) :] *= np.linspace(1.0, 0.0, round(FADE_S * RATE))
    return np.concatenate([sound, np.zeros(round(0.2 * RATE))])


def player(sound_server, tmp_path, *arguments):
    return LinesPlayer(sound_server, tmp_path, NECK, rung, *arguments)


def inspecting(sound_server, tmp_path, *options):
    return player(sound_server, tmp_path, "inspect", "--no-keep", "--strings", str(STRING), *options)


def check_kept(story):
    """All notes of the plan are there, each where it was made."""
    inspection = inspection_of(story)
    assert inspection.missing == ()
    off = [one.deviation_cents - EXPECTED[one.fret] for one in inspection.readings if one.used and one.fret]
    assert max(map(abs, off)) < CLOSE_CENTS


def test_a_string_is_tuned_up_first(sound_server, tmp_path):
    with inspecting(sound_server, tmp_path, "--frets", "12", "--no-cues") as bench:
        bench.off_cents = 22.0
        bench.through()
        said = [line for line in bench.lines if line.startswith("tune up")]
        assert re.search(r"2[0-4] cents sharp: slacken it", said[0])  # its own recording is filed to a cent or two
        assert "once more, to see whether it holds still" in said[1]
        check_kept(bench.story())
        assert abs(bench.off_cents) <= 5.0


@pytest.mark.parametrize("slip", [-60.0, -12.0, 12.0, 60.0])
def test_a_string_that_slips_is_noticed_and_nothing_wrong_is_kept(slip, sound_server, tmp_path):
    with inspecting(sound_server, tmp_path, "--frets", "5,7", "--no-cues") as bench:
        slipped = []

        def slip_before_fret_7(_string, fret):
            if fret == 7 and not slipped:
                slipped.append(len(bench.lines))
                bench.off_cents += slip
            if fret == 0 and abs(bench.off_cents) > 50.0:
                bench.off_cents = 0.0  # the player has seen that it is far off, and tunes it again

        bench.through(before=slip_before_fret_7)
        assert any(line.startswith("warning") for line in bench.lines[slipped[0] :]), bench.lines
        check_kept(bench.story())


def test_only_what_decides_is_asked_and_it_ends_by_sound_alone(sound_server, tmp_path):
    """Three strings of a short neck, cut as designed: every fret on two of them, then what is still open, until it passes."""
    neck = replace(NECK, frets=5, strings=NECK.strings[:3])
    with LinesPlayer(sound_server, tmp_path, neck, rung, "inspect", "--no-keep", "--no-cues", "--tolerance", "12") as bench:
        bench.through()
        story = bench.story()
        assert story.plan.name == "deciding"
        assert any(line.startswith("enough    Decided after") for line in bench.lines), bench.lines
        assert re.search(r"WITHIN TOLERANCE, \d+ of 15 notes heard", bench.rest())
        assert bench.exit_code() == 0
    heard = inspection_of(story).readings
    for fret in neck.frets_of(1):
        assert len({one.string for one in heard if one.used and one.fret == fret}) >= 2
    off = [one.deviation_cents - expected_cents(NECK)[one.string - 1][one.fret] for one in heard if one.used and one.fret]
    assert max(map(abs, off)) < CLOSE_CENTS


def test_a_voice_speaks_into_the_very_sink_that_is_heard_and_is_never_a_pluck(sound_server, tmp_path):
    if importlib.util.find_spec("pyttsx3") is None:
        pytest.skip("pyttsx3 is not installed")
    heard = tmp_path / "heard.raw"
    with heard.open("wb") as file:
        recorder = subprocess.Popen(
            ["pacat", "--record", "--raw", "--format=float32le", "--rate=8000", "--channels=1", "--device=bench.monitor"],
            env=sound_server.environment,
            stdout=file,
        )
        try:
            with inspecting(sound_server, tmp_path, "--frets", "5", "--speak") as bench:
                assert bench.next_line().startswith("pluck")
                loudest = 0.0
                for _ in range(10):  # "String 4, open." is spoken meanwhile; on a busy machine the voice takes its time
                    sound_server.silence_for(1.0)
                    sound = heard.read_bytes()
                    loudest = float(np.max(np.abs(np.frombuffer(sound[: len(sound) // 4 * 4], dtype="<f4")), initial=0.0))
                    if loudest > 0.05:
                        break
                assert loudest > 0.05
                sound_server.silence_for(1.0)  # it ends
                bench.lines.clear()
                bench.pluck(STRING, 0)
                bench.through(before=lambda string, fret: sound_server.silence_for(2.0))  # the player hears it out
                assert not any(line.startswith(("once more", "too faint")) for line in bench.lines), bench.lines
                assert [taken.ask.fret for taken in bench.story().taken] == [0, 5, 0]
                check_kept(bench.story())
        finally:
            recorder.kill()
            recorder.wait()
