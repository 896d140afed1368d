"""What each quality flag means to the person at the bench, and whether it disqualifies a reading."""

from __future__ import annotations

from fretcheck.pitch.reading import Flag

_SENTENCES: dict[Flag, tuple[bool, str]] = {
    Flag.CLIPPED: (False, "The recording is clipped; turn the input level down."),
    Flag.TOO_QUIET: (True, "Too quiet against the room; pluck harder, move the microphone closer or turn off the noise."),
    Flag.TOO_SHORT: (True, "The note was stopped too early; let it ring for at least a second."),
    Flag.TWO_STRINGS: (True, "Two strings are sounding; damp the others."),
    Flag.STILL_GLIDING: (True, "The pitch was still falling when the note ended; pluck softer and let it ring longer."),
    Flag.BEATING: (False, "The note beats; its uncertainty is wider."),
    Flag.HUM_BOUND: (True, "Mains hum sits on this note; move the cable or the instrument away from its source."),
    Flag.NOT_A_STRING: (True, "This does not sound like a string."),
    Flag.UNSTABLE: (True, "The pitch moved as if the string was bent or slid; press straight down and hold still."),
    Flag.UNSURE: (True, "This note could not be read with certainty; pluck it again."),
}


def disqualifies(flag: Flag) -> bool:
    """True when a reading with this flag is not to be used."""
    return _SENTENCES[flag][0]


def sentence(flag: Flag) -> str:
    """What the flag means and what to do about it."""
    return _SENTENCES[flag][1]
