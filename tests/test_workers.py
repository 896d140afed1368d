"""Processes that help end with the one they help, however that one ends."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from fretcheck.workers import worker_pool

ROOT = Path(__file__).parents[1]
MOST_S = 5.0
PARENT = """
import time
from fretcheck.workers import worker_pool
from tests.test_workers import pid_then_sleep
if __name__ == "__main__":
    with worker_pool(2) as pool:
        pool.submit(pid_then_sleep, {folder!r})
        pool.submit(pid_then_sleep, {folder!r})
        time.sleep(600)
"""


def pid_then_sleep(folder: str) -> None:
    (Path(folder) / str(os.getpid())).touch()
    time.sleep(600)


def double(number: int) -> int:
    return 2 * number


def test_workers_work() -> None:
    with worker_pool(1) as pool:
        assert pool.submit(double, 21).result(timeout=60) == 42


@pytest.mark.skipif(sys.platform == "win32", reason="sends POSIX signals")
@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGTERM])
def test_workers_end_with_a_killed_parent(how: signal.Signals, tmp_path: Path) -> None:
    pids = tmp_path / "pids"
    pids.mkdir()
    script = tmp_path / "parent.py"
    script.write_text(PARENT.format(folder=str(pids)), encoding="utf-8")
    parent = subprocess.Popen([sys.executable, str(script)], env={**os.environ, "PYTHONPATH": str(ROOT)})
    try:
        wait_until(lambda: len(list(pids.iterdir())) == 2, most_s=60.0)
    finally:
        parent.send_signal(how)
        parent.wait(timeout=30)
    workers = [int(path.name) for path in pids.iterdir()]
    wait_until(lambda: not any(alive(pid) for pid in workers), most_s=MOST_S)


def alive(pid: int) -> bool:
    try:
        return "State:\tZ" not in Path(f"/proc/{pid}/status").read_text(encoding="utf-8")
    except OSError:
        return False


def wait_until(condition, *, most_s: float) -> None:
    """Poll; fails when it does not come true in time."""
    end = time.monotonic() + most_s
    while not condition():
        assert time.monotonic() < end, "not in time"
        time.sleep(0.05)
