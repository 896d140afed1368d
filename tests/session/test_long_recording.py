"""A recording of twenty minutes takes no more memory than one of a minute, nearly, and no more time for each minute."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

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
print(len(heard.notes), time.process_time() - start, int(most_kb) / 1024)
"""


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
