"""The neck as cells, strings down and frets across: which notes are sharp, flat or in tolerance, at a glance.

Conventions: shape carries the meaning, colour only repeats it: ``▲7`` is 7 cents sharp and out of tolerance, ``▼12`` is 12
flat, ``·`` lies within tolerance, ``▲3?`` is too close to the limit to call, ``–`` was not heard, blank does not exist (a short
string). Consoles that cannot show these get ``^ v . -`` instead.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rich.console import Console
from rich.text import Text

CELL_WIDTH = 4
STYLES = {"sharp": "bold magenta", "flat": "bold cyan", "within": "green", "unheard": "dim"}


@dataclass(frozen=True)
class Glyphs:
    """The signs of one character set."""

    sharp: str
    flat: str
    within: str
    unheard: str


UNICODE = Glyphs("▲", "▼", "·", "–")
ASCII = Glyphs("^", "v", ".", "-")


@dataclass(frozen=True)
class Cell:
    """One note: its deviation in cents (None: not heard) and what was decided (pass, fail, undecided, None)."""

    cents: float | None
    decision: str | None


def glyphs_for(console: Console) -> Glyphs:
    """Unicode signs where the console's encoding has them, ASCII otherwise."""
    try:
        "▲▼·–".encode(console.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return ASCII
    return UNICODE


def cell_text(cell: Cell | None, glyphs: Glyphs) -> Text:
    """One cell, `CELL_WIDTH` characters wide."""
    if cell is None:
        return Text(" " * CELL_WIDTH)
    if cell.cents is None:
        return Text(glyphs.unheard.center(CELL_WIDTH), style=STYLES["unheard"])
    if cell.decision in (None, "pass"):
        return Text(glyphs.within.center(CELL_WIDTH), style=STYLES["within"])
    name, glyph = ("sharp", glyphs.sharp) if cell.cents > 0 else ("flat", glyphs.flat)
    doubt = "?" if cell.decision == "undecided" else ""
    return Text(f"{glyph}{min(abs(cell.cents), 99):.0f}{doubt}".ljust(CELL_WIDTH), style=STYLES[name])


def neck_picture(
    cells: Mapping[tuple[int, int], Cell], *, string_names: Sequence[str], frets: int, glyphs: Glyphs, width: int = 80
) -> Text:
    """All cells as text lines no wider than `width`, frets folded into as many blocks as it takes.

    `cells` (string, fret): a string and fret that is not in it does not exist. `string_names`: open notes, string 1 first.
    """
    label = 3 + max(len(name) for name in string_names) + 1
    room = max(1, (width - label - 1) // CELL_WIDTH)  # the open note's column is one wider, for its heading
    picture = Text(no_wrap=True)
    columns = list(range(frets + 1))
    blocks = -(-len(columns) // room)
    per_block = -(-len(columns) // blocks)
    for start in range(0, len(columns), per_block):
        block = columns[start : start + per_block]
        if start:
            picture.append("\n")
        picture.append(" " * label)
        for fret in block:
            picture.append("open " if fret == 0 else str(fret).ljust(CELL_WIDTH), style="dim")
        for number, name in enumerate(string_names, start=1):
            picture.append(f"\n{number:>2} {name}".ljust(label + 1))
            for fret in block:
                picture.append_text(cell_text(cells.get((number, fret)), glyphs))
                picture.append(" " if fret == 0 else "")
    return picture


def legend(glyphs: Glyphs) -> Text:
    """What the signs mean, in one line."""
    return Text(
        f"{glyphs.sharp}7 7 cents sharp  {glyphs.flat}7 flat  ? too close to call  "
        f"{glyphs.within} within tolerance  {glyphs.unheard} not heard",
        style="dim",
    )
