"""A sound server without hardware, for tests of the real capture path.

A private PulseAudio with a null sink, whose monitor PortAudio opens as a microphone through ALSA's pulse plug-in. Nothing
of the user's own sound is touched: the server has its own folder, socket and ALSA configuration, and is ended by process
number.

Use
---
In a test module (or its conftest)::

    from tests.sound_server import sound_server  # noqa: F401  (the fixture)

    def test_something(sound_server):
        player = sound_server.play(samples, 48_000)          # starts to play at once; samples of shape (frames,)
        subprocess.run([...], env=sound_server.environment)  # a process in which PortAudio lists 'bench' and 'spare'
        player.wait(timeout=…)                               # returns once all was played

- PortAudio reads `environment` when it starts, so the capture runs in a process of its own (`run_python` does that).
- `environment` is complete: a copy of os.environ plus what points to this server.
- `sound_server` is a fresh server for each test (0.2 s); it skips the test where a part is missing.
- Faults: `remove_sink()`, `add_sink()`, `suspend()`, `stop()` and `go_on()` (SIGSTOP, SIGCONT), `kill()`, `start()` anew.
- `play` may be called while another sound plays: they mix. `silence_for(seconds)` plays zeros (a paced wait without sleep).
- Sample rate and channels of the sink: ``SoundServer(folder, rate=44_100, channels=2)``, for tests that make their own.

`norewinds=1` matters: without it the null sink drops up to 1 700 samples when a stream starts.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import tempfile
from glob import glob
from pathlib import Path

import numpy as np
import pytest

PROGRAMS = ("pulseaudio", "pactl", "pacat")
PACKAGES = "pulseaudio pulseaudio-utils libasound2-plugins libportaudio2"
START_TRIES = 1_000


def missing_part() -> str | None:
    """What is not installed, or None."""
    for program in PROGRAMS:
        if shutil.which(program) is None:
            return f"{program} is not installed (Debian: {PACKAGES})"
    if not glob("/usr/lib/*/alsa-lib/libasound_module_pcm_pulse.so") + glob("/usr/lib/alsa-lib/libasound_module_pcm_pulse.so"):
        return f"ALSA's pulse plug-in is not installed (Debian: {PACKAGES})"
    return None


class SoundServer:
    """One private server; `start` it, and `close` it at the end."""

    def __init__(self, folder: Path, *, rate: int = 48_000, channels: int = 1) -> None:
        self.folder = Path(folder)
        self.rate = rate
        self.channels = channels
        self._server: subprocess.Popen[bytes] | None = None
        self._players: list[subprocess.Popen[bytes]] = []
        self._sounds = 0
        run, home = self.folder / "run", self.folder / "home"
        for path in (run, home):
            path.mkdir(parents=True, exist_ok=True)
            path.chmod(0o700)
        devices = "".join(
            f'pcm.{name} {{ type pulse device "{name}.monitor" hint {{ show on description "null sink {name}" }} }}\n'
            for name in ("bench", "spare")
        )
        (self.folder / "asound.conf").write_text("</usr/share/alsa/alsa.conf>\n" + devices, encoding="utf-8")
        self.environment = os.environ | {
            "XDG_RUNTIME_DIR": str(run),
            "PULSE_RUNTIME_PATH": str(run),
            "PULSE_STATE_PATH": str(home),
            "PULSE_SERVER": f"unix:{run}/native",
            "ALSA_CONFIG_PATH": str(self.folder / "asound.conf"),
        }

    # -- the server --------------------------------------------------------------------------------------------------

    def start(self) -> None:
        """Start the server with its sink 'bench' and return once it answers."""
        socket = self.folder / "run" / "native"
        socket.unlink(missing_ok=True)
        with (self.folder / "stdout.log").open("ab") as log:
            self._server = subprocess.Popen(
                [
                    *("pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no", "--disable-shm=yes"),
                    *("--realtime=no", "--high-priority=no", f"--log-target=file:{self.folder / 'pulse.log'}"),
                    *("-L", f"module-native-protocol-unix socket={socket} auth-anonymous=1"),
                    *("-L", f"module-null-sink {self._sink('bench')}"),
                ],
                env=self.environment | {"HOME": str(self.folder / "home")},
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )
        for _ in range(START_TRIES):  # asking takes a few milliseconds: no need to sleep in between
            if self._server.poll() is not None:
                break
            if self._pactl("info", check=False).returncode == 0:
                self._pactl("set-default-sink", "bench")
                self._pactl("set-default-source", "bench.monitor")
                return
        raise RuntimeError(f"the sound server did not start: {(self.folder / 'stdout.log').read_text(errors='replace')}")

    @property
    def pid(self) -> int:
        assert self._server is not None
        return self._server.pid

    def stop(self) -> None:
        """Freeze the server (SIGSTOP), as a machine under stress or asleep does."""
        os.kill(self.pid, signal.SIGSTOP)

    def go_on(self) -> None:
        """Let a frozen server run again."""
        os.kill(self.pid, signal.SIGCONT)

    def kill(self) -> None:
        """End the server without a word (SIGKILL); `start` brings another."""
        if self._server is not None:
            self._server.kill()
            self._server.wait()
            self._server = None

    def close(self) -> None:
        """End the players and the server."""
        for player in self._players:
            if player.poll() is None:
                player.kill()
            player.wait()
        self.kill()

    # -- sinks -------------------------------------------------------------------------------------------------------

    def _sink(self, name: str) -> str:
        return (
            f"sink_name={name} rate={self.rate} channels={self.channels} format=float32le norewinds=1 "
            f"sink_properties=device.description={name}"
        )

    def add_sink(self, name: str = "bench") -> None:
        """Plug a device in: 'bench', or 'spare' for a second one."""
        self._pactl("load-module", "module-null-sink", *self._sink(name).split())

    def remove_sink(self, name: str = "bench") -> None:
        """Pull a device out. A stream on it moves to another sink's monitor, or ends where there is none."""
        for line in self._pactl("list", "short", "modules").stdout.splitlines():
            number, module, *arguments = line.split("\t")
            if module == "module-null-sink" and f"sink_name={name} " in " ".join(arguments) + " ":
                self._pactl("unload-module", number)
                return
        raise RuntimeError(f"no sink named {name}")

    def suspend(self, name: str = "bench", *, on: bool = True) -> None:
        """Suspend a device or resume it."""
        self._pactl("suspend-sink", name, "1" if on else "0")

    def capturing_from(self) -> list[str]:
        """Names of the sources that are being captured from now."""
        sources = dict(line.split("\t")[:2] for line in self._pactl("list", "short", "sources").stdout.splitlines())
        outputs = self._pactl("list", "short", "source-outputs").stdout.splitlines()
        return [sources[line.split("\t")[1]] for line in outputs]

    def _pactl(self, *arguments: str, check: bool = True) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            ["pactl", *arguments], env=self.environment, check=check, capture_output=True, text=True, timeout=20
        )

    # -- sound -------------------------------------------------------------------------------------------------------

    def play(self, samples, rate: float, *, sink: str = "bench", latency_ms: int = 50) -> subprocess.Popen[bytes]:
        """Start to play `samples`, shape ``(frames,)`` or ``(frames, channels)``; the process ends when all is played.

        A larger `latency_ms` lets a loaded machine stall for as long without a gap in the sound.
        """
        sound = np.asarray(samples, dtype="<f4")
        self._sounds += 1
        path = self.folder / f"sound-{self._sounds}.raw"
        sound.tofile(path)
        channels = 1 if sound.ndim == 1 else sound.shape[1]
        with path.open("rb") as file:
            player = subprocess.Popen(
                [
                    *("pacat", "--playback", "--raw", "--format=float32le", f"--rate={round(rate)}", f"--channels={channels}"),
                    *(f"--device={sink}", f"--latency-msec={latency_ms}", "--client-name=player"),
                ],
                env=self.environment,
                stdin=file,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )
        self._players.append(player)
        return player

    def silence_for(self, seconds: float) -> None:
        """Play zeros and return when they are over."""
        self.play(np.zeros(round(seconds * self.rate)), self.rate).wait(timeout=seconds + 20)

    def run_python(self, code: str, *arguments: str, timeout: float = 60) -> subprocess.CompletedProcess[str]:
        """Run `code` in a fresh interpreter whose PortAudio sees this server."""
        return subprocess.run(
            [sys.executable, "-c", code, *arguments],
            env=self.environment,
            capture_output=True,
            text=True,
            timeout=timeout,
        )

    def start_python(self, code: str, *arguments: str) -> subprocess.Popen[str]:
        """Like `run_python`, without waiting: use it as a context manager and read its `stdout`."""
        return subprocess.Popen(
            [sys.executable, "-c", code, *arguments],
            env=self.environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )


@pytest.fixture
def sound_server():
    """A server with one sink 'bench' at 48 kHz, one channel."""
    part = missing_part()
    if part is not None:
        pytest.skip(part)
    with tempfile.TemporaryDirectory(prefix="fretcheck-sound-") as folder:  # a short path: sockets allow 107 characters
        server = SoundServer(Path(folder))
        server.start()
        try:
            yield server
        finally:
            server.close()
