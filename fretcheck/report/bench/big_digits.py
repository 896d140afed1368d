"""Numbers and short words large enough to be read from across the bench, drawn as thick strokes in terminal cells.

Fifteen rows in a usual terminal are about 7 cm. A cell is taken as twice as high as wide, so that its upper and lower half
are square dots.

Conventions: stroke coordinates run from 0 to 1, x to the right and y downward, within the box that the middle of the pen may
reach.
"""

from functools import lru_cache
from itertools import pairwise
from math import cos, pi, sin

import numpy as np
from numpy.typing import NDArray

Point = tuple[float, float]
Stroke = tuple[Point, ...]

SMALLEST_ROWS = 3
_WIDTH = 0.56  # of a digit, per height
_NARROW = {".": 0.16, "-": 0.42, "+": 0.46, " ": 0.3, "I": 0.16, "M": 0.7, "W": 0.8}
_PEN = 0.15  # stroke thickness, per height
_BLOCKS = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}


def _arc(cx: float, cy: float, rx: float, ry: float, start: float, stop: float) -> Stroke:
    """Part of an ellipse, angles in degrees, 0 to the right, growing clockwise on the screen."""
    angles = [start + (stop - start) * i / 24 for i in range(25)]
    return tuple((cx + rx * cos(a * pi / 180), cy + ry * sin(a * pi / 180)) for a in angles)


def _turned(strokes: tuple[Stroke, ...]) -> tuple[Stroke, ...]:
    return tuple(tuple((1 - x, 1 - y) for x, y in stroke) for stroke in strokes)


_SIX: tuple[Stroke, ...] = (_arc(0.5, 0.69, 0.5, 0.31, 0, 360), (*_arc(1.0, 0.69, 1.0, 0.69, 180, 250), (0.78, 0.0)))
_STROKES: dict[str, tuple[Stroke, ...]] = {
    "0": (_arc(0.5, 0.5, 0.5, 0.5, 0, 360),),
    "1": (((0.12, 0.2), (0.52, 0.0), (0.52, 1.0)), ((0.1, 1.0), (0.94, 1.0))),
    "2": ((*_arc(0.5, 0.28, 0.48, 0.28, 185, 390), (0.0, 1.0), (1.0, 1.0)),),
    "3": (_arc(0.46, 0.25, 0.44, 0.25, 205, 450), _arc(0.46, 0.74, 0.54, 0.26, 270, 515)),
    "4": (((0.74, 1.0), (0.74, 0.0), (0.0, 0.7), (1.0, 0.7)),),
    "5": (((0.92, 0.0), (0.12, 0.0), (0.06, 0.44)), (*((0.06, 0.44),), *_arc(0.46, 0.69, 0.54, 0.31, 240, 515))),
    "6": _SIX,
    "7": (((0.0, 0.0), (1.0, 0.0), (0.36, 1.0)),),
    "8": (_arc(0.5, 0.25, 0.42, 0.25, 0, 360), _arc(0.5, 0.74, 0.5, 0.26, 0, 360)),
    "9": _turned(_SIX),
    "+": (((0.0, 0.55), (1.0, 0.55)), ((0.5, 0.27), (0.5, 0.83))),
    "-": (((0.0, 0.55), (1.0, 0.55)),),
    ".": (((0.5, 1.0), (0.5, 1.0)),),
    " ": (),
}
_BOWL = _arc(0.4, 0.26, 0.6, 0.26, -90, 90)
_STROKES |= {
    "A": (((0.0, 1.0), (0.5, 0.0), (1.0, 1.0)), ((0.2, 0.65), (0.8, 0.65))),
    "B": (((0.0, 0.0), *_BOWL, (0.0, 0.52)), ((0.0, 0.52), *_arc(0.4, 0.76, 0.6, 0.24, -90, 90), (0.0, 1.0), (0.0, 0.0))),
    "C": (_arc(0.55, 0.5, 0.55, 0.5, 45, 315),),
    "D": (((0.0, 0.0), *_arc(0.4, 0.5, 0.6, 0.5, -90, 90), (0.0, 1.0), (0.0, 0.0)),),
    "E": (((1.0, 0.0), (0.0, 0.0), (0.0, 1.0), (1.0, 1.0)), ((0.0, 0.5), (0.8, 0.5))),
    "F": (((1.0, 0.0), (0.0, 0.0), (0.0, 1.0)), ((0.0, 0.5), (0.8, 0.5))),
    "G": ((*_arc(0.52, 0.5, 0.52, 0.5, 315, 0), (1.0, 0.55), (0.6, 0.55)),),
    "H": (((0.0, 0.0), (0.0, 1.0)), ((1.0, 0.0), (1.0, 1.0)), ((0.0, 0.5), (1.0, 0.5))),
    "I": (((0.5, 0.0), (0.5, 1.0)),),
    "J": (((1.0, 0.0), *_arc(0.5, 0.72, 0.5, 0.28, 0, 180)),),
    "K": (((0.0, 0.0), (0.0, 1.0)), ((1.0, 0.0), (0.0, 0.55)), ((0.25, 0.45), (1.0, 1.0))),
    "L": (((0.0, 0.0), (0.0, 1.0), (1.0, 1.0)),),
    "M": (((0.0, 1.0), (0.0, 0.0), (0.5, 0.6), (1.0, 0.0), (1.0, 1.0)),),
    "N": (((0.0, 1.0), (0.0, 0.0), (1.0, 1.0), (1.0, 0.0)),),
    "O": (_arc(0.5, 0.5, 0.5, 0.5, 0, 360),),
    "P": (((0.0, 1.0), (0.0, 0.0), *_BOWL, (0.0, 0.52)),),
    "Q": (_arc(0.5, 0.5, 0.5, 0.5, 0, 360), ((0.6, 0.7), (1.0, 1.0))),
    "R": (((0.0, 1.0), (0.0, 0.0), *_BOWL, (0.0, 0.52)), ((0.45, 0.52), (1.0, 1.0))),
    "S": (_arc(0.5, 0.25, 0.5, 0.25, 330, 90), _arc(0.5, 0.75, 0.5, 0.25, 270, 510)),
    "T": (((0.0, 0.0), (1.0, 0.0)), ((0.5, 0.0), (0.5, 1.0))),
    "U": (((0.0, 0.0), *_arc(0.5, 0.65, 0.5, 0.35, 180, 0), (1.0, 0.0)),),
    "V": (((0.0, 0.0), (0.5, 1.0), (1.0, 0.0)),),
    "W": (((0.0, 0.0), (0.25, 1.0), (0.5, 0.3), (0.75, 1.0), (1.0, 0.0)),),
    "X": (((0.0, 0.0), (1.0, 1.0)), ((1.0, 0.0), (0.0, 1.0))),
    "Y": (((0.0, 0.0), (0.5, 0.5), (1.0, 0.0)), ((0.5, 0.5), (0.5, 1.0))),
    "Z": (((0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)),),
}


def big_text(text: str, rows: int, *, ascii_only: bool = False) -> list[str]:
    """`text` as `rows` lines of equal width.

    `text`: digits, signs, points, spaces and capital letters. `rows`: height in terminal rows, at least 3. `ascii_only`: whole
    cells of ``#`` instead of half blocks.
    """
    if rows < SMALLEST_ROWS:
        raise ValueError(f"rows = {rows} is too few for a figure; it needs {SMALLEST_ROWS}")
    gap = " " * max(1, round(rows / 7))
    parts = [_glyph(character, rows, ascii_only) for character in text]
    return [gap.join(part[row] for part in parts) for row in range(rows)]


def big_width(text: str, rows: int) -> int:
    """Columns that `big_text` takes."""
    return sum(_columns(character, rows) for character in text) + max(1, round(rows / 7)) * (len(text) - 1)


def fitting_rows(text: str, width: int, most: int, *, fewest: int = SMALLEST_ROWS) -> int:
    """The greatest height up to `most` at which a text takes no more than `width` columns; `fewest` where none does."""
    return next((rows for rows in range(most, fewest, -1) if big_width(text, rows) <= width), fewest)


def _columns(character: str, rows: int) -> int:
    return max(2, round(2 * rows * _NARROW.get(character, _WIDTH)))


@lru_cache(maxsize=256)
def _glyph(character: str, rows: int, ascii_only: bool) -> tuple[str, ...]:
    lines, columns = rows * (1 if ascii_only else 2), _columns(character, rows)
    inked = _inked(character, lines, columns, line_height=2.0 if ascii_only else 1.0)
    if ascii_only:
        return tuple("".join("#" if dot else " " for dot in line) for line in inked)
    return tuple(
        "".join(_BLOCKS[bool(a), bool(b)] for a, b in zip(inked[2 * row], inked[2 * row + 1], strict=True)) for row in range(rows)
    )


def _inked(character: str, lines: int, columns: int, *, line_height: float) -> NDArray[np.bool_]:
    """Which dots lie under the pen; dots are one unit wide and `line_height` high."""
    height, width = lines * line_height, float(columns)
    pen = max(_PEN * height, line_height, 1.0)
    y, x = np.mgrid[0:lines, 0:columns]
    y = (y + 0.5) * line_height
    x = x + 0.5
    dots = np.zeros((lines, columns), dtype=bool)
    span_x, span_y = max(width - pen, 0.0), max(height - pen, 0.0)
    for stroke in _STROKES[character]:
        points = [(pen / 2 + px * span_x, pen / 2 + py * span_y) for px, py in stroke]
        for (ax, ay), (bx, by) in pairwise(points):
            dx, dy = bx - ax, by - ay
            along = np.clip(((x - ax) * dx + (y - ay) * dy) / max(dx * dx + dy * dy, 1e-12), 0.0, 1.0)
            dots |= np.hypot(x - ax - along * dx, y - ay - along * dy) <= pen / 2
    return dots
