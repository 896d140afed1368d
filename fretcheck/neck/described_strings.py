"""From the ``[[strings]]`` of a description to `String` records, checked one by one and against each other.

Conventions
-----------
String 1 is the first and the highest-sounding. A complaint starts with "string N".
"""

from __future__ import annotations

from itertools import pairwise

from fretcheck.errors import NeckError
from fretcheck.neck.complaint import complaint, one_of, require
from fretcheck.neck.description import String
from fretcheck.neck.materials import MATERIALS
from fretcheck.neck.schema import NeckTable, StringTable
from fretcheck.neck.temperament import MM_PER_INCH, note_to_midi


def length_mm(table: NeckTable | StringTable, stem: str, *, place: str = "") -> float | None:
    """A length given as `stem` in mm or in inches, in mm; None where it is not given.

    Raises
    ------
    NeckError
        It is given twice.
    """
    mm, inches = getattr(table, f"{stem}_mm"), getattr(table, f"{stem}_in")
    require(mm is None or inches is None, f"give {stem}_mm or {stem}_in, not both", place=place, key=f"{stem}_in", value=inches)
    return float(mm) if mm is not None else inches * MM_PER_INCH if inches is not None else None


def strings_of(table: NeckTable, *, scale_lengths_mm: list[float], frets: int) -> tuple[String, ...]:
    """All strings of a description; `scale_lengths_mm` holds one length a string."""
    strings = tuple(
        _string(row, number=number, scale_length_mm=scale, frets=frets)
        for number, (row, scale) in enumerate(zip(table.strings, scale_lengths_mm, strict=True), start=1)
    )
    _check_courses(strings)
    _check_order(strings)
    return strings


def _string(row: StringTable, *, number: int, scale_length_mm: float, frets: int) -> String:
    place = f"string {number}"
    try:
        note_to_midi(row.note)
    except NeckError as error:
        raise complaint(f"note: {error}", place=place, key="note", value=row.note) from None
    gauge, core = length_mm(row, "gauge", place=place), length_mm(row, "core", place=place)
    if gauge is None:
        raise complaint('"gauge_mm" (or gauge_in) is missing', place=place, key="gauge_mm")
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
        note=row.note,
        gauge_mm=gauge,
        construction=row.construction,
        material=row.material,
        scale_length_mm=scale_length_mm,
        core_mm=core,
        core_material=row.core_material,
        mass_per_length_g_m=row.mass_per_length_g_m,
        tension_n=row.tension_n,
        saddle_setback_mm=row.saddle_setback_mm,
        nut_compensation_mm=row.nut_compensation_mm,
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


def _check_order(strings: tuple[String, ...]) -> None:
    """Refuse a list turned round; re-entrant tunings, octave courses and short strings are right as they are.

    The order tells the diagnosis which edge of the neck is the treble one. Only a list that mostly climbs is turned round.
    """
    lowest: dict[tuple[str, int], int] = {}
    for number, string in enumerate(strings, start=1):
        if string.first_fret == 0:
            group = ("string", number) if string.course is None else ("course", string.course)
            lowest[group] = min(lowest.get(group, 128), note_to_midi(string.note))
    steps = [lower - upper for upper, lower in pairwise(lowest.values())]
    require(
        sum(step > 0 for step in steps) <= sum(step < 0 for step in steps),
        f"strings run from {strings[0].note} up to {strings[-1].note}: "
        "turn the list round, the first [[strings]] is string 1, the highest-sounding",
        key="strings",
    )
