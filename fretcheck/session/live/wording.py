"""Places on the neck in words, the same on every screen."""

from fretcheck.neck.description import Neck
from fretcheck.session.plan import Ask


def note_name(neck: Neck, string: int, fret: int) -> str:
    """Name of the note that a place should sound, in scientific pitch."""
    return neck.note_name(string, fret)


def place_words(neck: Neck, string: int, fret: int) -> str:
    """A place, as in ``string 3, fret 5 (C4)`` or ``string 3 open (G3)``."""
    where = f"string {string} open" if fret == 0 else f"string {string}, fret {fret}"
    return f"{where} ({note_name(neck, string, fret)})"


def asked_words(neck: Neck, ask: Ask) -> str:
    """What is asked for, with how to press and which string of the pair to damp."""
    words = place_words(neck, ask.string, ask.fret)
    if ask.press is not None:
        words += ", pressed lightly" if ask.press == "light" else ", pressed firmly"
    partners = partners_of(neck, ask.string)
    if partners:
        words += f", string {' and '.join(str(p) for p in partners)} of the pair damped"
    return words


def partners_of(neck: Neck, string: int) -> tuple[int, ...]:
    """The other strings of a string's course."""
    course = neck.string(string).course
    if course is None:
        return ()
    return tuple(n for n, other in enumerate(neck.strings, start=1) if other.course == course and n != string)


def way_words(mm: float) -> str:
    """Which way a part is to go."""
    return "toward the bridge" if mm > 0 else "toward the nut"
