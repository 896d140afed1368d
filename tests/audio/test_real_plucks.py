"""Recorded strings of the Debian package freepats: nylon, steel and electric guitars, basses.

Each note is played loud and again 20 dB softer, over noise 70 dB below full scale, and faded as by a hand at its end.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.audio import streams
from tests.real.patches import read_patch
from tests.real.plucks import PATCHES as FOLDER

PATCHES = (
    "024_Nylon_Guitar",
    "025_Steel_Guitar",
    "026_Jazz_Guitar",
    "027_Clean_Electric_Guitar",
    "032_Acoustic_Bass",
    "033_Finger_Bass",
    "034_Pick_Bass",
    "035_Fretless_Bass",
)
QUIET_S = 0.8
ONSET_TOLERANCE_S = 0.015  # real attacks take up to 10 ms; the first 50 ms are left out of every measurement


@pytest.mark.parametrize("name", PATCHES)
def test_every_recorded_note_is_found_loud_and_soft(rng, name):
    path = FOLDER / f"{name}.pat"
    if not path.is_file():
        pytest.skip("recorded notes are not installed (Debian: freepats)")
    for note in read_patch(path):
        rate = note.sample_rate
        sound = note.sound.copy()
        fade = round(0.03 * rate)
        sound[-fade:] *= np.linspace(1.0, 0.0, fade)
        quiet = np.zeros(round(QUIET_S * rate))
        stream = np.concatenate([quiet, sound, quiet, 0.1 * sound, quiet])
        stream += 10 ** (-70 / 20) * rng.standard_normal(len(stream))
        plucks = streams.plucks_in(streams.segment(stream, rate))
        starts = [QUIET_S, 2 * QUIET_S + len(sound) / rate]
        assert [pluck.start_s for pluck in plucks] == pytest.approx(starts, abs=ONSET_TOLERANCE_S), f"{note.root_hz} Hz"
