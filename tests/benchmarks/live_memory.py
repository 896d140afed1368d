"""Does the memory of a live session stay flat over an hour? Figures only, nothing is asserted.

Run it from the source tree::

    python -m tests.benchmarks.live_memory [--minutes 60] [--pace 10]      # an hour of sound, ten times as fast as it sounded
    python -m tests.benchmarks.live_memory --real [--minutes 60]           # a real hour, through PortAudio and a null sink

Both run the program itself (`fretcheck inspect`, screen, journal and keys included) on a pseudo-terminal, and print its resident
memory each five minutes of sound. One note comes each three seconds. Without `--real` a recording stands in for the microphone;
its blocks take the microphone's way through the queue. With `--real` the player waits for nothing, but plays what the journal
says is asked for next.

Conventions
-----------
Memory is resident size, in MB of 2^20 bytes. It swings by a few MB with every note, as working arrays come and go: each line
gives the least and the most of what was seen since the line before. Growth counts from the first such line, after five minutes,
by when all that a note needs has been loaded and small caches are full.
"""

from __future__ import annotations

import argparse
import contextlib
import fcntl
import json
import os
import pty
import resource
import struct
import subprocess
import sys
import tempfile
import termios
import threading
import time
from collections import deque
from collections.abc import Iterator
from itertools import groupby
from pathlib import Path

import numpy as np
import soundfile

from fretcheck.session.journal.sounds import on_grid
from fretcheck.session.journal.story import JOURNAL_NAME
from fretcheck.session.plan import Plan, make_plan
from tests.live.strings import played, three_string_neck
from tests.neck_files import write_neck
from tests.sound_server import SoundServer, missing_part

SECONDS_PER_NOTE = 3.0
EVERY_S = 300.0
WARM_S = 60.0
FRETS = 20
REPEATS = 20
RATE = {"real": 48_000.0, "recording": 32_000.0}


def main() -> None:
    """Print resident memory against minutes of sound."""
    parser = argparse.ArgumentParser(description="Memory of a live session over an hour.")
    parser.add_argument("--minutes", type=float, default=60.0, help="of sound")
    parser.add_argument("--pace", type=float, default=10.0, help="how many times as fast as it sounded; not with --real")
    parser.add_argument("--real", action="store_true", help="through PortAudio and a null sink, in real time")
    options = parser.parse_args()
    neck = three_string_neck(frets=FRETS)
    plan = make_plan(neck, frets=range(1, FRETS + 1), repeats=REPEATS)
    with tempfile.TemporaryDirectory(prefix="fretcheck-hour-") as name:
        folder = Path(name)
        write_neck(neck, folder / "neck.toml")
        clips = Clips(neck, RATE["real" if options.real else "recording"])
        run = over_a_real_hour if options.real else over_a_recording
        run(folder, plan, clips, options)


class Clips:
    """Three seconds of each note, synthesised once."""

    def __init__(self, neck, rate: float) -> None:
        self.rate = rate
        self._neck = neck
        self._clips: dict[tuple[int, int], np.ndarray] = {}

    def __call__(self, string: int, fret: int) -> np.ndarray:
        """Silence, then one pluck that rings on into the next clip."""
        if (string, fret) not in self._clips:
            sound = played(self._neck, [(string, fret)], sample_rate=self.rate, seconds_per_note=SECONDS_PER_NOTE, lead_s=0.1)
            frames = round(SECONDS_PER_NOTE * self.rate)
            self._clips[string, fret] = np.resize(sound.samples, frames).astype(np.float32)
        return self._clips[string, fret]


class Program:
    """The program on a pseudo-terminal of a hundred by thirty."""

    def __init__(self, folder: Path, *options: str, environment: dict[str, str]) -> None:
        self._data = folder / "data"
        self._terminal, inner = pty.openpty()
        fcntl.ioctl(inner, termios.TIOCSWINSZ, struct.pack("HHHH", 30, 100, 0, 0))
        chosen = ["--frets", f"1-{FRETS}", "--repeats", str(REPEATS), "--no-step-back", "--no-cues", "--no-keep", *options]
        wanted = {"FRETCHECK_DATA": str(self._data), "TERM": "xterm-256color", "LC_ALL": "C.UTF-8"}
        self._process = subprocess.Popen(
            [sys.executable, "-m", "fretcheck", "inspect", str(folder / "neck.toml"), *chosen],
            env={**environment, **wanted},
            stdin=inner,
            stdout=inner,
            stderr=inner,
            start_new_session=True,
        )
        os.close(inner)
        threading.Thread(target=self._swallow, daemon=True).start()

    def _swallow(self) -> None:
        """Read what is drawn, as a terminal does, until it is closed."""
        with contextlib.suppress(OSError):
            while os.read(self._terminal, 65536):
                pass

    @property
    def runs(self) -> bool:
        return self._process.poll() is None

    @property
    def memory_mb(self) -> float:
        pages = int(Path(f"/proc/{self._process.pid}/statm").read_text().split()[1])
        return pages * resource.getpagesize() / 2**20

    @property
    def processor_s(self) -> float:
        fields = Path(f"/proc/{self._process.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def accepted(self) -> Iterator[str]:
        """Lines of the journal that tell of accepted plucks."""
        for path in self._data.glob(f"sessions/*/{JOURNAL_NAME}"):
            for line in path.read_text(encoding="utf-8").splitlines():
                if line.startswith('{"kind":"accepted"'):
                    yield line

    @property
    def heard_s(self) -> float:
        """Beginning of the last pluck that was accepted, in seconds of sound."""
        last = deque(self.accepted(), maxlen=1)
        return float(json.loads(last[0])["start_s"]) if last else 0.0

    def stop(self) -> None:
        """Press q, and wait for the end."""
        with contextlib.suppress(OSError):
            os.write(self._terminal, b"q")
        self._process.wait(timeout=60)


class Report:
    """Prints a line each five minutes of sound, and at the end what the memory grew by."""

    def __init__(self, program: Program) -> None:
        self._program = program
        self._next_s = EVERY_S
        self._first: tuple[float, float] | None = None
        self._seen: list[float] = []
        self._begun = time.monotonic()
        print(f"{'sound, min':>10} {'memory, MB':>17} {'growth, MB':>17} {'accepted':>9} {'processor':>10}")

    def at(self, sound_s: float, *, last: bool = False) -> None:
        """So much sound has been heard; prints a line when one is due, and at the last."""
        if not self._program.runs or sound_s < WARM_S:
            return
        self._seen.append(self._program.memory_mb)
        if not (last or sound_s >= self._next_s):
            return
        least, most = min(self._seen), max(self._seen)
        self._first = self._first or (least, most)
        self._seen = []
        share = self._program.processor_s / (time.monotonic() - self._begun)
        count = sum(1 for _ in self._program.accepted())
        grown = f"{least - self._first[0]:+.2f} {most - self._first[1]:+.2f}"
        print(f"{sound_s / 60:10.1f} {least:8.2f} {most:8.2f} {grown:>17} {count:9d} {share:10.1%}", flush=True)
        self._next_s = EVERY_S * (sound_s // EVERY_S + 1)


def over_a_recording(folder: Path, plan: Plan, clips: Clips, options: argparse.Namespace) -> None:
    """The program hears a recording, faster than it sounded."""
    path = folder / "hour.flac"
    seconds = 60.0 * options.minutes
    with soundfile.SoundFile(path, "w", round(clips.rate), 1, subtype="PCM_24", format="FLAC") as file:
        for place in _places(plan):
            if file.frames >= seconds * clips.rate:
                break
            file.write(on_grid(clips(*place)))
    environment = os.environ | {"FRETCHECK_LIVE_FROM": str(path), "FRETCHECK_LIVE_PACE": str(options.pace)}
    program = Program(folder, environment=environment)
    report = Report(program)
    tick = threading.Event()
    while program.runs and (sound_s := program.heard_s) < seconds - 2 * SECONDS_PER_NOTE:
        report.at(sound_s)
        tick.wait(0.5)
    report.at(program.heard_s, last=True)
    program.stop()


def _places(plan: Plan) -> Iterator[tuple[int, int]]:
    """The plan played as asked, with one pluck more of each note, in case one is not taken."""
    for place, asks in groupby((ask.string, ask.fret) for ask in plan.asks):
        yield from asks
        yield place


def _watch(program: Program, report: Report, begun: float, seconds: float) -> None:
    tick = threading.Event()
    while program.runs and (passed := time.monotonic() - begun) < seconds:
        report.at(passed)
        tick.wait(0.5)
    report.at(seconds, last=True)


def over_a_real_hour(folder: Path, plan: Plan, clips: Clips, options: argparse.Namespace) -> None:
    """The program hears a null sink in real time."""
    part = missing_part()
    if part is not None:
        raise SystemExit(part)
    server = SoundServer(folder / "server", rate=round(clips.rate))
    server.start()
    try:
        program = Program(folder, "--device", "bench", environment=server.environment)
        report = Report(program)
        player = subprocess.Popen(
            [
                *("pacat", "--playback", "--raw", "--format=float32le", f"--rate={round(clips.rate)}", "--channels=1"),
                *("--device=bench", "--latency-msec=500"),
            ],
            env=server.environment,
            stdin=subprocess.PIPE,
        )
        assert player.stdin is not None
        begun = time.monotonic()
        seconds = 60.0 * options.minutes
        watch = threading.Thread(target=_watch, args=(program, report, begun, seconds))
        watch.start()
        while program.runs and time.monotonic() - begun < seconds:
            asked = plan.asks[min(sum(1 for _ in program.accepted()), len(plan.asks) - 1)]
            player.stdin.write(clips(asked.string, asked.fret).tobytes())  # returns once there is room: the player sets the pace
            player.stdin.flush()
        watch.join()
        program.stop()
        player.kill()
    finally:
        server.close()


if __name__ == "__main__":
    main()
