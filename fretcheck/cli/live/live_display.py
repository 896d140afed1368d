"""Shows a live session on the screen of a terminal.

The screen is redrawn at most ten times in any second: at once when something happened, eight times a second for running values,
and now and then for the level alone. Only the lines that have changed are written, which costs little and does not flicker; all
of them when the size has changed, and every few seconds in case something else has written on the terminal.
"""

import os
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from typing import Self, TextIO

from rich.cells import cached_cell_len
from rich.console import Console, ConsoleDimensions
from rich.text import Text

from fretcheck.report.bench.bench_screen import BenchScreen
from fretcheck.report.tables.neck_cells import glyphs_for
from fretcheck.session import events

MOST_DRAWS_A_SECOND = 10
RUNNING_INTERVAL_S = 0.125  # Leaves two frames a second for what has to be shown at once
LEVEL_INTERVAL_S = 0.2
WHOLE_EVERY_S = 3.0


class _TerminalConsole(Console):
    """A console as large as its terminal is now, whatever COLUMNS and LINES in the environment say: those do not follow it."""

    @property
    def size(self) -> ConsoleDimensions:
        try:
            columns, rows = os.get_terminal_size(self.file.fileno())
        except (OSError, ValueError):  # no terminal, or none any more
            columns = rows = 0
        return ConsoleDimensions(columns, rows) if columns and rows else super().size

    @size.setter
    def size(self, new_size: tuple[int, int]) -> None:
        raise AttributeError("the terminal decides on its size")


class ScreenDisplay:
    """Takes the whole terminal over while it is entered, and gives it back as it was.

    `picture`: of the view, which is shared with the session. `stream`: the terminal; on anything else nothing is drawn. `clock`:
    seconds, monotonic.
    """

    def __init__(self, picture: BenchScreen, stream: TextIO, *, clock: Callable[[], float]) -> None:
        self._picture = picture
        self._console = _TerminalConsole(file=stream, highlight=False)
        self._glyphs = glyphs_for(self._console)
        self._clock = clock
        self._drawn: deque[float] = deque(maxlen=MOST_DRAWS_A_SECOND)
        self._owed_at_once = self._owed = False
        self._size: ConsoleDimensions | None = None
        self._shown: list[Text] = []
        self._whole_at = 0.0
        self.draws = 0

    def __enter__(self) -> Self:
        if self._console.set_alt_screen(True):
            self._console.show_cursor(False)
        return self

    def __exit__(self, *exc: object) -> None:
        if self._console.is_alt_screen:
            with suppress(OSError):  # the terminal may be gone
                self._console.set_alt_screen(False)
                self._console.show_cursor(True)

    def apply(self, event: events.Event) -> None:
        """Take in one event."""
        self._picture.view.apply(event)
        self._owed = True
        self._owed_at_once |= not isinstance(event, events.Running)

    @property
    def wants_running(self) -> bool:
        """Whether a running value would be shown if there were one now; reading one that nobody sees is work for nothing."""
        return self._since_last(self._clock()) >= RUNNING_INTERVAL_S

    def _since_last(self, now: float) -> float:
        return now - self._drawn[-1] if self._drawn else float("inf")

    def draw(self) -> None:
        """Bring what was taken in before the eyes, if it is time to."""
        now = self._clock()
        full = len(self._drawn) == MOST_DRAWS_A_SECOND and now - self._drawn[0] < 1.0
        due = self._since_last(now) >= (RUNNING_INTERVAL_S if self._owed else LEVEL_INTERVAL_S)
        if full or not (self._owed_at_once or due):
            return
        self._owed_at_once = self._owed = False
        self._drawn.append(now)
        self.draws += 1
        size = self._console.size
        if size != self._size or now - self._whole_at >= WHOLE_EVERY_S:
            self._size, self._whole_at, self._shown = size, now, []
            cached_cell_len.cache_clear()  # it would fill, over an hour, with thousands of lines that never come again
        lines = self._picture.lines(size.width, size.height, self._glyphs)
        if self._console.is_alt_screen:
            with self._console:  # written at once at the end
                for row, line in enumerate(lines):
                    if row >= len(self._shown) or (line, line.style) != (self._shown[row], self._shown[row].style):
                        self._write(row, line, size.width)
        self._shown = lines

    def _write(self, row: int, line: Text, width: int) -> None:
        line.no_wrap = True
        line.truncate(width)
        options = self._console.options.update(width=width, height=1)
        self._console.update_screen_lines(self._console.render_lines(line, options, new_lines=False), y=row)
