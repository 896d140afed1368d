"""How long the register takes with 10,000 inspections in it; prints figures, asserts nothing.

    python -m tests.benchmarks.register [--inspections 10000] [--place PATH|URL]

Each inspection has 6 strings × 21 notes. `list` and `search` should answer within 0.3 s. "Command" is a whole new process,
Python's start included.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

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
    """Run one command as a new process."""
    subprocess.run([sys.executable, "-m", "fretcheck", *arguments, "--register", place], check=True, stdout=subprocess.DEVNULL)


def main() -> None:
    """Fill a register, then time what people ask of it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--inspections", type=int, default=10_000)
    parser.add_argument("--place", help="an empty register to fill; else a temporary file")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        place = options.place or str(Path(folder) / "register.sqlite")
        with open_register(place) as register:
            fill(register, options.inspections)
            if register.location.file is not None:
                print(f"the file has {register.location.file.stat().st_size / 1e6:.0f} MB")
            newest = register.list(limit=1)[0].id
            timed("open", lambda: open_register(place).close())
            timed("list, newest 50", lambda: (register.list(limit=50), register.count()))
            timed("list, all", register.list)
            timed("search by serial", lambda: register.search(serial="wt-00042"))
            timed("search by verdict, newest 50", lambda: register.search(verdict="fail", limit=50))
            timed("search by verdict, all", lambda: register.search(verdict="fail"))
            timed("search by words in all, found in all", lambda: register.search(text="toward the bridge"))
            timed("search by words, found nowhere", lambda: register.search(text="no such words"))
            timed("load one", lambda: register.load(newest))
            timed("history of one neck", lambda: register.history("WT-00042"))
        timed("command: list", lambda: command(place, "list"))
        timed("command: search by words", lambda: command(place, "search", "toward the bridge"))
        timed("command: search by serial", lambda: command(place, "search", "--serial", "wt-00042"))


if __name__ == "__main__":
    main()
