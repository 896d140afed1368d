"""A program that keeps inspections as fast as it can, for tests that run two of it, or kill it.

    python -m tests.register.writer write PLACE FIRST COUNT      keep COUNT documents, print each id once it is kept
    python -m tests.register.writer killed PLACE KILLS           be killed KILLS times at random moments, print what was promised

`killed` starts each writer by a fork of itself, which saves the time of importing everything a hundred times over.
"""

from __future__ import annotations

import os
import random
import select
import signal
import sys
import time

from fretcheck.register.record import insert_document  # noqa: F401  imported before the fork
from fretcheck.register.store import open_register
from tests.register.documents import make_document


def write(place: str, first: int, count: int, out: int) -> None:
    """Keep documents `first` … `first + count - 1`; a line of number and id goes to descriptor `out` after each commit."""
    with open_register(place) as register:
        for number in range(first, first + count):
            kept = register.keep(make_document(number, string_count=6, last_fret=12))
            os.write(out, f"{number} {kept.id}\n".encode())


def killed(place: str, kills: int) -> None:
    """Let `kills` writers be killed, each up to 120 ms after its start or after its first promise (in turn)."""
    chance = random.Random(7)
    alive = 0
    for turn in range(kills):
        reading, writing = os.pipe()
        child = os.fork()
        if child == 0:
            write(place, turn * 10_000, 10_000, writing)
            os._exit(0)
        os.close(writing)
        promised = b""
        if turn % 2:
            promised += os.read(reading, 65536)
        end = time.monotonic() + chance.uniform(0, 0.12)
        while (left := end - time.monotonic()) > 0:
            if select.select([reading], [], [], left)[0]:
                promised += os.read(reading, 65536)
        alive += os.waitpid(child, os.WNOHANG) == (0, 0)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        while more := os.read(reading, 65536):
            promised += more
        os.close(reading)
        sys.stdout.write(promised.decode())
    print("alive when killed:", alive)


if __name__ == "__main__":
    if sys.argv[1] == "write":
        write(sys.argv[2], int(sys.argv[3]), int(sys.argv[4]), sys.stdout.fileno())
    else:
        killed(sys.argv[2], int(sys.argv[3]))
