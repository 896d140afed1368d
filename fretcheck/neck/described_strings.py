"""From a description's strings, one by one or all in one line, to `String` records, checked also against each other.

Conventions: String 1 is the first; a complaint starts with "string N". Lists keep one order, that of the tuning, and are turned
round where they begin at the bass side. "Treble side" is the side of string 1, whatever sounds highest.
"""

import re
from collections.abc import Sequence
from itertools import pairwise

from fretcheck.neck.complaint import at, complaint, require
from fretcheck.neck.description import MAX_STRINGS, MIN_STRINGS, String, places_across
from fretcheck.neck.lengths import in_mm, shown
from fretcheck.neck.temperament import midi_to_note, note_to_midi
from fretcheck.neck.toml_tables import EachString, NeckTable, StringTable, at_sides

_GAUGE = re.compile(r"([wp]?)\s*([^wp]+?)\s*([wp]?)", re.IGNORECASE)


def string_rows(table: NeckTable) -> tuple[list[StringTable], bool]:
    """The strings of a description, string 1 first, given one by one or in one line; and whether the list was turned round.

    Raises NeckError: neither or both are given, lists differ in length, or the side they begin at cannot be told.
    """
    gauges, unit = (table.gauges_mm, "mm") if table.gauges_mm is not None else (table.gauges_in, "in")
    if table.tuning is None and gauges is None:
        count = len(table.strings)
        either = "write tuning and gauges_mm in one line each"
        require(count > 0, f'"strings" is missing: {either}, or {MIN_STRINGS} to {MAX_STRINGS} [[strings]]', key="strings")
        few = f"{count} [[strings]]: {MIN_STRINGS} to {MAX_STRINGS} strings are allowed"
        require(count >= MIN_STRINGS, few, key="strings", value=count)
        turned = table.starts_from == "bass"
        return (table.strings[::-1] if turned else table.strings), turned
    require(not table.strings, "give tuning and gauges, or [[strings]], not both", key="tuning", value=table.tuning)
    both = table.gauges_mm is None or table.gauges_in is None
    require(both, "give gauges_mm or gauges_in, not both", key="gauges_in", value=table.gauges_in)
    if table.tuning is None or gauges is None:
        missing = 'tuning, as in "E4 B3 G3 D3 A2 E2"' if table.tuning is None else 'gauges_in, as in [0.012, 0.016, "w0.024"]'
        raise complaint(f"tuning and gauges go together: {missing}, is missing", key="tuning")
    notes = table.tuning.replace(",", " ").split()
    differ = f"tuning names {len(notes)} strings, the gauges are {len(gauges)}: one of each a string, in one order"
    require(len(notes) == len(gauges), differ, key="tuning", value=table.tuning)
    per = table.strings_per_course
    even = f"{len(notes)} strings do not make courses of {per}"
    require(len(notes) % per == 0, even, key="strings_per_course", value=per)
    read = []
    for number, (note, written) in enumerate(zip(notes, gauges, strict=True), start=1):
        with at(f"string {number} of the list"):
            with at("tuning", key="tuning"):
                note_to_midi(note)
            wound, gauge = _gauge(written, unit=unit)
        say = 'what are the wound strings wound with? Write wound_material = "phosphor_bronze", or another'
        require(not wound or table.wound_material is not None, say, key="wound_material")
        read.append((note, wound, gauge))
    turned = (table.starts_from or _side(notes, per=per, tuning=table.tuning)) == "bass"
    rows = [
        StringTable(
            note=note,
            gauge_mm=gauge,
            construction="wound" if wound else "plain",
            material=table.wound_material or "" if wound else table.plain_material,
            course=index // per + 1 if per > 1 else None,
        )
        for index, (note, wound, gauge) in enumerate(read[::-1] if turned else read)
    ]
    return rows, turned


def _gauge(written: float | str, *, unit: str) -> tuple[bool, float]:
    """Whether a gauge of the list is wound, and the gauge in mm."""
    key = f"gauges_{unit}"
    if not isinstance(written, str):
        return False, in_mm(written, key=key, question=True)
    match = _GAUGE.fullmatch(written.strip())
    value: float | str | None = match[2] if match and not (match[1] and match[3]) else None
    try:
        value = float(value) if value is not None and unit == "mm" else value
    except ValueError:
        value = None
    form = 'must be a number, or "w" and a number for a wound string, as in "w0.024"'
    if match is None or value is None:
        raise complaint(f"{key} = {shown(written)} {form}", key=key, value=written)
    return (match[1] or match[3]).lower() == "w", in_mm(value, key=key, question=True)


def _side(notes: Sequence[str], *, per: int, tuning: str) -> str:
    """The side at which a list of notes begins, where they (the lowest of each course) only climb or only fall."""
    midi = [note_to_midi(note) for note in notes]
    lowest = [min(midi[first : first + per]) for first in range(0, len(midi), per)]
    steps = [after - before for before, after in pairwise(lowest)]
    if all(step <= 0 for step in steps):
        return "treble"
    if all(step >= 0 for step in steps):
        return "bass"
    say = 'climbs and falls: write from = "treble" if it begins with string 1, from = "bass" if it ends with it'
    raise complaint(f'tuning = "{tuning}" {say}', key="from", value=tuning)


def _of_each(table: NeckTable, key: str, rows: Sequence[StringTable], *, turned: bool) -> list[float | None]:
    """A length of every string: its own, or from one number, both edges or a list (`turned` round with the tuning)."""
    value: EachString = getattr(table, key)
    if isinstance(value, list):
        count = f"{key} lists {len(value)} strings, this neck has {len(rows)}"
        require(len(value) == len(rows), count, key=key, value=value)
        common: list[float | None] = list(value[::-1] if turned else value)
    elif value is None:
        common = [None] * len(rows)
    else:
        sides = at_sides(value, key=key)
        common = [sides.treble + (sides.bass - sides.treble) * place for place in places_across(row.course for row in rows)]
    own = [getattr(row, key) for row in rows]
    return [one if mine is None else mine for one, mine in zip(common, own, strict=True)]


def strings_of(
    table: NeckTable, rows: Sequence[StringTable], *, turned: bool, scale_lengths_mm: Sequence[float], frets: int
) -> tuple[String, ...]:
    """All strings of a description; `scale_lengths_mm` holds one length a string, lists are `turned` round with them."""
    setbacks = _of_each(table, "saddle_setback_mm", rows, turned=turned)
    nuts = _of_each(table, "nut_compensation_mm", rows, turned=turned)
    semitones = table.tuned_semitones
    strings = []
    for number, (row, scale, setback, nut) in enumerate(zip(rows, scale_lengths_mm, setbacks, nuts, strict=True), start=1):
        with at(f"string {number}"):
            no_fret = f"first_fret = {row.first_fret} leaves no fret to play: the last one is {frets}"
            require(row.first_fret < frets, no_fret, key="first_fret", value=row.first_fret)
            note = midi_to_note(note_to_midi(row.note) + semitones) if semitones else row.note
            with at("note", key="note"):
                note_to_midi(note)
        tension_n = None if row.tension_n is None else row.tension_n * 2.0 ** (semitones / 6.0)  # as the frequency squared
        own = {"saddle_setback_mm": setback, "nut_compensation_mm": nut or 0.0, "scale_length_mm": scale, "tension_n": tension_n}
        strings.append(row.record(String, note=note, **own))
    _check_courses(strings)
    turn = 'turn the list round, the first [[strings]] is string 1, the treble side (from = "treble" if it is right as it stands)'
    ends = f"strings run from {strings[0].note} up to {strings[-1].note}: {turn}"
    require(table.starts_from is not None or not climbs(strings), ends, key="strings")
    return tuple(strings)


def _check_courses(strings: Sequence[String]) -> None:
    """Strings of a course lie side by side and sound in unison or octaves."""
    last_of: dict[int, int] = {}
    for number, string in enumerate(strings, start=1):
        if string.course is None:
            continue
        before = last_of.get(string.course)
        if before is not None:
            other = strings[before - 1]
            octaves = (note_to_midi(string.note) - note_to_midi(other.note)) % 12 == 0
            with at(f"string {number}: course = {string.course}"):
                for right, message in (
                    (before == number - 1, f"its strings {before} and {number} do not lie side by side"),
                    (octaves, f"{other.note} and {string.note} are neither in unison nor octaves apart"),
                    (string.first_fret == other.first_fret, "its strings do not start at the same fret"),
                ):
                    require(right, message, key="course", value=string.course)
        last_of[string.course] = number


def climbs(strings: Sequence[String]) -> bool:
    """Whether a list looks turned round; re-entrant tunings, octave courses and short strings are right as they are.

    The order tells the diagnosis which edge of the neck is the treble one. Only a list that mostly climbs is turned round.
    """
    lowest: dict[object, int] = {}
    start = min(string.first_fret for string in strings)
    for number, string in enumerate(strings):
        if string.first_fret == start:
            group = number if string.course is None else ("course", string.course)
            lowest[group] = min(lowest.get(group, 128), note_to_midi(string.note))
    steps = [lower - upper for upper, lower in pairwise(lowest.values())]
    return sum(step > 0 for step in steps) > sum(step < 0 for step in steps)
