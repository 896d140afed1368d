"""How well plucks are found, how fast, and what listening costs: run it, it prints a table.

    python -m tests.benchmarks.capture [--seconds 60] [--streams 6]

The first part needs nothing but the package; the second opens a private sound server (see `tests.sound_server`), plays noise
and plucks into it for `--seconds`, and keeps another core busy meanwhile.

Conventions
-----------
CPU is of the process itself (user and system), so that a busy machine does not count. An onset is found when a pluck starts
within 30 ms of it. Memory is resident size; its growth is taken from a tenth of the run to its end, and extrapolated linearly.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.table import Table

from tests.audio import streams
from tests.sound_server import SoundServer, missing_part

STEPS = (0, 1, 5, 12, 3, 0, 0, 7)
LOWEST_STRINGS_HZ = (30.87, 41.2, 82.41, 146.83, 196.0, 329.63, 659.26)
RATE = 48_000.0

CONDITIONS = {
    "loud, each note damped": {"levels_db": (0.0,)},
    "loud, old note rings on": {"levels_db": (0.0,), "damped": False},
    "20 dB between plucks, damped": {"levels_db": (0.0, -20.0)},
    "the same, hum 40 dB below": {"levels_db": (0.0, -20.0), "hum_db": -40.0},
    "10 dB between, old note rings on, hum": {"levels_db": (0.0, -10.0), "damped": False, "hum_db": -40.0},
    "20 dB between, old note rings on, hum": {"levels_db": (0.0, -20.0), "damped": False, "hum_db": -40.0},
    "beating, gliding, T60 12 s, damped": {
        "levels_db": (0.0, -12.0),
        "t60_s": 12.0,
        "split_hz": 0.3,
        "split_growth": 1.0,
        "second_plane_db": -1.0,
        "glide_cents": 25.0,
    },
    "every 0.6 s, damped": {"levels_db": (0.0, -10.0), "gap_s": 0.6},
    "speech, doors, squeaks in the gaps": {"levels_db": (0.0, -12.0), "gap_s": 4.0, "t60_s": 1.5, "noise_db": -50.0},
}


def disturbed(stream, rng):
    """`stream` with something else sounding late in each gap."""
    for index, begin in enumerate(stream.onsets_s):
        other = (
            lambda: streams.voice(rng, seconds=0.9, sample_rate=RATE, f0_hz=rng.uniform(90.0, 240.0)),
            lambda: streams.door_slam(rng, sample_rate=RATE),
            lambda: streams.squeak(rng, sample_rate=RATE, seconds=rng.uniform(0.08, 0.25)),
        )[index % 3]()
        streams.mix(stream.samples, other, at_s=begin + 2.4, sample_rate=RATE)
    return stream


def segmenting(count):
    """Rows (condition, onsets, found, false plucks, largest error ms, × real time)."""
    rng = np.random.default_rng(7)
    for name, options in CONDITIONS.items():
        total = found = extra = 0
        worst_s = sound_s = cpu_s = 0.0
        for index in range(count):
            lowest = LOWEST_STRINGS_HZ[index % len(LOWEST_STRINGS_HZ)]
            pitches = tuple(lowest * 2 ** (step / 12) for step in STEPS)
            stream = streams.string_stream(rng, sample_rate=RATE, f1_hz=pitches, **options)
            if name.startswith("speech"):
                stream = disturbed(stream, rng)
            before = time.process_time()
            plucks = streams.plucks_in(streams.segment(stream.samples, RATE))
            cpu_s += time.process_time() - before
            sound_s += len(stream.samples) / RATE
            here, missed, false = streams.matched(stream, plucks)
            total, found, extra = total + here + missed, found + here, extra + false
            errors = [min(abs(pluck.start_s - true) for true in stream.onsets_s) for pluck in plucks]
            worst_s = max([worst_s, *(error for error in errors if error <= 0.03)])
        yield name, total, found, extra, 1000 * worst_s, sound_s / cpu_s


LISTEN = """
import json, sys, time
import numpy as np
from fretcheck.audio.input.microphone import MicrophoneSource
from fretcheck.audio.segment.pluck import Pluck
from fretcheck.audio.segment.segmenter import Segmenter

def resident_mb():
    with open("/proc/self/statm") as file:
        return int(file.read().split()[1]) * 4096 / 1e6

seconds = float(sys.argv[1])
states = []
source = MicrophoneSource("bench", sample_rate=48_000, on_state=lambda state: states.append(state.kind))
segmenter = Segmenter(source.sample_rate)
blocks = lost = plucks = frames = 0
first_mb = largest_gap_s = 0.0
begin = last = time.monotonic()
cpu = time.process_time()
print("ready", flush=True)
while time.monotonic() - begin < seconds:
    block = source.read(timeout_s=0.1)
    if block is None:
        continue
    now = time.monotonic()
    largest_gap_s, last = max(largest_gap_s, now - last), now
    blocks, lost, frames = blocks + 1, lost + block.lost, frames + len(block.samples)
    plucks += sum(isinstance(event, Pluck) for event in segmenter.push(block))
    if not first_mb and now - begin > seconds / 10:
        first_mb = resident_mb()
used = time.process_time() - cpu
passed = time.monotonic() - begin
print(json.dumps(dict(blocks=blocks, lost=lost, states=states, plucks=plucks, cpu_percent=100 * used / passed, passed_s=passed,
                      frames=frames, first_mb=first_mb, last_mb=resident_mb(), largest_gap_s=largest_gap_s)))
source.close()
"""


def listening(seconds):
    """What a process found that listened for `seconds` while another kept a core busy."""
    rng = np.random.default_rng(8)
    pitches = [110.0 * 2 ** (rng.integers(0, 13) / 12) for _ in range(int(seconds / 3.0) - 1)]
    stream = streams.string_stream(rng, sample_rate=RATE, f1_hz=pitches, gap_s=3.0, levels_db=(0.0, -12.0))
    with tempfile.TemporaryDirectory(prefix="fretcheck-sound-") as folder:
        server = SoundServer(Path(folder))
        server.start()
        busy = subprocess.Popen([sys.executable, "-c", "while True: pass"])
        try:
            with server.start_python(LISTEN, str(seconds)) as process:
                assert process.stdout.readline() == "ready\n", process.stderr.read()
                server.play(stream.samples, RATE)
                told, errors = process.communicate(timeout=seconds + 60)
            assert process.returncode == 0, errors
        finally:
            busy.kill()
            busy.wait()
            server.close()
    return json.loads(told), len(pitches)


def main():
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, default=60.0, help="how long to listen")
    parser.add_argument("--streams", type=int, default=3, help="streams of eight plucks per condition")
    options = parser.parse_args()
    console = Console(width=100)
    table = Table(
        "stream", "onsets", "found", "false", "worst start, ms", "× real time", title="Segmenter, 48 kHz, blocks of 1024"
    )
    for name, total, found, extra, worst_ms, speed in segmenting(options.streams):
        table.add_row(name, str(total), f"{found} ({100 * found / total:.1f} %)", str(extra), f"{worst_ms:.1f}", f"{speed:.0f}")
    console.print(table)
    part = missing_part()
    if part is not None:
        console.print(f"Not listened: {part}")
        return
    heard, played = listening(options.seconds)
    table = Table("quantity", "value", title=f"Listening for {options.seconds:.0f} s, another core busy")
    growth = heard["last_mb"] - heard["first_mb"]
    hours = 0.9 * options.seconds / 3600
    table.add_row("blocks received", str(heard["blocks"]))
    table.add_row("blocks after a loss", str(heard["lost"]))
    table.add_row("frames received / time passed", f"{heard['frames'] / RATE:.2f} s / {heard['passed_s']:.2f} s")
    table.add_row("losses, returns", ", ".join(heard["states"]) or "none")
    table.add_row("plucks found / played", f"{heard['plucks']} / {played}")
    table.add_row("largest gap between blocks", f"{1000 * heard['largest_gap_s']:.0f} ms")
    table.add_row("CPU, capture and segmenter", f"{heard['cpu_percent']:.1f} % of a core")
    table.add_row("memory", f"{heard['last_mb']:.1f} MB, grew {growth:+.2f} MB")
    table.add_row("growth in an hour, if linear", f"{growth / hours:+.1f} MB (from {hours * 60:.1f} minutes: an upper estimate)")
    console.print(table)


if __name__ == "__main__":
    main()
