"""From the ``[[strings]]`` of a description to `String` records, checked one by one and against each other.

Conventions: String 1 is the first. A complaint starts with "string N".
"""

from collections.abc import Sequence
from itertools import pairwise

from fretcheck.errors import NeckError
from fretcheck.neck.complaint import complaint, one_of, require
from fretcheck.neck.description import String
from fretcheck.neck.materials import MATERIALS
from fretcheck.neck.short_forms import of_each
from fretcheck.neck.temperament import midi_to_note, note_to_midi
from fretcheck.neck.toml_tables import NeckTable, StringTable


def strings_of(
    table: NeckTable, rows: Sequence[StringTable], *, turned: bool, scale_lengths_mm: Sequence[float], frets: int
) -> tuple[String, ...]:
    """All strings of a description; `scale_lengths_mm` holds one length a string, lists are `turned` round with them."""
    setbacks = of_each(table.saddle_setback_mm, rows, key="saddle_setback_mm", turned=turned)
    nuts = of_each(table.nut_compensation_mm, rows, key="nut_compensation_mm", turned=turned)
    strings = tuple(
        _string(
            row,
            place=f"string {number}",
            semitones=table.tuned_semitones,
            scale_length_mm=scale_lengths_mm[number - 1],
            setback_mm=setbacks[number - 1],
            nut_mm=nuts[number - 1],
            frets=frets,
        )
        for number, row in enumerate(rows, start=1)
    )
    _check_courses(strings)
    turn = 'turn the list round, the first [[strings]] is string 1, the treble side (from = "treble" if it is right as it stands)'
    ends = f"strings run from {strings[0].note} up to {strings[-1].note}: {turn}"
    require(table.starts_from is not None or not climbs(strings), ends, key="strings")
    return strings


def _string(
    row: StringTable,
    *,
    place: str,
    semitones: int,
    scale_length_mm: float,
    setback_mm: float | None,
    nut_mm: float | None,
    frets: int,
) -> String:
    try:
        midi = note_to_midi(row.note) + semitones
        note = midi_to_note(midi) if semitones else row.note
        note_to_midi(note)
    except NeckError as error:
        raise complaint(f"note: {error}", place=place, key="note", value=row.note) from None
    gauge, core = row.gauge_mm, row.core_mm
    for key, name in (("material", row.material), ("core_material", row.core_material)):
        require(name is None or name in MATERIALS, one_of(key, name or "", MATERIALS), place=place, key=key, value=name)
    if row.construction == "plain":
        hint = 'is for a wound string: write construction = "wound", or leave it out'
        for key, given in (("core_mm", core), ("core_material", row.core_material)):
            require(given is None, f"{key} {hint}", place=place, key=key, value=given)
    thinner = f"core_mm = {core or 0:g} must be thinner than the whole string, gauge_mm = {gauge:g}"
    require(core is None or core < gauge, thinner, place=place, key="core_mm", value=core)
    no_fret = f"first_fret = {row.first_fret} leaves no fret to play: the last one is {frets}"
    require(row.first_fret < frets, no_fret, place=place, key="first_fret", value=row.first_fret)
    return String(
        note=note,
        gauge_mm=gauge,
        construction=row.construction,
        material=row.material,
        scale_length_mm=scale_length_mm,
        core_mm=core,
        core_material=row.core_material,
        mass_per_length_g_m=row.mass_per_length_g_m,
        tension_n=None if row.tension_n is None else row.tension_n * 2.0 ** (semitones / 6.0),  # goes with the frequency squared
        saddle_setback_mm=setback_mm if row.saddle_setback_mm is None else row.saddle_setback_mm,
        nut_compensation_mm=next((one for one in (row.nut_compensation_mm, nut_mm) if one is not None), 0.0),
        first_fret=row.first_fret,
        course=row.course,
    )


def _check_courses(strings: tuple[String, ...]) -> None:
    """Strings of a course lie side by side and sound in unison or octaves."""
    last_of: dict[int, int] = {}
    for number, string in enumerate(strings, start=1):
        if string.course is None:
            continue
        before = last_of.get(string.course)
        if before is not None:
            other = strings[before - 1]
            octaves = (note_to_midi(string.note) - note_to_midi(other.note)) % 12 == 0
            for right, message in (
                (before == number - 1, f"its strings {before} and {number} do not lie side by side"),
                (octaves, f"{other.note} and {string.note} are neither in unison nor octaves apart"),
                (string.first_fret == other.first_fret, "its strings do not start at the same fret"),
            ):
                text = f"course = {string.course}: {message}"
                require(right, text, place=f"string {number}", key="course", value=string.course)
        last_of[string.course] = number


def climbs(strings: Sequence[String]) -> bool:
    """Whether a list looks turned round; re-entrant tunings, octave courses and short strings are right as they are.

    The order tells the diagnosis which edge of the neck is the treble one. Only a list that mostly climbs is turned round.
    """
    lowest: dict[tuple[str, int], int] = {}
    start = min(string.first_fret for string in strings)
    for number, string in enumerate(strings, start=1):
        if string.first_fret == start:
            group = ("string", number) if string.course is None else ("course", string.course)
            lowest[group] = min(lowest.get(group, 128), note_to_midi(string.note))
    steps = [lower - upper for upper, lower in pairwise(lowest.values())]
    return sum(step > 0 for step in steps) > sum(step < 0 for step in steps)
