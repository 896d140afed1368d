"""The microphone source on the real capture path: PortAudio, ALSA, a sound server, and what may befall them.

Each listener is a process of its own that prints a line for whatever happens; the tests read these lines, so nothing sleeps.
"""

from __future__ import annotations

import json
import os
import selectors
import tempfile
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from tests.sound_server import SoundServer, missing_part, sound_server  # noqa: F401

pytestmark = pytest.mark.live

WAIT_S = 15.0  # far beyond what is needed: reached only when something hangs

LISTEN = """
import json, sys, threading, time
import numpy as np
from fretcheck.audio.input.microphone import MicrophoneSource

begin = time.monotonic()
def tell(what, **more):
    print(json.dumps({"what": what, "at_s": time.monotonic() - begin, **more}), flush=True)

options = json.loads(sys.argv[1])
keep = options.pop("keep", None)
source = MicrophoneSource(on_state=lambda state: tell(state.kind, sentence=state.sentence), **options)
enough = threading.Event()
threading.Thread(target=lambda: (sys.stdin.read(), enough.set()), daemon=True).start()
heard, route = [], None
first = True
while not enough.is_set():
    block = source.read(timeout_s=0.05)
    if block is not None:
        if first:
            tell("first", name=source.name, sample_rate=source.sample_rate)
            first = False
        if block.lost:
            tell("gap", start_frame=block.start_frame)
        if keep:
            heard.append(block.samples)
    if source.route != route:
        route = source.route
        tell("route", name=route)
if keep:
    np.save(keep, np.concatenate(heard))
before = time.monotonic()
source.close()
tell("closed", took_s=time.monotonic() - before)
"""


class Listener:
    """Reads what a listening process tells."""

    def __init__(self, process):
        self._process = process
        self._selector = selectors.DefaultSelector()
        self._selector.register(process.stdout, selectors.EVENT_READ)
        self._buffer = b""
        self.told = []

    def next(self):
        while b"\n" not in self._buffer:
            assert self._selector.select(WAIT_S), f"nothing in {WAIT_S} s after {self.told}"
            chunk = os.read(self._process.stdout.fileno(), 65_536)
            assert chunk, f"ended after {self.told}: {self._process.stderr.read()}"
            self._buffer += chunk
        line, self._buffer = self._buffer.split(b"\n", 1)
        self.told.append(json.loads(line))
        return self.told[-1]

    def expect(self, what):
        """Read on to the next line of this kind."""
        while (line := self.next())["what"] != what:
            pass
        return line

    def kinds(self):
        return [line["what"] for line in self.told]

    def end(self):
        """Close the source and the process; neither may hang."""
        self._process.stdin.close()
        closed = self.expect("closed")
        assert closed["took_s"] < 3.0
        assert self._process.wait(timeout=WAIT_S) == 0
        return closed


@contextmanager
def listening(server, **options):
    with server.start_python(LISTEN, json.dumps({"device": "bench", "sample_rate": 48_000} | options)) as process:
        listener = Listener(process)
        try:
            listener.expect("first")
            yield listener
        finally:
            if process.poll() is None:
                process.kill()
            listener._selector.close()


def test_every_sample_arrives(sound_server, tmp_path, rng):  # noqa: F811
    noise = 0.1 * rng.standard_normal(2 * 48_000).astype("<f4")
    with listening(sound_server, keep=str(tmp_path / "heard.npy")) as listener:
        sound_server.play(noise, 48_000).wait(timeout=WAIT_S)
        sound_server.silence_for(0.5)
        listener.end()
        assert not {"gap", "lost", "overflow"} & set(listener.kinds())
    heard = np.load(tmp_path / "heard.npy")
    start = int(np.flatnonzero(heard)[0]) - int(np.flatnonzero(noise)[0])
    assert np.array_equal(heard[start : start + len(noise)], noise)


@pytest.mark.parametrize("rate", [44_100, 96_000, None])
def test_another_sample_rate_keeps_the_pitch(sound_server, tmp_path, rate):  # noqa: F811
    tone = 0.5 * np.sin(2 * np.pi * 440.0 * np.arange(3 * 48_000) / 48_000)
    with listening(sound_server, sample_rate=rate, keep=str(tmp_path / "heard.npy")) as listener:
        given = listener.told[-1]["sample_rate"]
        assert rate is None or given == rate
        sound_server.play(tone, 48_000).wait(timeout=WAIT_S)
        listener.end()
    heard = np.load(tmp_path / "heard.npy")
    sounding = np.flatnonzero(np.abs(heard) > 0.4)
    middle = heard[sounding[0] + round(0.3 * given) : sounding[0] + round(2.3 * given)]
    time = np.arange(len(middle)) / given
    parts = [
        np.angle(np.sum(half * np.exp(-2j * np.pi * 440.0 * when)))
        for half, when in zip(np.split(middle, 2), np.split(time, 2), strict=True)
    ]
    cents = 1200 * np.log2(1 + (parts[1] - parts[0]) / (2 * np.pi * 1.0) / 440.0)  # the halves are 1.0 s apart
    assert abs(cents) < 0.001  # the sound server converts between rates in exact ratios


def test_the_second_channel_of_an_interface(tmp_path):
    part = missing_part()
    if part is not None:
        pytest.skip(part)
    with tempfile.TemporaryDirectory(prefix="fretcheck-sound-") as folder:
        server = SoundServer(Path(folder), channels=2)
        server.start()
        try:
            sound = np.stack([np.full(24_000, 0.125), np.full(24_000, 0.25)], axis=1)
            with listening(server, channel=2, keep=str(tmp_path / "heard.npy")) as listener:
                server.play(sound, 48_000).wait(timeout=WAIT_S)
                listener.end()
        finally:
            server.close()
    heard = np.load(tmp_path / "heard.npy")
    assert set(np.unique(heard)) == {0.0, 0.25}


def test_a_device_pulled_out_and_put_back(sound_server):  # noqa: F811
    with listening(sound_server) as listener:
        sound_server.remove_sink()
        lost = listener.expect("lost")
        assert "The sound input has ended ('bench')" in lost["sentence"]
        sound_server.add_sink()
        back = listener.expect("back")
        gap = listener.expect("gap")
        assert gap["start_frame"] / 48_000 == pytest.approx(back["at_s"], abs=0.5)  # frames count on through the gap
        listener.end()


def test_a_server_killed_and_started_anew(sound_server):  # noqa: F811
    with listening(sound_server) as listener:
        sound_server.kill()
        listener.expect("lost")
        sound_server.start()
        listener.expect("back")
        listener.expect("gap")
        listener.end()


def test_a_server_that_freezes_and_goes_on(sound_server):  # noqa: F811
    with listening(sound_server) as listener:
        sound_server.stop()
        assert "No sound has come for 0.5 s" in listener.expect("lost")["sentence"]
        sound_server.go_on()
        listener.expect("back")
        listener.expect("gap")
        listener.end()


def test_a_frozen_server_does_not_freeze_the_program(sound_server):  # noqa: F811
    with listening(sound_server) as listener:
        sound_server.stop()
        listener.expect("lost")
        listener.end()
        sound_server.go_on()


def test_a_suspended_device(sound_server):  # noqa: F811
    with listening(sound_server) as listener:
        sound_server.suspend()
        listener.expect("lost")
        sound_server.suspend(on=False)
        listener.expect("back")
        listener.end()


def test_a_stream_that_moved_to_another_source(sound_server):  # noqa: F811
    sound_server.add_sink("spare")
    with listening(sound_server) as listener:
        assert listener.expect("route")["name"] == "bench.monitor"
        sound_server.remove_sink("bench")
        assert "'spare.monitor' instead of 'bench.monitor'" in listener.expect("lost")["sentence"]
        sound_server.add_sink("bench")
        listener.expect("back")
        listener.end()
        assert "moved" not in listener.kinds()


OPEN = """
import sys
from fretcheck.audio.input.microphone import MicrophoneSource
from fretcheck.errors import DeviceError
try:
    MicrophoneSource(*sys.argv[1:])
except DeviceError as error:
    print(error)
"""


def test_no_device_and_unknown_names(sound_server):  # noqa: F811
    assert (
        "no sound input's name contains 'violet'; there are: 0 bench; 1 spare" in sound_server.run_python(OPEN, "violet").stdout
    )
    sound_server.environment["PULSE_SERVER"] = f"unix:{sound_server.folder}/nobody"
    (sound_server.folder / "asound.conf").write_text("</usr/share/alsa/alsa.conf>\n", encoding="utf-8")
    assert "no sound input was found; connect a microphone" in sound_server.run_python(OPEN).stdout


def test_a_device_whose_server_is_gone(sound_server):  # noqa: F811
    sound_server.remove_sink()
    assert "opening 'bench' at 44100 Hz failed" in sound_server.run_python(OPEN, "bench").stdout


def test_no_portaudio(sound_server, tmp_path):  # noqa: F811
    (tmp_path / "sounddevice.py").write_text("raise OSError('PortAudio library not found')\n", encoding="utf-8")
    sound_server.environment["PYTHONPATH"] = os.pathsep.join([str(tmp_path), str(Path(__file__).parents[2])])
    told = sound_server.run_python(OPEN).stdout
    assert told.startswith("PortAudio, the library for sound input, is missing.")
    for command in ("apt install libportaudio2", "brew install portaudio", "pip install"):
        assert command in told
    assert told.count("\n") == 1
