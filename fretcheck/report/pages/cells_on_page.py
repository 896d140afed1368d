"""The notes of a neck as cells for a page: strings by frets, each with a sign, a number and words.

Conventions: like the picture on the terminal (`tables.neck_cells`): sign and number carry the meaning, colour repeats it.
"""

from dataclasses import dataclass

from fretcheck.inspection.document import FretPart, InspectionDocument
from fretcheck.plain_text import signed


@dataclass(frozen=True, kw_only=True)
class CellOnPage:
    """One note; `kind` is a class of the style sheet."""

    string: int
    fret: int
    kind: str
    sign: str
    words: str


@dataclass(frozen=True, kw_only=True)
class CellsOnPage:
    """All cells, row by row (string 1 first); None where a note does not exist."""

    frets: list[int]
    rows: list[tuple[int, list[CellOnPage | None]]]


def cells_on_page(document: InspectionDocument) -> CellsOnPage:
    """The cells of a document's notes, missing ones included."""
    notes = {(one.string, one.fret): one for one in document.frets}
    asked = {*notes, *document.missing}
    frets = sorted({fret for _, fret in asked})
    strings = sorted({string for string, _ in asked})
    return CellsOnPage(
        frets=frets,
        rows=[
            (string, [_cell(string, fret, notes.get((string, fret))) if (string, fret) in asked else None for fret in frets])
            for string in strings
        ],
    )


def _cell(string: int, fret: int, note: FretPart | None) -> CellOnPage:
    kind, sign, words = _look(note)
    return CellOnPage(string=string, fret=fret, kind=kind, sign=sign, words=words)


def _look(note: FretPart | None) -> tuple[str, str, str]:
    if note is None or note.deviation_cents is None or note.plucks == 0:
        return "unheard", "–", "not heard"
    cents = note.deviation_cents
    way = "sharp" if cents > 0 else "flat"
    if note.decision in (None, "pass"):
        return "within", signed(cents, 0), f"within tolerance, {abs(cents):.1f} cents {way}"
    sign = "▲" if cents > 0 else "▼"
    if note.decision == "undecided":
        return "unsure", f"{sign}{abs(cents):.0f}?", f"too close to call, {abs(cents):.1f} cents {way}"
    return way, f"{sign}{abs(cents):.0f}", f"out of tolerance, {abs(cents):.1f} cents {way}"
