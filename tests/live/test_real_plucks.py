"""Recorded plucks played into the null sink, heard through PortAudio by the real program, to their acceptance.

The truth is how they were made: one pluck resampled to each fret, see `tests.real.necks`.
"""

from __future__ import annotations

import numpy as np
import pytest

from fretcheck.session.journal.story import read_story
from tests.neck_files import write_neck
from tests.real.necks import RATE, neck_for, plucks_for, resampled
from tests.real.plucks import missing

pytestmark = [pytest.mark.live, pytest.mark.skipif(missing() is not None, reason=str(missing()))]

LABEL, STRING, FRETS = "steel guitar F", 3, (0, 5, 12, 0)
WITHIN_CENTS = 1.0
"""What a hand repeats to; the readings' own u is 0.3 cents."""


def test_ringing_notes_are_taken_and_are_what_was_played(sound_server, terminals, tmp_path):
    neck, pluck = neck_for(LABEL), plucks_for(LABEL)[STRING - 1]
    write_neck(neck, tmp_path / "neck.toml")
    terminal = terminals(environment={**sound_server.environment, "FRETCHECK_DATA": str(tmp_path / "data")})
    options = ["--device", "bench", "--no-keep", "--no-cues", "--strings", str(STRING), "--frets", "5,12"]
    terminal.run("inspect", str(tmp_path / "neck.toml"), *options)
    terminal.wait_for("PLUCK")
    open_hz = neck.target_hz(STRING, 0)
    for done, fret in enumerate(FRETS, start=1):
        sound = resampled(pluck.sound, pluck.sample_rate, open_hz / pluck.filed_hz * 2.0 ** (fret / 12.0))[: round(2.0 * RATE)]
        sound = 0.3 * sound / np.max(np.abs(sound))
        sound[-RATE // 10 :] *= np.linspace(1.0, 0.0, RATE // 10)
        for _ in range(2):  # a note rung clearly is taken at its first or second pluck
            player = sound_server.play(np.concatenate([sound, np.zeros(RATE // 2)]), RATE, latency_ms=1500)
            player.wait(timeout=60)
            if done == len(FRETS) or f"{done} of {len(FRETS)} done" in terminal.screen():
                break
        else:
            pytest.fail(f"fret {fret} was not taken; there stands:\n{terminal.screen()}")
    assert terminal.exit_code() in (0, 1, 3)
    (folder,) = (tmp_path / "data" / "sessions").iterdir()
    story = read_story(folder)[0]
    assert story.complete
    assert tuple(taken.ask.fret for taken in story.taken) == FRETS
    cents = [1200.0 * np.log2(taken.note.f1_hz / story.taken[0].note.f1_hz) - 100.0 * taken.ask.fret for taken in story.taken]
    assert np.max(np.abs(cents)) < WITHIN_CENTS
