"""The screen over an hour of drawing."""

from __future__ import annotations

import io
from itertools import count

from rich.cells import cached_cell_len
from rich.text import Text

from fretcheck.cli.live.live_display import ScreenDisplay


class NeverTheSame:
    """A picture of lines that come once."""

    def __init__(self):
        self._numbers = count()

    def lines(self, width, height, glyphs):
        lines = [Text(f"line {next(self._numbers)}") for _ in range(height)]
        for line in lines:
            line.truncate(width)
        return lines


def test_what_was_drawn_is_not_kept():
    """At ten redraws a second, for a thousand of them, at most those of the last seconds are remembered."""
    now = [0.0]
    display = ScreenDisplay(NeverTheSame(), io.StringIO(), clock=lambda: now[0])
    most = 0
    for tick in range(2000):
        now[0] = tick / 10.0
        display.draw()
        most = max(most, cached_cell_len.cache_info().currsize)
    assert display.draws >= 800
    assert 0 < most < 40 * 31
