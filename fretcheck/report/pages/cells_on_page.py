"""The notes of a neck as cells for a page: strings by frets, each with a sign, a number and words.

Conventions: like the picture on the terminal (`tables.neck_cells`): sign and number carry the meaning, colour repeats it.
"""

from typing import NamedTuple

from fretcheck.inspection.document import FretPart, InspectionDocument
from fretcheck.plain_text import signed


class CellOnPage(NamedTuple):
    """One note; `kind` is a class of the style sheet."""

    kind: str
    sign: str
    words: str


def cells_on_page(document: InspectionDocument) -> dict[tuple[int, int], CellOnPage]:
    """The cells of a document's notes by string and fret, missing ones included."""
    notes = {(one.string, one.fret): one for one in document.frets}
    return {place: _cell(notes.get(place)) for place in (*notes, *document.missing)}


def _cell(note: FretPart | None) -> CellOnPage:
    if note is None or note.deviation_cents is None or note.plucks == 0:
        return CellOnPage("unheard", "–", "not heard")
    cents = note.deviation_cents
    way = "sharp" if cents > 0 else "flat"
    if note.decision in (None, "pass"):
        return CellOnPage("within", signed(cents, 0), f"within tolerance, {abs(cents):.1f} cents {way}")
    sign = "▲" if cents > 0 else "▼"
    if note.decision == "undecided":
        return CellOnPage("unsure", f"{sign}{abs(cents):.0f}?", f"too close to call, {abs(cents):.1f} cents {way}")
    return CellOnPage(way, f"{sign}{abs(cents):.0f}", f"out of tolerance, {abs(cents):.1f} cents {way}")
