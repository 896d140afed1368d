"""The tests' own sound server does what its description says."""

from __future__ import annotations

import numpy as np
import pytest

from tests.sound_server import sound_server  # noqa: F401

pytestmark = pytest.mark.live

RECORD = """
import sys
import numpy as np
import sounddevice as sd
frames, path = int(sys.argv[1]), sys.argv[2]
with sd.InputStream(device="bench", channels=1, samplerate=48_000, blocksize=1024, latency=0.1) as stream:
    print("ready", flush=True)
    np.save(path, stream.read(frames)[0][:, 0])
"""


def test_what_is_played_comes_back_unchanged(sound_server, tmp_path, rng):  # noqa: F811
    noise = 0.1 * rng.standard_normal(48_000).astype("<f4")
    with sound_server.start_python(RECORD, "120000", str(tmp_path / "heard.npy")) as recorder:
        assert recorder.stdout.readline() == "ready\n"
        sound_server.play(noise, 48_000).wait(timeout=20)
        assert recorder.wait(timeout=20) == 0
    heard = np.load(tmp_path / "heard.npy")
    start = int(np.flatnonzero(heard)[0]) - int(np.flatnonzero(noise)[0])
    assert np.array_equal(heard[start : start + len(noise)], noise)
    assert not heard[start + len(noise) :].any()


def test_devices_come_and_go(sound_server):  # noqa: F811
    names = "import sounddevice as sd; print([device['name'] for device in sd.query_devices()])"
    listed = sound_server.run_python(names)
    assert "'bench', 'spare'" in listed.stdout
    sound_server.add_sink("spare")
    sound_server.remove_sink("spare")
    with pytest.raises(RuntimeError, match="no sink named spare"):
        sound_server.remove_sink("spare")
    sound_server.kill()
    sound_server.start()
    assert sound_server.capturing_from() == []
