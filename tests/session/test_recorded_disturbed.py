"""What disturbs a recording, the whole way to the result: no note is lost or misplaced, and what was set aside is said."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import resample_poly

from fretcheck.cli.main import run
from fretcheck.neck.starts import STARTS
from tests.necks_recorded import cents_off, write_recordings
from tests.synth.recording import PlayedNote, Take
from tests.synth.strung_neck import BuiltNeck

WHOLE = STARTS["guitar-6-steel"].neck
BUILT = BuiltNeck(neck=replace(WHOLE, strings=(WHOLE.strings[1], WHOLE.strings[3], WHOLE.strings[5]), frets=5))
PLAYED = {string: [0, 1, 5, 0] for string in (1, 2, 3)}
QUIET = Take(sample_rate=16000.0, seconds_per_note=1.5, open_seconds=1.8, lead_s=0.5, gaps_s=(0.02, 0.12))
CENTS = 0.3  # as on clean recordings: none of this may pull a pitch


def inspected(folder: Path, capsys: pytest.CaptureFixture[str]) -> dict:
    capsys.readouterr()
    run(["inspect", str(folder / "neck.toml"), "--from", str(folder), "--json", "--no-keep"])
    out, err = capsys.readouterr()
    assert err == ""
    return json.loads(out)


def checked(folder: Path, truth: list[PlayedNote], capsys: pytest.CaptureFixture[str]) -> dict:
    document = inspected(folder, capsys)
    assert max(map(abs, cents_off(document, truth))) < CENTS
    return document


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_loud_and_soft_notes_under_hum(mains_hz: float, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # Notes 20 dB apart; hum 40 dB below the loudest (peak 0.4 is −8 dB).
    take = replace(QUIET, softest_db=-20.0, hum_db=-48.0, mains_hz=mains_hz, level=0.4)
    checked(tmp_path, write_recordings(tmp_path, BUILT, PLAYED, take=take, seed=3), capsys)


def test_speech_and_a_door_are_set_aside_and_reported(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take = replace(QUIET, disturbances={1: "speech", 2: "door"})
    truth = write_recordings(tmp_path, BUILT, PLAYED, take=take, seed=4)
    document = checked(tmp_path, truth, capsys)
    for string in PLAYED:
        starts = [note.start_s for note in truth if note.string == string]
        aside = [(one["start_s"], one["end_s"], one["reason"]) for one in document["set_aside"] if one["string"] == string]
        for index in (1, 2):  # the noise begins 1.2 s before its note and lasts half a second or more
            assert any(start < starts[index] - 0.5 and end > starts[index] - 1.2 for start, end, _ in aside), (index, aside)
        assert all(reason for *_, reason in aside)


@pytest.mark.parametrize("kind", ["8 kHz", "192 kHz", "44.1 kHz stereo of 24 bits"])
def test_rates_depths_and_channels(kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    up, down, subtype = {"8 kHz": (1, 2, "PCM_16"), "192 kHz": (12, 1, "PCM_16")}.get(kind, (441, 160, "PCM_24"))
    truth = write_recordings(tmp_path, BUILT, {string: [0, 4, 0] for string in (1, 2, 3)}, take=QUIET, seed=5, subtype="PCM_24")
    for file in tmp_path.glob("*.wav"):
        sound, rate = soundfile.read(file)
        sound = resample_poly(sound, up, down)
        if "stereo" in kind:
            late = np.concatenate([np.zeros(9), 0.7 * sound[:-9]])  # the other microphone stands 7 cm further off
            sound = np.column_stack([sound, late])
        soundfile.write(file, sound, rate * up // down, subtype=subtype)
    checked(tmp_path, truth, capsys)


def test_one_string_alone_is_read_and_the_neck_is_not_judged(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_recordings(tmp_path, BUILT, PLAYED, take=QUIET, seed=3)
    file = next(tmp_path.glob("string-2.*"))
    capsys.readouterr()
    run(["inspect", str(tmp_path / "neck.toml"), "--from", str(file), "--json", "--no-keep"])
    document = json.loads(capsys.readouterr()[0])
    assert {(one["string"], one["fret"]) for one in document["readings"] if one["used"]} == {(2, 0), (2, 1), (2, 5)}
    assert document["verdict"]["decision"] is None
    assert "1 of 3 strings" in document["verdict"]["reason"]


def test_a_string_that_cannot_be_read_is_reported_and_the_others_are_judged(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    truth = write_recordings(tmp_path, BUILT, PLAYED, take=QUIET, seed=3)
    spoiled = next(tmp_path.glob("string-2.*"))
    sound, rate = soundfile.read(spoiled)
    for note in truth:  # its open plucks are lost
        if note.string == 2 and note.fret == 0:
            sound[max(0, round((note.start_s - 0.05) * rate)) : round((note.start_s + 1.45) * rate)] = 0.0
    soundfile.write(spoiled, sound, rate, subtype="PCM_24")
    document = inspected(tmp_path, capsys)
    assert {one["string"] for one in document["readings"] if one["used"]} == {1, 3}
    (warning,) = [line for line in document["warnings"] if "String 2 was not judged" in line]
    assert "string-2" in warning
    assert document["frets"]
