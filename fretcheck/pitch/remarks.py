"""What each remark means to the person at the bench, and whether it refuses the reading or only tells why u is wide."""

from enum import StrEnum


class Remark(StrEnum):
    """What was noticed about a pluck."""

    TOO_QUIET = "too_quiet"
    TOO_SHORT = "too_short"
    NOT_A_STRING = "not_a_string"
    OCTAVE_IN_DOUBT = "octave_in_doubt"
    TWO_STRINGS = "two_strings"
    HUM_BOUND = "hum_bound"
    CLIPPED_AWAY = "clipped_away"
    UNREADABLE = "unreadable"
    CLIPPED = "clipped"
    BEATING = "beating"
    STILL_GLIDING = "still_gliding"
    UNSTABLE = "unstable"
    UNSURE = "unsure"


_SENTENCES: dict[Remark, tuple[bool, str]] = {
    Remark.TOO_QUIET: (True, "Too quiet against the room; pluck harder, move the microphone closer or turn off the noise."),
    Remark.TOO_SHORT: (True, "The note was stopped before it could be read; let it ring for at least a second."),
    Remark.NOT_A_STRING: (True, "This does not sound like a string."),
    Remark.OCTAVE_IN_DOUBT: (True, "It is not certain which note this is; pluck it again, nearer the middle of the string."),
    Remark.TWO_STRINGS: (True, "Two strings are sounding; damp the others."),
    Remark.HUM_BOUND: (True, "Mains hum cannot be told from this note; move the cable or the instrument away from its source."),
    Remark.CLIPPED_AWAY: (True, "The recording is clipped for most of the note; turn the input level down."),
    Remark.UNREADABLE: (True, "The partials of this note do not agree on a pitch within 5 cents; pluck it again."),
    Remark.CLIPPED: (False, "The recording is clipped; turn the input level down."),
    Remark.BEATING: (False, "The partials of this note beat, or do not quite agree; its uncertainty is wider."),
    Remark.STILL_GLIDING: (
        False,
        "The pitch fell while the note rang, and how far it settled is not certain; its uncertainty is wider.",
    ),
    Remark.UNSTABLE: (False, "The pitch moved while the note rang; its uncertainty is wider."),
    Remark.UNSURE: (False, "This note could be read only roughly; its uncertainty is wide."),
}


def refuses(remark: Remark) -> bool:
    """True when a reading with this remark is not to be used."""
    return _SENTENCES[remark][0]


def sentence(remark: Remark) -> str:
    """What the remark means and, where something cures it, the cure."""
    return _SENTENCES[remark][1]
