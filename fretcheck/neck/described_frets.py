"""From a description's frets to their number and places, checked; a capo that stays on is a nut at its fret."""

from dataclasses import replace
from itertools import pairwise

from fretcheck.errors import NeckError
from fretcheck.neck.complaint import complaint, require
from fretcheck.neck.description import Neck, PartialFret
from fretcheck.neck.lengths import shown
from fretcheck.neck.temperament import midi_to_note, note_to_midi
from fretcheck.neck.toml_tables import NeckTable


def fret_count(table: NeckTable, *, scale_length_mm: float) -> int:
    """Number of frets: given, or counted from their steps or positions, which are checked."""
    for key, values, low, last, unit in (
        ("fret_steps", table.fret_steps, 1, 5 * table.divisions_per_octave, "steps"),
        ("fret_positions_mm", table.fret_positions_mm, 1.0, 0.97 * scale_length_mm, "mm"),
    ):
        if values is None:
            continue
        rising = all(before < after for before, after in pairwise(values))
        must = f"{key} must rise from the nut: each fret lies farther from it than the one before"
        require(rising, must, key=key, value=values)
        inside = low <= values[0] and values[-1] <= last
        allowed = f"{key} = {shown(values[0])} … {shown(values[-1])} lies outside the allowed {low:g} to {last:g} {unit}"
        require(inside, allowed, key=key, value=values)
        count = f"{key} holds {len(values)} frets, but frets = {table.frets}: leave frets out, or make them agree"
        require(table.frets in (None, len(values)), count, key=key, value=values)
    both = "give fret_steps or fret_positions_mm, not both"
    require(table.fret_steps is None or table.fret_positions_mm is None, both, key="fret_positions_mm")
    equal = "divisions_per_octave says nothing where fret_positions_mm are given: leave it out"
    require(table.fret_positions_mm is None or table.divisions_per_octave == 12, equal, key="divisions_per_octave")
    frets = table.frets or len(table.fret_steps or table.fret_positions_mm or ())
    require(frets > 0, '"frets" is missing (number of frets, a zero fret not counted)', key="frets")
    return frets


def partial_frets(table: NeckTable, *, frets: int, strings: int) -> tuple[PartialFret, ...]:
    """Frets that do not run under all strings, each named once."""
    found: dict[int, PartialFret] = {}
    for number, row in enumerate(table.partial_frets, start=1):
        known = all(1 <= string <= strings for string in row.strings)
        for right, key, message in (
            (row.fret <= frets, "fret", f"fret = {row.fret}: this neck has {frets} frets"),
            (row.fret not in found, "fret", f"fret = {row.fret} is named twice"),
            (known, "strings", f"strings = {shown(row.strings)}: this neck has strings 1 to {strings}"),
        ):
            require(right, message, place=f"partial fret {number}", key=key, value=row.fret)
        found[row.fret] = PartialFret(fret=row.fret, strings=tuple(sorted(set(row.strings))))
    return tuple(found[fret] for fret in sorted(found))


def square_fret(table: NeckTable, *, frets: int, fanned: bool) -> int | None:
    """The straight fret of a fanned neck, under its present or its older name."""
    given = [key for key in ("square_fret", "perpendicular_fret") if getattr(table, key) is not None]
    require(len(given) < 2, "give square_fret only: perpendicular_fret is its older name", key="square_fret")
    if not given:
        return None
    key, square = given[0], int(getattr(table, given[0]))
    alone = "is for fanned frets: give scale_length_treble_mm and scale_length_bass_mm, or leave it out"
    for right, message in ((fanned, alone), (square <= frets, f"lies beyond the last fret, {frets}")):
        require(right, f"{key} = {square} {message}", key=key, value=square)
    return square


def with_capo(neck: Neck, fret: int) -> Neck:
    """The neck with a capo left on behind `fret`: its fret carries the strings as a zero fret would.

    Raises NeckError: no such fret, or one between the semitones.
    """
    leaves = f"capo_fret = {fret} leaves no fret to play: the last one is {neck.frets}"
    require(fret < neck.frets, leaves, key="capo_fret", value=fret)
    strings = []
    for number, string in enumerate(neck.strings, start=1):
        if string.first_fret >= fret:
            strings.append(string)
            continue
        try:
            semitones = neck.cents_above_open(number, fret) / 100.0
        except NeckError as error:
            raise complaint(f"capo_fret: {error}", key="capo_fret", value=fret) from None
        whole = f"capo_fret = {fret} does not stand on a semitone above string {number}'s open note: describe the notes instead"
        require(abs(semitones - round(semitones)) < 1e-6, whole, key="capo_fret", value=fret)
        note = midi_to_note(note_to_midi(string.note) + round(semitones))
        strings.append(replace(string, note=note, first_fret=fret, nut_compensation_mm=0.0))
    return replace(neck, strings=tuple(strings), zero_fret=True)
