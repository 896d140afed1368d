"""All plucks of a recording, and recordings that hold none."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

from fretcheck.audio.input.file_source import FileSource
from fretcheck.audio.segment.cutting import cut_plucks
from fretcheck.errors import RecordingError
from tests.audio import streams
from tests.synth.pluck import pink_noise

RATE = 22_050


def whole(pluck):
    return pluck


def test_plucks_of_a_file(tmp_path, rng):
    stream = streams.string_stream(rng, f1_hz=(110.0, 117.0, 123.0), sample_rate=RATE)
    soundfile.write(tmp_path / "string-1.flac", stream.samples, RATE, subtype="PCM_24")
    with FileSource(tmp_path / "string-1.flac") as source:
        cut = cut_plucks(source, whole)
    assert [pluck.start_s for pluck in cut.plucks] == pytest.approx(stream.onsets_s, abs=0.015)
    assert cut.set_aside == ()


def test_five_minutes_of_noise(tmp_path, rng):
    noise = 0.05 * pink_noise(300 * 8_000, sample_rate=8_000, rng=rng)
    soundfile.write(tmp_path / "string-1.flac", noise, 8_000)
    with (
        FileSource(tmp_path / "string-1.flac") as source,
        pytest.raises(RecordingError, match=r"string-1.flac: no pluck can be heard in 300 s; check that it is the right"),
    ):
        cut_plucks(source, whole)


def test_speech_alone(tmp_path, rng):
    speech = streams.voice(rng, seconds=6.0, sample_rate=RATE) + 1e-4 * np.random.default_rng(1).standard_normal(6 * RATE)
    soundfile.write(tmp_path / "a.wav", speech, RATE)
    with (
        FileSource(tmp_path / "a.wav") as source,
        pytest.raises(RecordingError, match=r"no pluck can be heard in 6 s \(\d+ other sounds were set aside, the first"),
    ):
        cut_plucks(source, whole)
