"""What is said about a pluck that is not taken: what is wrong with it, or which note was heard in its place."""

from dataclasses import dataclass

from fretcheck.neck.description import Neck
from fretcheck.pitch.reading import NoteReading
from fretcheck.pitch.remarks import Remark
from fretcheck.session.live.heard import Match
from fretcheck.session.live.wording import asked_words, place_words
from fretcheck.session.plan import Ask

# Remarks that widen the uncertainty: in a word, and what the player can do
_WIDENING = {
    Remark.STILL_GLIDING: ("GLIDES", "its pitch was still falling: pluck softer"),
    Remark.UNSTABLE: ("MOVED", "its pitch moved: pluck softer and let it ring"),
    Remark.BEATING: ("BEATS", "it beats: pluck in another direction"),
    Remark.UNSURE: ("ROUGH", "its partials disagree: let it ring"),
}
# Why a pluck is of no use, in a word or two; the others are unclear
_SHORT = {
    Remark.TOO_QUIET: "TOO QUIET",
    Remark.TOO_SHORT: "TOO SHORT",
    Remark.NOT_A_STRING: "NO STRING",
    Remark.TWO_STRINGS: "TWO STRINGS",
    Remark.HUM_BOUND: "HUM",
    Remark.CLIPPED_AWAY: "TOO LOUD",
}


@dataclass(frozen=True)
class Complaint:
    """Why a pluck is not taken: a sentence with the cure, and a word or two to be read from afar."""

    text: str
    short: str


def useless(neck: Neck, ask: Ask, note: NoteReading) -> Complaint:
    """Why a pluck that was to be `ask` is of no use."""
    cause = note.refused_by
    if cause is None:
        return Complaint("No pitch could be read; pluck it again.", "UNCLEAR")
    if cause is Remark.TWO_STRINGS and neck.string(ask.string).course is not None:
        return Complaint("Both strings of the pair are sounding; damp the other one.", "TWO STRINGS")
    return Complaint(cause.sentence, _SHORT.get(cause, "UNCLEAR"))


def uncertain(ask: Ask, note: NoteReading) -> Complaint:
    """Why a usable note is asked for once more, with the remark that tells what made it uncertain."""
    cause = next((remark for remark in _WIDENING if remark in note.remarks), None)
    short, why = ("ROUGH", "let it ring") if cause is None else _WIDENING[cause]
    if cause is Remark.UNSTABLE and ask.fret > 0:
        why = "its pitch moved: press straight down and hold still"
    assert note.u_cents is not None
    return Complaint(f"Known to ±{2.0 * note.u_cents:.0f} cents only; {why}. Once more, then it is taken as it is.", short)


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
