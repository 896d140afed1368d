"""What is said about a pluck that is not taken: what is wrong with it, or which note was heard in its place."""

from __future__ import annotations

from fretcheck.neck.description import Neck
from fretcheck.pitch.reading import NoteReading, Remark
from fretcheck.pitch.remarks import refuses, sentence
from fretcheck.session.heard import Match
from fretcheck.session.plan import Ask
from fretcheck.session.wording import asked_words, place_words

_WIDENING = {
    Remark.STILL_GLIDING: "its pitch was still falling: pluck softer",
    Remark.UNSTABLE: "its pitch moved: pluck softer and let it ring",
    Remark.BEATING: "it beats: pluck in another direction",
    Remark.UNSURE: "its partials disagree: let it ring",
}
"""Remarks that widen the uncertainty, and what the player can do."""


def complaint_words(neck: Neck, ask: Ask, note: NoteReading) -> str:
    """Why a pluck that was to be `ask` is of no use, and the cure."""
    cause = next((remark for remark in note.remarks if refuses(remark)), None)
    if cause is None:
        return "No pitch could be read; pluck it again."
    if cause is Remark.TWO_STRINGS and neck.string(ask.string).course is not None:
        return "Both strings of the pair are sounding; damp the other one."
    return sentence(cause)


def weak_words(ask: Ask, note: NoteReading) -> str:
    """Why a usable note is asked for once more, with the remark that tells what made it uncertain."""
    cause = next((remark for remark in _WIDENING if remark in note.remarks), None)
    if cause is Remark.UNSTABLE and ask.fret > 0:
        why = "its pitch moved: press straight down and hold still"
    else:
        why = _WIDENING.get(cause, "let it ring") if cause else "let it ring"
    return f"Known to ±{2.0 * (note.u_cents or 0.0):.0f} cents only; {why}. Once more, then it is taken as it is."


def wrong_note_words(neck: Neck, ask: Ask, found: Match, note: NoteReading) -> str:
    """Which note was heard in place of `ask`."""
    wanted = asked_words(neck, ask)
    if found.places:
        heard = " or ".join(place_words(neck, string, fret) for string, fret in found.places[:2])
        if ask.fret == 0 and abs(found.cents) < 250:
            return f"Heard {heard}, or string {ask.string} is {found.cents:+.0f} cents out of tune. Wanted: {wanted}."
        return f"Heard {heard}. Wanted: {wanted}."
    assert note.f1_hz is not None
    if abs(found.cents) < 250:
        return f"Heard {note.f1_hz:.1f} Hz, {found.cents:+.0f} cents from {wanted}. Is string {ask.string} in tune?"
    return f"Heard {note.f1_hz:.1f} Hz, which is no note near {wanted}; pluck it again."
