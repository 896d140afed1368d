"""Cues can be told apart, are of a moderate level, and never hold anything up."""

from __future__ import annotations

import threading

import numpy as np
import pytest

from fretcheck.audio.cues import (
    HANGS_AFTER_S,
    LOUDEST,
    TAIL_S,
    Cue,
    CuePlayer,
    SpeakerCues,
    cue_seconds,
    cue_sound,
)
from fretcheck.errors import DeviceError, UsageError
from tests.sound_server import sound_server  # noqa: F401

RATE = 48_000.0


def tones(sound):
    """Frequencies of the tones of a cue, by counting zero crossings between its pauses."""
    on = np.convolve(np.abs(sound) > 0.002, np.ones(480), mode="same") > 0
    edges = np.flatnonzero(np.diff(np.concatenate(([0], on.astype(int), [0]))))
    heard = []
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        middle = sound[start + 1000 : end - 1000]
        heard.append(np.count_nonzero(np.diff(np.signbit(middle))) / 2 / (len(middle) / RATE))
    return heard


def test_each_cue_has_a_pattern_of_its_own():
    heard = {cue: tones(cue_sound(cue, sample_rate=RATE)) for cue in Cue}
    assert sorted(len(pattern) for pattern in heard.values()) == [1, 2, 3, 4]
    assert heard[Cue.WRONG_FRET] == sorted(heard[Cue.WRONG_FRET], reverse=True)
    assert heard[Cue.STRING_FINISHED] == sorted(heard[Cue.STRING_FINISHED])


@pytest.mark.parametrize("cue", list(Cue))
def test_cues_are_short_moderate_and_without_clicks(cue):
    sound = cue_sound(cue, sample_rate=RATE)
    assert len(sound) < 0.7 * RATE
    assert 0.09 < np.max(np.abs(sound)) <= 0.1
    assert np.max(np.abs(np.diff(sound))) < 0.03  # a 1500 Hz tone of 0.1 moves 0.02 a sample; a click would be 0.1


def test_levels_that_could_harm_are_refused():
    for level in (0.0, -1.0, LOUDEST * 1.01):
        with pytest.raises(UsageError, match="loud tones harm hearing"):
            SpeakerCues(level=level)


def test_silent_cues_never_sound():
    cues = CuePlayer()
    cues.play(Cue.AGAIN)
    assert not cues.is_sounding
    cues.close()


class Loudspeaker:
    """Stands in for the sounddevice module; fails where it is told to."""

    def __init__(self, *, fails=None, gate=None):
        self.fails = fails
        self.gate = gate
        self.written = 0

    def query_devices(self, _device, _kind):
        if self.fails == "missing":
            raise ValueError("No output device")
        return {"default_samplerate": 48_000.0}

    def OutputStream(self, **_options):
        if self.fails == "open":
            raise RuntimeError("Device unavailable")
        return self

    def __enter__(self):
        return self

    def __exit__(self, *exc):
        pass

    def write(self, sound):
        if self.fails == "write":
            raise RuntimeError("Unanticipated host error")
        if self.gate is not None:
            self.gate.wait()
        self.written += len(sound)


def cues_on(monkeypatch, loudspeaker, **options):
    monkeypatch.setattr("fretcheck.audio.input.portaudio.load_sounddevice", lambda: loudspeaker)
    return SpeakerCues(**options)


@pytest.mark.parametrize("fails", ["missing", "open", "write"])
def test_a_loudspeaker_that_fails_is_silent_from_then_on_and_says_why(monkeypatch, fails):
    cues = cues_on(monkeypatch, Loudspeaker(fails=fails))
    cues.play(Cue.ACCEPTED)
    cues.close()  # waits for the worker
    assert cues.failure.startswith("playing a cue failed: ")
    assert not cues.is_sounding  # nothing was heard, so nothing has to die away
    cues.play(Cue.AGAIN)
    assert not cues.is_sounding


def test_without_portaudio_cues_are_silent(monkeypatch):
    def missing():
        raise DeviceError("PortAudio, the library for sound input, is missing.")

    monkeypatch.setattr("fretcheck.audio.input.portaudio.load_sounddevice", missing)
    cues = SpeakerCues()
    cues.play(Cue.ACCEPTED)
    cues.close()
    assert "PortAudio" in cues.failure
    assert not cues.is_sounding


def test_a_loudspeaker_that_hangs_is_given_up_and_mutes_nothing_for_ever(monkeypatch):
    gate, now = threading.Event(), [100.0]
    cues = cues_on(monkeypatch, Loudspeaker(gate=gate), clock=lambda: now[0])
    cues.play(Cue.ACCEPTED)
    cues.play(Cue.STRING_FINISHED)
    both_s = cue_seconds(Cue.ACCEPTED) + cue_seconds(Cue.STRING_FINISHED)
    now[0] = 100.0 + both_s + HANGS_AFTER_S - 0.01
    assert cues.is_sounding
    assert cues.failure is None
    now[0] += 0.02
    assert not cues.is_sounding
    assert "hangs" in cues.failure
    gate.set()
    cues.close()
    assert "hangs" in cues.failure


def test_a_cue_takes_as_long_as_its_sound():
    for cue in Cue:
        assert cue_seconds(cue) == pytest.approx(len(cue_sound(cue, sample_rate=RATE)) / RATE, abs=1e-3)


PLAY = """
import sys, time
from fretcheck.audio.cues import Cue, SpeakerCues
cues = SpeakerCues(device=sys.argv[1])
before = cues.is_sounding
begin = time.monotonic()
cues.play(Cue.ACCEPTED)
cues.play(Cue.STRING_FINISHED)
print(before, cues.is_sounding, time.monotonic() - begin)
while cues.is_sounding:
    time.sleep(0.01)
print(time.monotonic() - begin)
print(cues.failure)
cues.close()
"""


@pytest.mark.live
def test_speaker_cues_sound_and_end(sound_server):  # noqa: F811
    done = sound_server.run_python(PLAY, "pulse")
    assert done.returncode == 0, done.stderr
    at_once, seconds, failure = done.stdout.splitlines()
    before, during, delay = at_once.split()
    assert (before, during) == ("False", "True")
    total = sum(len(cue_sound(cue, sample_rate=RATE)) for cue in (Cue.ACCEPTED, Cue.STRING_FINISHED)) / RATE
    assert float(seconds) > total + TAIL_S > 5 * float(delay)  # `play` did not wait for the sound
    assert failure == "None"


@pytest.mark.live
def test_a_missing_loudspeaker_stops_nothing(sound_server):  # noqa: F811
    done = sound_server.run_python(PLAY, "no such device")
    assert done.returncode == 0, done.stderr
    assert "playing a cue failed: No output device matching 'no such device'" in done.stdout
