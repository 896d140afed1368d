"""A plot of notes along the frets, drawn with plain lines and texts: a page holds many, and full axes take three times as long.

Conventions: the figure's own coordinates are px from its lower left; a panel maps frets (x) and cents (y) into its part of it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from fretcheck.report.figures import drawing

NAN = float("nan")
STEPS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
NUMBER_WIDTH, NUMBER_ROW = 12.5, 10.0  # Room for a fret's number, and the height of a row of them, px


def canvas(figure: Any, *, width: float, height: float) -> Any:
    """Axes over the whole figure, in px, without any decoration."""
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_xlim(0.0, width)
    axes.set_ylim(0.0, height)
    axes.axis("off")
    return axes


@dataclass(frozen=True, kw_only=True)
class Panel:
    """Part of a canvas: frets across, cents up, zero in the middle."""

    axes: Any
    left: float
    right: float
    bottom: float
    top: float
    frets: tuple[float, float]  # At the left and at the right edge
    reach_cents: float  # At the top edge; minus that at the bottom

    def x(self, fret: float) -> float:
        first, last = self.frets
        return self.left + (fret - first) / (last - first) * (self.right - self.left)

    def y(self, cents: float) -> float:
        return self.bottom + (cents / self.reach_cents + 1.0) / 2.0 * (self.top - self.bottom)

    def line(self, frets: Sequence[float], cents: Sequence[float], **how: Any) -> None:
        """A line, or with ``linestyle="none"`` and a marker, points."""
        drawing.line(self.axes, [self.x(one) for one in frets], [self.y(one) for one in cents], **how)

    def bars(self, ends: Sequence[tuple[float, float, float]], **how: Any) -> None:
        """Upright bars, each given by fret and both ends in cents."""
        if ends:
            frets = [fret for fret, _, _ in ends for _ in range(3)]
            cents = [value for _, low, high in ends for value in (low, high, NAN)]
            self.line(frets, cents, **how)

    def tolerance(self, limit_cents: float) -> None:
        """The tolerance as a band, and the zero line."""
        low, high = (max(-self.reach_cents, -limit_cents), min(self.reach_cents, limit_cents))
        first, last = self.frets
        corners = [self.x(first), self.x(last), self.x(last), self.x(first)]
        drawing.area(self.axes, corners, [self.y(low)] * 2 + [self.y(high)] * 2, facecolor=drawing.WITHIN_TINT, linewidth=0)
        self.line([first, last], [0.0, 0.0], color=drawing.SOFT, linewidth=0.8)

    def scale_of_cents(self, *, most: int = 3) -> None:
        """Numbers at the left, at most `most` above zero."""
        step = next((one for one in STEPS if self.reach_cents / one < most + 1), STEPS[-1])
        count = int(self.reach_cents / step)
        drawing.line(self.axes, [self.left, self.left], [self.bottom, self.top], color=drawing.SOFT, linewidth=0.8)
        for number in range(-count, count + 1):
            y, value = self.y(number * step), f"{number * step:g}".replace("-", "−")
            drawing.line(self.axes, [self.left - 3.5, self.left], [y, y], color=drawing.SOFT, linewidth=0.8)
            self.axes.text(self.left - 6.0, y, value, ha="right", va="center", fontsize=11.0)

    def scale_of_frets(self) -> None:
        """Every fret's number below, in two rows where one has no room."""
        first, last = math.ceil(self.frets[0]), math.floor(self.frets[1])
        rows = 1 if self.x(1.0) - self.x(0.0) >= NUMBER_WIDTH else 2
        for fret in range(first, last + 1):
            y = self.bottom - 5.0 - NUMBER_ROW * ((fret - first) % rows)
            self.axes.text(self.x(fret), y, str(fret), ha="center", va="top", fontsize=9.5)

    def heading(self, text: str) -> None:
        """The string's name above, and what is plotted."""
        self.axes.text(self.left, self.top + 8.0, text, fontsize=13.0, fontweight="bold")
        self.axes.text(self.right, self.top + 8.0, "cents, + sharp", ha="right", fontsize=11.0, color=drawing.SOFT)
        self.axes.text(self.right, 3.0, "fret", ha="right", fontsize=11.0, color=drawing.SOFT)
