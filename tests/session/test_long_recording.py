"""Twenty minutes, or 14 strings of 36 frets, take nearly no more memory than a short recording, and no more time a minute."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from fretcheck.neck.starts import STARTS
from tests.necks_recorded import write_recordings
from tests.synth.recording import Take
from tests.synth.strung_neck import BuiltNeck

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "recordings_demo"
MOST_MB = 120
MOST_TIMES_SLOWER = 1.5
HEAR = r"""
import re, sys, time
from pathlib import Path
from fretcheck import read_neck
from fretcheck.session.recordings import hear_string
neck = read_neck(Path(sys.argv[1]))
hear_string(neck, 6, Path(sys.argv[1]).with_name("string-6.flac"))  # imports and tables are no matter of length
start = time.process_time()
heard = hear_string(neck, 6, Path(sys.argv[2]))
most_kb = re.search(r"VmHWM:\s+(\d+)", Path("/proc/self/status").read_text())[1]
print(len(heard.readings), time.process_time() - start, int(most_kb) / 1024)
"""

HEAR_NECK = r"""
import re, sys, time
from pathlib import Path
from fretcheck import read_neck
from fretcheck.session.recordings import inspect_recordings
few, many = map(Path, sys.argv[1:])
inspect_recordings(read_neck(few / "neck.toml"), few, processes=1)
for folder in few, many:
    start = time.process_time()
    heard = inspect_recordings(read_neck(folder / "neck.toml"), folder, processes=1)
    print(len(heard.readings), time.process_time() - start)
print(int(re.search(r"VmHWM:\s+(\d+)", Path("/proc/self/status").read_text())[1]) / 1024)
"""


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="asks the system for its account of memory")
def test_fourteen_strings_of_thirty_six_frets(tmp_path: Path) -> None:
    start = STARTS["guitar-7-electric"].neck
    notes = ["E4", "D4", "B3", "A3", "G3", "F3", "D3", "C3", "A2", "G2", "E2", "D2", "B1", "A1"]
    strings = tuple(replace(start.strings[number // 2], note=note) for number, note in enumerate(notes))
    take = Take(sample_rate=16_000.0, seconds_per_note=1.3, open_seconds=1.6, lead_s=0.4, hand_cents=0.2, glide_cents=0.0)
    folders = []
    for count, frets in ((3, 7), (14, 36)):
        neck = replace(start, strings=strings[:count], frets=36)
        folders.append(tmp_path / str(count))
        folders[-1].mkdir()
        played = {string: [0, *range(1, frets + 1), 0] for string in range(1, count + 1)}
        write_recordings(folders[-1], BuiltNeck(neck=neck), played, take=take)
    words = [sys.executable, "-c", HEAR_NECK, *map(str, folders)]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(words, env=environment, capture_output=True, text=True, timeout=280, check=True)
    few, few_s, many, many_s, megabytes = map(float, done.stdout.split())
    assert few == 3 * 9
    assert many >= 0.98 * 14 * 38  # the highest notes of so short strings are asked for again now and then
    assert megabytes <= MOST_MB
    assert many_s / many <= MOST_TIMES_SLOWER * few_s / few  # notes last alike


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="asks the system for its account of memory")
def test_twenty_minutes(tmp_path: Path) -> None:
    once, rate = soundfile.read(DEMO / "string-6.flac")
    found = {}
    for minutes in (1, 20):
        frames = minutes * 60 * rate
        soundfile.write(tmp_path / "long.flac", np.resize(once, frames), rate)
        done = subprocess.run(
            [sys.executable, "-c", HEAR, str(DEMO / "neck.toml"), str(tmp_path / "long.flac")],
            env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True, timeout=280, check=True,
        )  # fmt: skip
        found[minutes] = [float(word) for word in done.stdout.split()]
    notes, seconds, megabytes = found[20]
    assert notes > 500  # 43 plucks each 79 s
    assert megabytes <= MOST_MB
    assert seconds / 20 <= MOST_TIMES_SLOWER * found[1][1]
