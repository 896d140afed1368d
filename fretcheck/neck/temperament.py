"""Note names, equal temperament and cents.

Scientific pitch notation; twelve equal semitones from a reference A4 (ISO 16 gives 440 Hz): f = A4·2^((m − 69)/12) with m the
MIDI note number.

Conventions: frequencies in Hz, intervals in cents, positive is sharp. A sharp is written ``#`` and a flat ``b``; C4 is MIDI
note 60.
"""

import math
import re

from fretcheck.errors import NeckError

CENTS_PER_OCTAVE = 1200.0
REFERENCE_MIN_HZ, REFERENCE_MAX_HZ = 380.0, 480.0
LOWEST_MIDI, HIGHEST_MIDI = 12, 120  # C0 to C9: beyond lies no fretted string

_NOTE = re.compile(r"([A-G])(##?|bb?|)(-?\d{1,2})")
_SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SHARP_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")


def note_to_midi(note: str) -> int:
    """MIDI note number of a note in scientific pitch.

    `note`: ``E4``, ``F#3``, ``Bb2``; double accidentals are allowed. From C0 to C9.
    Raises NeckError: the text is no note, or lies outside C0 to C9; the message tries to give the note that was meant.

    >>> note_to_midi("A4"), note_to_midi("Bb2")
    (69, 46)
    """
    match = _NOTE.fullmatch(note)
    if match is None:
        form = 'write letter, accidental and octave, as in "E4", "F#3", "Bb2"'
        raise NeckError(f'"{note}" is no note: {form}{_meant(note)}', value=note)
    letter, accidental, octave = match.groups()
    midi = 12 * (int(octave) + 1) + _SEMITONES[letter] + accidental.count("#") - accidental.count("b")
    if not LOWEST_MIDI <= midi <= HIGHEST_MIDI:
        raise NeckError(f'note "{note}" lies outside C0 to C9: is the octave right?', value=note)
    return midi


def _meant(note: str) -> str:
    """The cure for a mistyped note, where it can be guessed."""
    tidied = note.strip().replace("♯", "#").replace("♭", "b")
    tidied = tidied[:1].upper().replace("H", "B") + tidied[1:]
    if _NOTE.fullmatch(tidied):
        return f' (did you mean "{tidied}"?)'
    if _NOTE.fullmatch(tidied + "4"):
        return " (the octave is missing)"
    return ""


def midi_to_note(midi: int) -> str:
    """Name of a MIDI note number, with sharps.

    >>> midi_to_note(40)
    'E2'
    """
    return f"{_SHARP_NAMES[midi % 12]}{midi // 12 - 1}"


def check_reference(reference_hz: float) -> float:
    """`reference_hz` itself when it lies between 380 and 480 Hz. Raises NeckError: otherwise (NaN included)."""
    if not REFERENCE_MIN_HZ <= reference_hz <= REFERENCE_MAX_HZ:
        text = f"reference_hz = {reference_hz:g} lies outside {REFERENCE_MIN_HZ:g} to {REFERENCE_MAX_HZ:g} Hz"
        raise NeckError(f"{text}: it is the pitch of A4, usually 440", key="reference_hz", value=reference_hz)
    return reference_hz


def midi_frequency_hz(midi: float, *, reference_hz: float = 440.0) -> float:
    """Frequency of a MIDI note number (OEIS A320304 lists them for 440 Hz); fractions are between the notes."""
    return check_reference(reference_hz) * math.exp2((midi - 69.0) / 12.0)


def cents_between(frequency_hz: float, target_hz: float) -> float:
    """How much sharper `frequency_hz` is than `target_hz`.

    >>> round(cents_between(440.5, 440.0), 2)
    1.97
    """
    return CENTS_PER_OCTAVE * math.log2(frequency_hz / target_hz)


def cents_to_ratio(cents: float) -> float:
    """Frequency ratio of an interval in cents."""
    return math.exp2(cents / CENTS_PER_OCTAVE)


def length_error_cents(displacement_mm: float, *, speaking_length_mm: float) -> float:
    """Pitch change when the stop of a string moves toward the bridge.

    `displacement_mm`: positive toward the bridge: the string gets shorter and sharper. `speaking_length_mm`: length before the
    move, positive and greater than the displacement.
    """
    return -CENTS_PER_OCTAVE * math.log2(1.0 - displacement_mm / speaking_length_mm)
