"""All strings in one line: tuning and gauges as lists, lengths common to all or spread from the first string to the last.

Conventions: lists keep one order, that of the tuning, and are turned round where they begin at the bass side: row 1 is string
1. "Treble side" is the side of string 1, whatever sounds highest.
"""

import re
from collections.abc import Sequence
from itertools import pairwise

from fretcheck.errors import NeckError
from fretcheck.neck.complaint import complaint, require
from fretcheck.neck.lengths import in_mm, shown
from fretcheck.neck.temperament import note_to_midi
from fretcheck.neck.toml_tables import MAX_STRINGS, MIN_STRINGS, EachString, NeckTable, StringTable

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
    rows = []
    for index, (note, written) in enumerate(zip(notes, gauges, strict=True)):
        place = f"string {index + 1} of the list"
        _check_note(note, key="tuning", place=place)
        wound, gauge = _gauge(written, unit=unit, place=place)
        material = table.wound_material if wound else table.plain_material
        if material is None:
            say = 'what are the wound strings wound with? Write wound_material = "phosphor_bronze", or another'
            raise complaint(say, key="wound_material")
        rows.append(
            StringTable(
                note=note,
                gauge_mm=gauge,
                construction="wound" if wound else "plain",
                material=material,
                course=index // per + 1 if per > 1 else None,
            )
        )
    turned = (table.starts_from or _side(notes, per=per, tuning=table.tuning)) == "bass"
    if turned:
        rows.reverse()
        if per > 1:
            last = len(rows) // per + 1
            rows = [row.model_copy(update={"course": last - row.course if row.course else None}) for row in rows]
    return rows, turned


def _gauge(written: float | str, *, unit: str, place: str) -> tuple[bool, float]:
    """Whether a gauge of the list is wound, and the gauge in mm."""
    key = f"gauges_{unit}"
    wound, value = False, written
    if isinstance(written, str):
        match = _GAUGE.fullmatch(written.strip())
        form = 'must be a number, or "w" and a number for a wound string, as in "w0.024"'
        if match is None or (match[1] and match[3]):
            raise complaint(f"{key} = {shown(written)} {form}", place=place, key=key, value=written)
        wound, value = (match[1] or match[3]).lower() == "w", match[2]
        if unit == "mm":
            try:
                value = float(match[2])
            except ValueError:
                raise complaint(f"{key} = {shown(written)} {form}", place=place, key=key, value=written) from None
    try:
        return wound, in_mm(value, key=key, question=True)
    except NeckError as error:
        raise complaint(str(error), place=place, key=key, value=written) from None


def _check_note(note: str, *, key: str, place: str) -> None:
    try:
        note_to_midi(note)
    except NeckError as error:
        raise complaint(f"{key}: {error}", place=place, key=key, value=note) from None


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


def places_across(rows: Sequence[StringTable]) -> list[float]:
    """Of each string, 0 at string 1 to 1 at the last; strings of a course at one place."""
    order: dict[object, int] = {}
    place = [order.setdefault(("course", row.course) if row.course else ("string", n), len(order)) for n, row in enumerate(rows)]
    return [one / max(len(order) - 1, 1) for one in place]


def of_each(value: EachString, rows: Sequence[StringTable], *, key: str, turned: bool) -> list[float | None]:
    """A length of every string, from one number, both edges or a list (in the order of the tuning; `turned` round with it)."""
    if value is None or isinstance(value, int | float):
        return [value] * len(rows)
    if isinstance(value, list):
        count = f"{key} lists {len(value)} strings, this neck has {len(rows)}"
        require(len(value) == len(rows), count, key=key, value=value)
        return list(value[::-1] if turned else value)
    treble, bass = at_sides(value, key=key)
    return [treble + (bass - treble) * place for place in places_across(rows)]


def at_sides(value: float | dict[str, float], *, key: str) -> tuple[float, float]:
    """A length at the treble and the bass side, from one number or a table of both."""
    if not isinstance(value, dict):
        return float(value), float(value)
    for side in value:
        require(side in ("treble", "bass"), f'{key}: unknown side "{side}": write treble and bass', key=key, value=value)
    for side in ("treble", "bass"):
        form = f"{key}: {side} is missing: write {{ treble = 1.8, bass = 2.2 }}, or one number"
        require(side in value, form, key=key, value=value)
    return float(value["treble"]), float(value["bass"])
