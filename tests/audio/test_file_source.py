"""Recordings of every kind that may be handed over, and those that are no use."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

from fretcheck.audio.input.file_source import FileSource
from fretcheck.errors import RecordingError, UsageError
from tests.synth.pluck import PluckSpec, pink_noise, pluck_sound

RATE = 44_100


@pytest.fixture
def pluck(rng):
    return pluck_sound(PluckSpec(f1_hz=196.0, duration_s=1.0), sample_rate=RATE, rng=rng)


def read(source):
    with source:
        blocks = list(source.blocks())
    assert [block.start_frame for block in blocks] == list(np.cumsum([0, *(len(block.samples) for block in blocks[:-1])]))
    assert not any(block.lost for block in blocks)
    return np.concatenate([block.samples for block in blocks])


@pytest.mark.parametrize(
    ("name", "subtype", "largest_error"),
    [
        ("a.wav", "PCM_U8", 2**-7),  # half to one step of the format
        ("a.wav", "PCM_16", 2**-15),
        ("a.wav", "PCM_24", 2**-23),
        ("a.wav", "FLOAT", 1e-7),
        ("a.wav", "DOUBLE", 0.0),
        ("a.flac", "PCM_16", 2**-15),
        ("a.flac", "PCM_24", 2**-23),
        ("a.aiff", "PCM_16", 2**-15),
        ("a.ogg", "VORBIS", 0.02),  # lossy
    ],
)
def test_reads_every_format_at_its_own_rate(tmp_path, pluck, name, subtype, largest_error):
    soundfile.write(tmp_path / name, pluck, RATE, subtype=subtype)
    source = FileSource(tmp_path / name, block_frames=1000)
    assert source.sample_rate == RATE
    assert source.name == name
    samples = read(source)
    assert samples.dtype == np.float64
    assert samples.shape == pluck.shape
    assert np.max(np.abs(samples - pluck)) <= largest_error


@pytest.mark.parametrize("rate", [8_000, 192_000])
def test_reads_the_extreme_rates(tmp_path, rng, rate):
    sound = 0.1 * rng.standard_normal(rate // 4)
    soundfile.write(tmp_path / "a.wav", sound, rate, subtype="DOUBLE")
    source = FileSource(tmp_path / "a.wav")
    assert source.sample_rate == rate
    assert np.array_equal(read(FileSource(tmp_path / "a.wav")), sound)


def test_stereo_with_one_dead_channel_uses_the_other(tmp_path, pluck):
    soundfile.write(tmp_path / "a.wav", np.stack([np.zeros_like(pluck), pluck], axis=1), RATE, subtype="DOUBLE")
    assert np.array_equal(read(FileSource(tmp_path / "a.wav")), pluck)


def test_two_like_channels_are_averaged(tmp_path, pluck, rng):
    left, right = (pluck + 0.001 * rng.standard_normal(len(pluck)) for _ in range(2))
    soundfile.write(tmp_path / "a.wav", np.stack([left, right], axis=1), RATE, subtype="DOUBLE")
    assert np.allclose(read(FileSource(tmp_path / "a.wav")), (left + right) / 2, atol=1e-15)


def test_channels_out_of_phase_are_not_averaged_away(tmp_path, pluck):
    soundfile.write(tmp_path / "a.wav", np.stack([pluck, -0.8 * pluck], axis=1), RATE, subtype="DOUBLE")
    assert np.array_equal(read(FileSource(tmp_path / "a.wav")), pluck)


def test_the_clean_channel_is_preferred_to_a_clipped_one(tmp_path, pluck):
    hot = np.clip(8.0 * pluck, -1.0, 1.0)
    soundfile.write(tmp_path / "a.wav", np.stack([hot, pluck], axis=1), RATE, subtype="DOUBLE")
    assert np.array_equal(read(FileSource(tmp_path / "a.wav")), pluck)


def test_a_channel_may_be_insisted_on(tmp_path, pluck):
    soundfile.write(tmp_path / "a.wav", np.stack([pluck, 0.5 * pluck], axis=1), RATE, subtype="DOUBLE")
    assert np.array_equal(read(FileSource(tmp_path / "a.wav", channel=2)), 0.5 * pluck)
    with pytest.raises(UsageError, match=r"channel 3 of .*: the recording has 2"):
        FileSource(tmp_path / "a.wav", channel=3)


def test_blocks_may_be_read_twice(tmp_path, pluck):
    soundfile.write(tmp_path / "a.wav", pluck, RATE, subtype="DOUBLE")
    with FileSource(tmp_path / "a.wav") as source:
        first = [block.samples for block in source.blocks()]
        second = [block.samples for block in source.blocks()]
    assert np.array_equal(np.concatenate(first), np.concatenate(second))


def refused(path, match, sound=None, **write):
    if sound is not None:
        soundfile.write(path, sound, RATE, **write)
    with pytest.raises(RecordingError, match=match) as caught:
        FileSource(path)
    assert "\n" not in str(caught.value)
    assert caught.value.file == path


def test_missing_folder_and_file(tmp_path):
    refused(tmp_path / "none" / "a.wav", "there is no folder .*none")
    refused(tmp_path / "a.wav", "there is no such file")
    (tmp_path / "b.wav").mkdir()
    refused(tmp_path / "b.wav", "is a folder, not a recording")


def test_text_named_wav(tmp_path):
    (tmp_path / "a.wav").write_text("string 1, plucked at noon – fine\n", encoding="utf-8")
    refused(tmp_path / "a.wav", "no recording that can be read \\(it looks like text\\); export it as WAV")


def test_bytes_that_are_no_recording(tmp_path, rng):
    (tmp_path / "a.wav").write_bytes(rng.bytes(5000))
    refused(tmp_path / "a.wav", "no recording that can be read; export it")


def test_empty_file_and_empty_recording(tmp_path):
    (tmp_path / "a.wav").write_bytes(b"")
    refused(tmp_path / "a.wav", "is empty \\(0 bytes\\)")
    refused(tmp_path / "b.wav", "no sound at all \\(0 frames\\)", np.zeros(0))


def test_truncated_flac(tmp_path, pluck):
    soundfile.write(tmp_path / "whole.flac", pluck, RATE)
    whole = (tmp_path / "whole.flac").read_bytes()
    (tmp_path / "a.flac").write_bytes(whole[: len(whole) // 2])
    refused(tmp_path / "a.flac", "damaged or cut short: 0\\.\\d s of the 1\\.0 s it announces")


def test_silence_dc_and_clipping(tmp_path, pluck):
    refused(tmp_path / "a.wav", "is silent; check the input", np.zeros(RATE))
    refused(tmp_path / "b.wav", "constant level of 0.250 of full scale \\(DC\\)", np.full(RATE, 0.25))
    refused(tmp_path / "c.wav", "clipped throughout \\(\\d+ % of it", np.clip(100 * pluck, -1, 1))
    refused(tmp_path / "d.wav", "clipped throughout", 0.4 * np.clip(100 * pluck, -1, 1), subtype="DOUBLE")


def test_not_a_number(tmp_path, pluck):
    pluck[100] = np.nan
    refused(tmp_path / "a.wav", "samples that are no numbers", pluck, subtype="FLOAT")


def test_a_moment_of_clipping_or_dc_is_no_reason_to_refuse(tmp_path, pluck, rng):
    sound = np.clip(3.5 * pluck, -1.0, 1.0) * 0.999 + 0.001 * pink_noise(len(pluck), sample_rate=RATE, rng=rng)
    soundfile.write(tmp_path / "a.wav", sound, RATE, subtype="PCM_24")
    assert len(read(FileSource(tmp_path / "a.wav"))) == len(pluck)
    soundfile.write(tmp_path / "b.wav", pluck + 0.1, RATE, subtype="DOUBLE")
    assert np.array_equal(read(FileSource(tmp_path / "b.wav")), pluck + 0.1)


def test_other_rates_channels_and_options_are_refused(tmp_path, pluck):
    soundfile.write(tmp_path / "a.wav", pluck, 4_000)
    refused(tmp_path / "a.wav", "4000 Hz is outside 8000 to 192000 Hz; record at")
    refused(tmp_path / "b.wav", "3 channels; export the string as mono or stereo", np.stack([pluck] * 3, axis=1))
    soundfile.write(tmp_path / "c.wav", pluck, RATE)
