"""What each remark means to the person at the bench, and whether it refuses the reading or only tells why u is wide."""

from enum import StrEnum
from typing import Self


class Remark(StrEnum):
    """What was noticed about a pluck: its name, what it means and what cures it, and whether the reading is not to be used."""

    sentence: str
    refuses: bool

    def __new__(cls, name: str, sentence: str = "", refuses: bool = True) -> Self:
        one = str.__new__(cls, name)
        one._value_, one.sentence, one.refuses = name, sentence, refuses
        return one

    TOO_QUIET = "too_quiet", "Too quiet against the room; pluck harder, move the microphone closer or turn off the noise."
    TOO_SHORT = "too_short", "The note was stopped before it could be read; let it ring for at least a second."
    NOT_A_STRING = "not_a_string", "This does not sound like a string."
    OCTAVE_IN_DOUBT = "octave_in_doubt", "It is not certain which note this is; pluck it again, nearer the middle of the string."
    TWO_STRINGS = "two_strings", "Two strings are sounding; damp the others."
    HUM_BOUND = "hum_bound", "Mains hum cannot be told from this note; move the cable or the instrument away from its source."
    CLIPPED_AWAY = "clipped_away", "The recording is clipped for most of the note; turn the input level down."
    UNREADABLE = "unreadable", "The partials of this note do not agree on a pitch within 5 cents; pluck it again."
    CLIPPED = "clipped", "The recording is clipped; turn the input level down.", False
    BEATING = "beating", "The partials of this note beat, or do not quite agree; its uncertainty is wider.", False
    STILL_GLIDING = (
        "still_gliding",
        "The pitch fell while the note rang, and how far it settled is not certain; its uncertainty is wider.",
        False,
    )
    UNSTABLE = "unstable", "The pitch moved while the note rang; its uncertainty is wider.", False
    UNSURE = "unsure", "This note could be read only roughly; its uncertainty is wide.", False
