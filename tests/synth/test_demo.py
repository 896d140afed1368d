"""The committed demo recordings are what the script writes, and a builder could believe them."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

import numpy as np
import pytest
import soundfile

from fretcheck.neck.neck_file import read_neck
from tests.synth import demo
from tests.synth.strung_neck import BuiltNeck

FOLDER = Path(__file__).parents[2] / "recordings_demo"


@pytest.fixture(scope="module")
def committed():
    return json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))


def test_committed_truth_is_what_the_script_computes(committed):
    """To a millionth of a part: other processors may round the last digits otherwise."""
    computed = demo.demo_truth()
    assert {key: computed[key] for key in ("schema", "seed", "neck", "sample_rate_hz", "faults")} == {
        key: committed[key] for key in ("schema", "seed", "neck", "sample_rate_hz", "faults")
    }
    assert computed["built"].keys() == committed["built"].keys()
    for part, value in computed["built"].items():
        assert committed["built"][part] == pytest.approx(value, abs=2e-4)
    assert len(computed["notes"]) == len(committed["notes"]) == 6 * (2 * 20 + 3)
    for ours, theirs in zip(computed["notes"], committed["notes"], strict=True):
        assert (ours["string"], ours["fret"]) == (theirs["string"], theirs["fret"])
        for key in ("start_s", "f1_hz", "inharmonicity", "deviation_cents"):
            assert theirs[key] == pytest.approx(ours[key], rel=1e-6, abs=2e-5)


def test_committed_description_is_the_script_s():
    assert (FOLDER / "neck.toml").read_text(encoding="utf-8") == demo.demo_text()
    assert read_neck(FOLDER / "neck.toml") == demo.demo_neck()


def test_described_clearance_is_what_gauges_found_on_the_built_neck():
    (gap,) = demo.demo_neck().measured
    assert (gap.what, gap.mm, gap.u_mm) == ("first_fret_clearance", demo.demo_clearance_mm(), demo.U_CLEARANCE_MM)


def test_committed_recordings_have_the_length_the_truth_asks_for_and_fit():
    total_bytes, total_s = 0, 0.0
    built = demo.demo_built()
    for string in range(1, 7):
        path = FOLDER / f"string-{string}.flac"
        info = soundfile.info(path)
        last = demo.demo_notes(built, string)[-1]
        assert (info.channels, info.subtype, info.samplerate) == (1, "PCM_16", 32000)
        assert info.frames / info.samplerate == pytest.approx(
            last.start_s + last.ring_s + demo.demo_take(string).lead_s, abs=1e-3
        )
        total_bytes += path.stat().st_size
        total_s += info.frames / info.samplerate
    assert total_bytes <= 12e6
    assert total_s <= 8 * 60


def test_committed_recording_holds_the_script_s_sound():
    """The first notes of string 1, sample by sample: the second generator draws the notes before hum and room noise."""
    notes = demo.demo_notes(demo.demo_built(), 1)
    end = round(notes[3].start_s * 32000)
    ours = demo.demo_recording(notes[:3]).samples[: end - 32000]
    theirs, _ = soundfile.read(FOLDER / "string-1.flac", frames=end - 32000)
    sounding = round(notes[0].start_s * 32000)
    assert np.corrcoef(ours[sounding:], theirs[sounding:])[0, 1] > 0.9999  # the hum and noise of each are some 50 dB below


def test_same_script_writes_the_same_bytes(tmp_path):
    for name in ("first.flac", "second.flac"):
        notes = demo.demo_notes(demo.demo_built(), 5)[:3]
        demo.write_recording(demo.demo_recording(notes), tmp_path / name)
    assert (tmp_path / "first.flac").read_bytes() == (tmp_path / "second.flac").read_bytes()


def test_every_fret_is_played_twice_between_open_plucks():
    built = demo.demo_built()
    for string in range(1, 7):
        frets = [note.fret for note in demo.demo_notes(built, string)]
        assert frets[0] == frets[-1] == 0
        assert [frets.count(fret) for fret in range(21)] == [3] + [2] * 20


def test_as_designed_the_neck_would_pass_and_as_built_it_fails():
    """The faults, not the design, break the description's 6 cents."""
    designed = BuiltNeck(neck=demo.demo_neck()).deviations_cents[:, 1:]
    built = demo.demo_built().deviations_cents[:, 1:]
    assert np.abs(designed).max() < 6.0
    assert np.abs(built).max() > 12.0


def test_faults_shine_through_the_scatter():
    built = demo.demo_built()
    assert built.frets_mm[7] == 0.40
    assert max(abs(mm) for fret, mm in built.frets_mm.items() if fret != 7) < 0.08
    assert max(abs(mm) for string, mm in built.saddle_mm.items() if string != 3) < 0.25
    assert max(abs(mm) for mm in built.fret_tilts_mm.values()) < 0.08


def test_recording_knows_its_notes():
    notes = demo.demo_notes(demo.demo_built(), 2)[:2]
    assert [asdict(note) for note in demo.demo_recording(notes).notes] == [asdict(note) for note in notes]
