"""How long the register takes with 10,000 inspections in it; prints figures, asserts nothing.

    python -m tests.benchmarks.register [--inspections 10000] [--place PATH|URL]

Each inspection has 6 strings × 21 notes. `list` and `search` should answer within 0.3 s, as commands within 0.8 s.
"Command" is a whole new process, Python's start included.
"""

from __future__ import annotations

import argparse
import os
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from fretcheck.register.selection import Selection
from fretcheck.register.store import Register, open_register
from tests.register.documents import make_document


def timed(what: str, action: Callable[[], object], *, repeats: int = 5) -> None:
    """Print the median and the worst of some runs."""
    took = []
    for _ in range(repeats):
        start = time.perf_counter()
        action()
        took.append(time.perf_counter() - start)
    print(f"{what:<52}{statistics.median(took):8.3f} s   worst {max(took):.3f} s", flush=True)


def fill(register: Register, count: int) -> None:
    """Keep `count` inspections of `count` / 3 necks, each in a transaction of its own, as it happens at the bench."""
    start = time.perf_counter()
    for number in range(count):
        document = make_document(number, string_count=6, last_fret=20)
        register.keep(document.model_copy(update={"neck": make_document(number // 3).neck}))
    took = time.perf_counter() - start
    print(f"kept {count} inspections of 126 readings: {took:.0f} s, {1000 * took / max(count, 1):.1f} ms each")


def command(place: str, *arguments: str) -> None:
    """Run one command as new processes; prints the time of the least disturbed, which on a busy machine is its processor's."""
    took = []
    for _ in range(5):
        start = time.perf_counter()
        words = [sys.executable, "-m", "fretcheck", *arguments, "--register", place]
        with subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
            _, status, used = os.wait4(process.pid, 0)
            process.returncode = os.waitstatus_to_exitcode(status)
        assert process.returncode == 0, words
        took.append((used.ru_utime + used.ru_stime, time.perf_counter() - start, used.ru_maxrss / 1024))
    processor, elapsed, memory = (min(column) for column in zip(*took, strict=True))
    print(f"command: {' '.join(arguments)[:40]:<43}{elapsed:8.2f} s   processor {processor:.2f} s   {memory:.0f} MB", flush=True)


def interrupted(place: str, target: Path) -> None:
    """Stop an export with Ctrl-C in its middle and tell what is left of it."""
    with subprocess.Popen(
        [sys.executable, "-m", "fretcheck", "export", "--to", str(target), "--register", place], stderr=subprocess.PIPE, text=True
    ) as process:
        time.sleep(4.0)
        process.send_signal(signal.SIGINT)
        said = process.communicate()[1].strip()
    left = [path.name for path in target.parent.iterdir() if path.name.startswith((".fretcheck", target.name))]
    print(f"export stopped by Ctrl-C: exit {process.returncode}, {said!r}, left behind: {left}")


def main() -> None:
    """Fill a register, then time what people ask of it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--inspections", type=int, default=10_000)
    parser.add_argument("--place", help="an empty register to fill; else a temporary file")
    options = parser.parse_args()
    signal.signal(signal.SIGINT, signal.default_int_handler)  # a job in the background would hand on that it is not heard
    with tempfile.TemporaryDirectory() as folder:
        place = options.place or str(Path(folder) / "register.sqlite")
        with open_register(place) as register:
            fill(register, options.inspections)
            if register.location.file is not None:
                print(f"the file has {register.location.file.stat().st_size / 1e6:.0f} MB")
            newest = register.select(limit=1)[0].id
            timed("open", lambda: open_register(place).close())
            timed("list, newest 50", lambda: (register.select(limit=50), register.count()))
            timed("list, all", register.select)
            timed("search by serial", lambda: register.select(Selection(serial="wt-00042")))
            timed("search by verdict, newest 50", lambda: register.select(Selection(verdict="fail"), limit=50))
            timed("search by verdict, all", lambda: register.select(Selection(verdict="fail")))
            timed("search by words in all, found in all", lambda: register.select(Selection(text="toward the bridge")))
            timed("search by words, found nowhere", lambda: register.select(Selection(text="no such words")))
            timed("load one", lambda: register.load(newest))
            timed(
                "history of one neck",
                lambda: list(register.documents([one.id for one in register.select(Selection(serial="WT-00042"))])),
            )
        command(place, "list")
        command(place, "search", "toward the bridge")
        command(place, "search", "--serial", "wt-00042")
        for ending in ("csv", "json"):
            command(place, "export", "--to", str(Path(folder) / f"all.{ending}"), "--force")
            interrupted(place, Path(folder) / f"stopped.{ending}")


if __name__ == "__main__":
    main()
