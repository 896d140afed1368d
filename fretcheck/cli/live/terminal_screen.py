"""A whole terminal to draw on, of which only the lines that have changed are written anew.

Writing few lines costs little and does not flicker. All of them are written when the size has changed, and every few seconds
in case something else has written on the terminal.
"""

import os
from collections.abc import Callable
from contextlib import suppress
from typing import Protocol, Self, TextIO

from rich.cells import cached_cell_len
from rich.console import Console, ConsoleDimensions
from rich.text import Text

from fretcheck.report.bench.bench_screen import rendered_line
from fretcheck.report.tables.neck_cells import Glyphs, glyphs_for

WHOLE_EVERY_S = 3.0


class Picture(Protocol):
    """What can be drawn."""

    def lines(self, width: int, height: int, glyphs: Glyphs) -> list[Text]:
        """Exactly `height` lines for a terminal of that size."""
        ...


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


class TerminalScreen:
    """Takes the terminal over while it is entered, and gives it back as it was.

    `stream`: the terminal; on anything else nothing is drawn. `clock`: seconds, monotonic.
    """

    def __init__(self, stream: TextIO, *, clock: Callable[[], float]) -> None:
        self._console = _TerminalConsole(file=stream, highlight=False)
        self._glyphs = glyphs_for(self._console)
        self._clock = clock
        self._size: ConsoleDimensions | None = None
        self._shown: list[Text] = []
        self._whole_at = 0.0

    def __enter__(self) -> Self:
        if self._console.set_alt_screen(True):
            self._console.show_cursor(False)
        return self

    def __exit__(self, *exc: object) -> None:
        if self._console.is_alt_screen:
            with suppress(OSError):  # the terminal may be gone
                self._console.set_alt_screen(False)
                self._console.show_cursor(True)

    def show(self, picture: Picture) -> None:
        """Bring the terminal up to date with `picture`."""
        size, now = self._console.size, self._clock()
        lines = picture.lines(size.width, size.height, self._glyphs)
        whole = size != self._size or now - self._whole_at >= WHOLE_EVERY_S
        if whole:
            self._size, self._whole_at, self._shown = size, now, []
            cached_cell_len.cache_clear()  # it would fill, over an hour, with thousands of lines that never come again
        if self._console.is_alt_screen:
            with self._console:  # written at once at the end
                for row, line in enumerate(lines):
                    if row >= len(self._shown) or not _alike(line, self._shown[row]):
                        self._console.update_screen_lines([rendered_line(self._console, line, size.width)], y=row)
        self._shown = lines


def can_be_drawn_on(stream: TextIO) -> bool:
    """Whether the terminal has a screen of which single lines can be written: consoles of old Windows have not."""
    return not Console(file=stream).legacy_windows


def _alike(line: Text, other: Text) -> bool:
    return line == other and line.style == other.style
