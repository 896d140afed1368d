"""Which fret a pluck was: by its pitch, against the open note of its own string.

Conventions
-----------
A string that is tuned a little off moves all its notes alike, so frets are counted from the open note as heard, not from
the nominal one. A note belongs to a fret when it lies within 50 cents of that fret's equal-tempered place; anything else
is set aside and said, never forced.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fretcheck.errors import RecordingError
from fretcheck.neck.description import SAME_FRET_CENTS, Neck
from fretcheck.neck.temperament import cents_between, midi_to_note, note_to_midi
from fretcheck.pitch.flags import disqualifies
from fretcheck.pitch.reading import NoteReading
from fretcheck.session.reading import Press

OPEN_CAPTURE_CENTS = 150.0
"""How far from nominal a string may be tuned for its open note still to be known as such."""


@dataclass(frozen=True, kw_only=True)
class HeardNote:
    """A pluck as read, on a known string, its fret not yet told."""

    string: int
    start_s: float
    end_s: float
    note: NoteReading
    sound_file: str | None = None


@dataclass(frozen=True, kw_only=True)
class PlacedNote:
    """A pluck with its string and fret."""

    string: int
    fret: int
    start_s: float
    note: NoteReading
    press: Press | None = None
    sound_file: str | None = None


@dataclass(frozen=True, kw_only=True)
class Unplaced:
    """A pluck that belongs to no planned fret, with the reason in a sentence."""

    heard: HeardNote
    reason: str


def open_target_hz(neck: Neck, string: int) -> float:
    """Nominal frequency of a string's open note."""
    return neck.open_hz(string)


def playable_frets(neck: Neck, string: int) -> tuple[int, ...]:
    """Frets a string can be stopped at, its open note (0) left out: a short string has only those beyond its own nut."""
    return neck.frets_of(string)


def note_name(frequency_hz: float, *, reference_hz: float) -> str:
    """Nearest note's name."""
    return midi_to_note(69 + round(cents_between(frequency_hz, reference_hz) / 100.0))


def semitones_above_open(neck: Neck, string: int, fret: int) -> float:
    """Semitones from a string's open note to a fret as designed; 0 for the open note itself."""
    return neck.cents_above_open(string, fret) / 100.0


def place_notes(
    neck: Neck, string: int, notes: Sequence[HeardNote], *, file: Path | None = None
) -> tuple[list[PlacedNote], list[Unplaced]]:
    """Give each note of one string's recording its fret.

    Parameters
    ----------
    neck, string : Neck, int
        The design, and the number of the string that was recorded.
    notes : sequence of HeardNote
        In any order; those without a pitch are returned as unplaced.
    file : Path, optional
        Named in errors.

    Raises
    ------
    RecordingError
        When the notes are those of another string: no open note within 150 cents of nominal, or many notes below it.
    """
    place = f"{file.name}: " if file else ""
    nominal = open_target_hz(neck, string)
    pitched = [note for note in notes if note.note.f1_hz is not None and _trusted_for_placing(note.note)]
    if not pitched:
        raise RecordingError(
            f"{place}no pluck could be read as a note; {_most_common_complaint(notes)}", file=file
        )  # fmt: skip
    cents = np.array([cents_between(_f1(note), nominal) for note in pitched])
    open_plucks = cents[np.abs(cents) <= OPEN_CAPTURE_CENTS]
    if open_plucks.size == 0:
        raise RecordingError(_wrong_string(neck, string, place, float(cents.min()), pitched), file=file)
    centre = _open_cluster(cents, open_plucks)
    offset = float(np.median(open_plucks[np.abs(open_plucks - centre) <= SAME_FRET_CENTS]))
    below = int(np.sum(cents < offset - SAME_FRET_CENTS))
    if below >= max(3, 0.1 * len(pitched)):
        raise RecordingError(_wrong_string(neck, string, place, float(cents.min()), pitched), file=file)

    placed: list[PlacedNote] = []
    unplaced: list[Unplaced] = []
    for heard in notes:
        if heard.note.f1_hz is None:
            unplaced.append(Unplaced(heard=heard, reason=_complaint(heard.note)))
            continue
        above = cents_between(heard.note.f1_hz, nominal) - offset
        nearest = neck.nearest_fret(string, above)
        if nearest is not None:
            placed.append(
                PlacedNote(string=string, fret=nearest[0], start_s=heard.start_s, note=heard.note, sound_file=heard.sound_file)
            )
            continue
        name = note_name(heard.note.f1_hz, reference_hz=neck.reference_hz)
        last = max(neck.frets_of(string), default=0)
        between = "between two frets" if above < neck.cents_above_open(string, last) else f"above fret {last}, the last one"
        where = "below the open string" if above < 0.0 else between
        unplaced.append(Unplaced(heard=heard, reason=f"a {name} ({heard.note.f1_hz:.1f} Hz), {where}"))
    return placed, unplaced


def _open_cluster(cents: NDArray[np.float64], open_plucks: NDArray[np.float64]) -> float:
    """Where the open note lies, cents from nominal: a recording starts and ends open; else the lowest candidate is it."""
    first, last = float(cents[0]), float(cents[-1])
    if abs(first) <= OPEN_CAPTURE_CENTS and abs(first - last) <= SAME_FRET_CENTS:
        return first
    return float(open_plucks.min())


def _f1(note: HeardNote) -> float:
    assert note.note.f1_hz is not None
    return note.note.f1_hz


def _trusted_for_placing(note: NoteReading) -> bool:
    return not any(disqualifies(flag) for flag in note.flags)


def _complaint(note: NoteReading) -> str:
    from fretcheck.pitch.flags import sentence

    return sentence(note.flags[0]) if note.flags else "no pitch could be read"


def _most_common_complaint(notes: Sequence[HeardNote]) -> str:
    if not notes:
        return "record the string plucked open, at every fret, and open again"
    complaints = [_complaint(note.note) for note in notes]
    return max(set(complaints), key=complaints.count)


def _wrong_string(neck: Neck, string: int, place: str, lowest_cents: float, pitched: Sequence[HeardNote]) -> str:
    wanted = neck.string(string).note
    lowest = min(pitched, key=_f1)
    heard = note_name(_f1(lowest), reference_hz=neck.reference_hz)
    others = [
        number
        for number in range(1, len(neck.strings) + 1)
        if number != string and abs(cents_between(_f1(lowest), open_target_hz(neck, number))) <= OPEN_CAPTURE_CENTS
    ]
    hint = f"it looks like the recording of string {others[0]}" if others else "check the file and the tuning"
    if note_to_midi(heard) == note_to_midi(wanted):
        return f"{place}no clear open {wanted} was heard (lowest note {lowest_cents:+.0f} cents from it); {hint}"
    return f"{place}string {string} should be open at {wanted}, but the lowest note heard is {heard}; {hint}"
