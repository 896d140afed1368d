"""Places on the neck, and plucks that are given theirs.

Conventions: the plucks of a string are placed together (`placing`): a string that is tuned a little off moves all its notes
alike. A note belongs to a fret when that is all but certain and it lies within 50 cents of the fret's equal-tempered place
above the string's own open note; anything else is set aside and said, never forced.
"""

from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from fretcheck.errors import RecordingError
from fretcheck.neck.description import SAME_FRET_CENTS, Neck
from fretcheck.neck.temperament import cents_between, cents_to_ratio, midi_to_note, note_to_midi
from fretcheck.pitch.reading import NoteReading
from fretcheck.session.placing import HeardPitch, Places, place_pitches

OPEN_CAPTURE_CENTS = 150.0  # How far from nominal a string may be tuned for its open note still to be known as such
_LOST_BELOW_CENTS = 250.0  # Where the open plucks are lost, there is still fret 1 of a string that is at most 150 cents off
# Probability from which on a pluck has its place; one in twenty of such doubts would put a note one fret off, by 100 cents
CERTAIN = 0.95


class UnreadStringError(RecordingError):
    """The recording of a string of which nothing can be judged; the other strings can."""


def note_name(frequency_hz: float, *, reference_hz: float) -> str:
    """Nearest note's name."""
    return midi_to_note(69 + round(cents_between(frequency_hz, reference_hz) / 100.0))


def places_of(neck: Neck, string: int) -> tuple[int, ...]:
    """Frets of a string, its open note (0) first."""
    return (0, *neck.frets_of(string))


def heard_pitch(neck: Neck, string: int, note: NoteReading) -> HeardPitch:
    """A reading as placing takes it: cents from the string's nominal open note."""
    if note.f1_hz is None or note.u_cents is None:
        return HeardPitch(cents=None)
    cents = cents_between(note.f1_hz, neck.open_hz(string))
    return HeardPitch(cents=cents, u_cents=note.u_cents, in_doubt=not note.usable)


def place_notes(neck: Neck, string: int, notes: Sequence[NoteReading], *, file: Path | None = None) -> list[int | str]:
    """The fret of each note of one string's recording, or, where it has no pitch or no place, a clause that says why.

    `notes`: in the order in which they were played. `file`: named in errors.
    Raises RecordingError when the notes are those of another string; UnreadStringError when nothing could be read, or which
    frets the notes are stays open.
    """
    name = f"{file.name}: " if file else ""
    if not any(note.f1_hz is not None for note in notes):
        said = Counter(note.complaint for note in notes).most_common(1)
        cure = said[0][0] if said else "record the string plucked open, at every fret, and open again"
        raise UnreadStringError(f"{name}no pluck could be read as a note; {cure}", file=file)
    frets = places_of(neck, string)
    targets = [neck.cents_above_open(string, fret) for fret in frets]
    pitches = [heard_pitch(neck, string, note) for note in notes]
    places = place_pitches(pitches, targets)
    tuning = _tuning_cents(pitches, places)

    def placed(index: int, note: NoteReading) -> int | str:
        cents, place = pitches[index].cents, int(np.argmax(places.probability[index]))
        if cents is None:
            return note.complaint or "no pitch could be read"
        if places.probability[index, place] >= CERTAIN:
            nearest = neck.nearest_fret(string, cents - tuning[index])
            if nearest and nearest[0] == frets[place]:
                return frets[place]
        return _nowhere(neck, string, note, cents - tuning[index], misread=places.misread[index])

    answer = [placed(index, note) for index, note in enumerate(notes)]
    if wrong := _of_another_string(neck, string, pitches, places, open_heard=0 in answer):
        raise RecordingError(f"{name}{wrong}", file=file)
    if 0 not in answer:
        raise UnreadStringError(f"{name}{_without_open(neck, string, places)}", file=file)
    return answer


def _tuning_cents(pitches: Sequence[HeardPitch], places: Places) -> list[float]:
    """The open note's pitch at each pluck: that of the nearest open pluck, one of the same tuning if there is one."""
    opens = [
        (index, pitch.cents)
        for index, pitch in enumerate(pitches)
        if pitch.cents is not None and not pitch.in_doubt and places.probability[index, 0] >= CERTAIN
    ]
    tunings = []
    for index, tuning in enumerate(map(float, places.tuning_cents)):
        near = [(abs(cents - tuning) > SAME_FRET_CENTS, abs(other - index), cents) for other, cents in opens]
        tunings.append(min(near)[2] if near else tuning)
    return tunings


def _nowhere(neck: Neck, string: int, note: NoteReading, cents: float, *, misread: float) -> str:
    """Why a note with a pitch, `cents` above the open string, has no place."""
    assert note.f1_hz is not None
    what = f"a {note_name(note.f1_hz, reference_hz=neck.reference_hz)} ({note.f1_hz:.1f} Hz)"
    if cents < -SAME_FRET_CENTS:
        return f"{what}, below the open string"
    last_fret = places_of(neck, string)[-1]
    if cents > neck.cents_above_open(string, last_fret) + SAME_FRET_CENTS:
        return f"{what}, above fret {last_fret}, the last one"
    if misread > 0.5:
        return f"{what}, probably another note misread: by the notes around it, it is an octave or a partial off"
    off = min((cents - neck.cents_above_open(string, fret) for fret in places_of(neck, string)), key=abs)
    return f"{what}, {off:+.0f} cents from the nearest fret; which one was played is not certain"


def _of_another_string(neck: Neck, string: int, pitches: Sequence[HeardPitch], places: Places, *, open_heard: bool) -> str | None:
    """What tells that a recording is another string's; None when nothing does."""
    pitched = [(index, pitch.cents) for index, pitch in enumerate(pitches) if pitch.cents is not None]
    cents = [one for _, one in pitched]
    below = sum(one < places.tuning_cents[index] - SAME_FRET_CENTS for index, one in pitched)
    if below >= max(3, 0.1 * len(pitched)) or (not open_heard and min(map(abs, cents)) > _LOST_BELOW_CENTS):
        return _wrong_string(neck, string, min(cents))
    return None


def _without_open(neck: Neck, string: int, places: Places) -> str:
    """Why nothing can be judged of a string whose open note was not heard for certain."""
    frets = places_of(neck, string)
    doubted = max(places.probability, key=lambda row: float(np.sort(row)[-2]))
    if float(np.sort(doubted)[-2]) < 1.0 - CERTAIN:
        return f"no open pluck of string {string} could be read, and its frets are judged from it; pluck it open first and last"
    first, second = (f"fret {frets[place]}" if place else "the open string" for place in np.argsort(doubted)[::-1][:2])
    return (
        f"which frets of string {string} were played stays open: by their pitches the notes may be shifted by a whole fret "
        f"({first} or {second}, for one); tune the string, and record it open, fretted and open again"
    )


def _wrong_string(neck: Neck, string: int, lowest_cents: float) -> str:
    wanted = neck.string(string).note
    lowest_hz = neck.open_hz(string) * cents_to_ratio(lowest_cents)
    heard = note_name(lowest_hz, reference_hz=neck.reference_hz)
    others = [
        number
        for number in range(1, len(neck.strings) + 1)
        if number != string and abs(cents_between(lowest_hz, neck.open_hz(number))) <= OPEN_CAPTURE_CENTS
    ]
    hint = f"it looks like the recording of string {others[0]}" if others else "check the file and the tuning"
    if note_to_midi(heard) == note_to_midi(wanted):
        return f"no clear open {wanted} was heard (lowest note {lowest_cents:+.0f} cents from it); {hint}"
    return f"string {string} should be open at {wanted}, but the lowest note heard is {heard}; {hint}"
