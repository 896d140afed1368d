"""A player before the real program on the real capture path: plucks what its lines ask for, and again what they refuse.

The program runs without a terminal, so that it prints a line for everything; the sound goes into the null sink that it hears.
"""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Callable

import numpy as np

from fretcheck.session.journal.story import read_story
from tests.neck_files import write_neck

RATE = 44_100
MOST_PLUCKS = 30
_ASKED = re.compile(r"pluck +string (?P<string>\d+)(?: open|, fret (?P<fret>\d+))")
_TUNE = re.compile(r"tune up .* (?P<cents>\d+) cents (?P<way>sharp|flat)")


class LinesPlayer:
    """Starts the program; a context manager that ends it.

    Parameters
    ----------
    server : SoundServer
    folder : Path
    neck : Neck
    sound : callable
        A string, a fret and how far it is off in cents → samples of one pluck, damped at its end.
    """

    def __init__(self, server, folder, neck, sound: Callable[[int, int, float], np.ndarray], *arguments: str) -> None:
        self.server, self.data = server, folder / "data"
        self.lines: list[str] = []
        self.plucks: list[tuple[int, int]] = []
        self.off_cents = 0.0
        """How far the string is out of tune; may be changed at any time."""
        self._sound = sound
        write_neck(neck, folder / "neck.toml")
        self._program = subprocess.Popen(
            [sys.executable, "-m", "fretcheck", arguments[0], str(folder / "neck.toml"), "--device", "bench", *arguments[1:]],
            env={**server.environment, "FRETCHECK_DATA": str(self.data), "PYTHONIOENCODING": "utf-8"},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            encoding="utf-8",
        )

    def __enter__(self) -> LinesPlayer:
        return self

    def __exit__(self, *exc: object) -> None:
        self._program.kill()
        with self._program:
            pass

    def next_line(self) -> str:
        """The next line of the program; empty at its end."""
        line = self._program.stdout.readline().rstrip()
        self.lines.append(line)
        return line

    def pluck(self, string: int, fret: int) -> None:
        """Play one note, to its end."""
        self.plucks.append((string, fret))
        self.server.play(self._sound(string, fret, self.off_cents), RATE, latency_ms=500).wait(timeout=30)

    def through(self, *, before: Callable[[int, int], None] = lambda string, fret: None) -> None:
        """Play what is asked for until the session is over; `before` is called before every pluck."""
        asked = None
        while line := self.next_line():
            if found := _ASKED.match(line):
                asked = int(found["string"]), int(found["fret"] or 0)
            elif found := _TUNE.match(line):
                self.off_cents -= float(found["cents"]) * (1.0 if found["way"] == "sharp" else -1.0)
            elif line.startswith(("finished  all", "stopped")):
                return
            elif not line.startswith(("once more", "too faint", "tune up")):
                continue
            assert asked is not None
            assert len(self.plucks) < MOST_PLUCKS, self.lines
            before(*asked)
            self.pluck(*asked)

    def rest(self) -> str:
        """What the program prints once the session is over, to its end."""
        return self._program.stdout.read()

    def exit_code(self) -> int:
        """Of the program, once it has printed everything."""
        return self._program.wait(timeout=60)

    def story(self):
        """The journal of the session."""
        (folder,) = (self.data / "sessions").iterdir()
        return read_story(folder)[0]
