"""Reads a neck description: neck.toml, or the same as plain data, becomes a `Neck`.

Conventions
-----------
Whatever is wrong is raised as one `NeckError` that names file, place, key, value, allowed range and, where it can be guessed,
the cure. A `Neck` that comes out of here has been checked throughout.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from fretcheck.errors import NeckError
from fretcheck.neck.complaint import complaint, first_complaint, length_cure, one_of, shown
from fretcheck.neck.description import Measurement, Neck, String
from fretcheck.neck.layout import MM_PER_INCH, nut_distance_mm
from fretcheck.neck.materials import MATERIALS
from fretcheck.neck.measurement import MEASUREMENT_KINDS, Need
from fretcheck.neck.schema import MeasuredTable, NeckTable, StringTable
from fretcheck.neck.temperament import note_to_midi

MAX_FILE_BYTES = 1_000_000
MEASURED_OFF_MM = 15.0
"""A distance this far from the design was measured to another fret, or in another unit: common practice, no source."""


def read_neck(path: Path) -> Neck:
    """Read neck.toml.

    Parameters
    ----------
    path : Path
        A UTF-8 text file of at most 1 MB.

    Raises
    ------
    NeckError
        No such file, no TOML, or a description that cannot be used.
    """
    try:
        with path.open("rb") as stream:
            raw = stream.read(MAX_FILE_BYTES + 1)
    except FileNotFoundError:
        raise complaint("no such file", source=path) from None
    except IsADirectoryError:
        raise complaint("is a folder: name the neck.toml inside it", source=path) from None
    except OSError as error:
        raise complaint(f"cannot be read: {error.strerror}", source=path) from None
    if len(raw) > MAX_FILE_BYTES:
        raise complaint("is larger than 1 MB: that is no neck description", source=path)
    try:
        text = raw.decode("utf-8-sig")
        data = tomllib.loads(text)
    except UnicodeDecodeError:
        raise complaint("is not UTF-8 text: is this the neck.toml?", source=path) from None
    except tomllib.TOMLDecodeError as error:
        raise complaint(_toml_sentence(str(error), lines=len(text.splitlines())), source=path) from None
    return neck_from_mapping(data, source=path)


def _toml_sentence(text: str, *, lines: int) -> str:
    """tomllib's complaint with the line first, and what it usually means; `lines` is the length of the file."""
    where = re.search(r" ?\(at (?:line (\d+), column \d+|end of document)\)", text)
    reason = text[: where.start()] if where else text
    hint = " (a key or table is written twice)" if reason.startswith(("Cannot overwrite", "Cannot declare")) else ""
    line = where[1] if where and where[1] else lines
    return f"line {line}: broken TOML: {reason[:1].lower()}{reason[1:]}{hint}"


def neck_from_mapping(data: dict[str, Any], *, source: Path | None = None) -> Neck:
    """Build the `Neck` from the data of a neck.toml.

    Parameters
    ----------
    data : dict
        As TOML or JSON parsers give it.
    source : Path or None
        The file it came from, for the error texts.

    Raises
    ------
    NeckError
        The description cannot be used.
    """
    try:
        table = NeckTable.model_validate(data)
    except ValidationError as error:
        raise first_complaint(error, source=source) from None
    reader = _Reader(source)
    return reader.neck(table)


class _Reader:
    """Turns checked tables into records; holds the file's name for the complaints."""

    def __init__(self, source: Path | None) -> None:
        self.source = source

    def neck(self, table: NeckTable) -> Neck:
        own = [self.length(row, "scale_length", place=f"string {n}") for n, row in enumerate(table.strings, start=1)]
        scale = self.length(table, "scale_length")
        if scale is None:
            lengths = [length for length in own if length is not None]
            if len(lengths) < len(own):
                raise self.wrong(
                    '"scale_length_mm" (or scale_length_in) is missing: give it once, or for every string', key="scale_length_mm"
                )
            scale = (min(lengths) + max(lengths)) / 2.0
        fanned = any(length not in (None, scale) for length in own)
        if table.perpendicular_fret is not None:
            self.check(
                fanned,
                f"perpendicular_fret = {table.perpendicular_fret} is for fanned frets: "
                "give the strings a scale_length_mm of their own, or leave it out",
                key="perpendicular_fret",
                value=table.perpendicular_fret,
            )
            self.check(
                table.perpendicular_fret <= table.frets,
                f"perpendicular_fret = {table.perpendicular_fret} lies beyond the last fret, {table.frets}",
                key="perpendicular_fret",
                value=table.perpendicular_fret,
            )
        strings = tuple(
            self.string(row, number=n, scale_length_mm=length or scale, frets=table.frets)
            for n, (row, length) in enumerate(zip(table.strings, own, strict=True), start=1)
        )
        self.check_courses(strings)
        self.check_order(strings)
        neck = Neck(
            name=table.name,
            serial=table.serial,
            reference_hz=table.reference_hz,
            scale_length_mm=scale,
            frets=table.frets,
            zero_fret=table.zero_fret,
            tolerance_cents=table.tolerance_cents,
            tolerance_mm=table.tolerance_mm,
            perpendicular_fret=table.perpendicular_fret,
            strings=strings,
        )
        measured = tuple(self.measurement(row, number=n, neck=neck) for n, row in enumerate(table.measured, start=1))
        return replace(neck, measured=measured)

    def wrong(self, message: str, *, place: str = "", key: str | None = None, value: object = None) -> NeckError:
        return complaint(message, source=self.source, place=place, key=key, value=value)

    def check(self, right: bool, message: str, *, place: str = "", key: str | None = None, value: object = None) -> None:
        if not right:
            raise self.wrong(message, place=place, key=key, value=value)

    def length(self, table: NeckTable | StringTable, stem: str, *, place: str = "") -> float | None:
        """A length given in mm or in inches, in mm; None where it is not given."""
        mm, inches = getattr(table, f"{stem}_mm"), getattr(table, f"{stem}_in")
        self.check(
            mm is None or inches is None, f"give {stem}_mm or {stem}_in, not both", place=place, key=f"{stem}_in", value=inches
        )
        return float(mm) if mm is not None else inches * MM_PER_INCH if inches is not None else None

    def string(self, row: StringTable, *, number: int, scale_length_mm: float, frets: int) -> String:
        place = f"string {number}"
        try:
            note_to_midi(row.note)
        except NeckError as error:
            raise self.wrong(f"note: {error}", place=place, key="note", value=row.note) from None
        gauge, core = self.length(row, "gauge", place=place), self.length(row, "core", place=place)
        if gauge is None:
            raise self.wrong('"gauge_mm" (or gauge_in) is missing', place=place, key="gauge_mm")
        for key, name in (("material", row.material), ("core_material", row.core_material)):
            self.check(
                name is None or name in MATERIALS,
                one_of(key, name or "", MATERIALS),
                place=place,
                key=key,
                value=name,
            )
        if row.construction == "plain":
            for key, given in (("core_mm", core), ("core_material", row.core_material)):
                self.check(
                    given is None,
                    f'{key} is for a wound string: write construction = "wound", or leave it out',
                    place=place,
                    key=key,
                    value=given,
                )
        self.check(
            core is None or core < gauge,
            f"core_mm = {core or 0:g} must be thinner than the whole string, gauge_mm = {gauge:g}",
            place=place,
            key="core_mm",
            value=core,
        )
        self.check(
            row.first_fret < frets,
            f"first_fret = {row.first_fret} leaves no fret to play: the last one is {frets}",
            place=place,
            key="first_fret",
            value=row.first_fret,
        )
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
            first_fret=row.first_fret,
            course=row.course,
        )

    def check_courses(self, strings: tuple[String, ...]) -> None:
        """Strings of a course lie side by side and sound in unison or octaves."""
        last_of: dict[int, int] = {}
        for number, string in enumerate(strings, start=1):
            if string.course is None:
                continue
            place = f"string {number}"
            before = last_of.get(string.course)
            if before is not None:
                other = strings[before - 1]
                message = f"course = {string.course}: its strings {before} and {number} do not lie side by side"
                self.check(before == number - 1, message, place=place, key="course", value=string.course)
                self.check(
                    (note_to_midi(string.note) - note_to_midi(other.note)) % 12 == 0 and string.first_fret == other.first_fret,
                    f"course = {string.course}: {other.note} and {string.note} are neither in unison nor octaves apart",
                    place=place,
                    key="course",
                    value=string.course,
                )
            last_of[string.course] = number

    def check_order(self, strings: tuple[String, ...]) -> None:
        """Refuse a list turned round; re-entrant tunings, octave courses and short strings are right as they are.

        The order tells the diagnosis which edge of the neck is the treble one. Only a list that mostly climbs is turned round.
        """
        lowest: dict[object, int] = {}
        for number, string in enumerate(strings, start=1):
            if string.first_fret == 0:
                group: object = ("course", string.course) if string.course is not None else number
                lowest[group] = min(lowest.get(group, 128), note_to_midi(string.note))
        notes = list(lowest.values())
        steps = [b - a for a, b in pairwise(notes)]
        self.check(
            sum(step > 0 for step in steps) <= sum(step < 0 for step in steps) or len(set(notes)) == 1,
            f"strings run from {strings[0].note} up to {strings[-1].note}: "
            "turn the list round, the first [[strings]] is string 1, the highest-sounding",
            key="strings",
        )

    def measurement(self, row: MeasuredTable, *, number: int, neck: Neck) -> Measurement:
        place = f"measurement {number}"
        kind = MEASUREMENT_KINDS.get(row.what)
        if kind is None:
            raise self.wrong(one_of("what", row.what, MEASUREMENT_KINDS), place=place, key="what", value=row.what)
        needs: tuple[tuple[str, Need, int | None], ...] = (("fret", kind.fret, row.fret), ("string", kind.string, row.string))
        for key, need, given in needs:
            message = (
                f"{kind.what} needs {key}: {kind.meaning}"
                if need == "required"
                else f"{kind.what} takes no {key}: {kind.meaning}"
            )
            wrong = (need == "required" and given is None) or (need == "no" and given is not None)
            self.check(not wrong, message, place=place, key=key, value=given)
        limits = {"fret": neck.frets, "string": len(neck.strings)}
        for key, _, given in needs:
            self.check(
                given is None or given <= limits[key],
                f"{key} = {given}: this neck has {limits[key]} {key}s",
                place=place,
                key=key,
                value=given,
            )
        if not kind.low_mm <= row.mm <= kind.high_mm:
            cure = length_cure("mm_mm", row.mm, limits=(kind.low_mm, kind.high_mm))
            raise self.wrong(
                f"{kind.what}: mm = {shown(row.mm)} lies outside the allowed {kind.low_mm:g} to {kind.high_mm:g} mm{cure}",
                place=place,
                key="mm",
                value=row.mm,
            )
        self.check_against_design(row, place=place, neck=neck)
        return Measurement(what=row.what, mm=row.mm, u_mm=row.u_mm, fret=row.fret, string=row.string)

    def check_against_design(self, row: MeasuredTable, *, place: str, neck: Neck) -> None:
        """A distance along the neck must at least resemble the design."""
        scale = neck.scale_length_mm if row.string is None else neck.string(row.string).scale_length_mm
        if row.what == "nut_to_fret" and row.fret is not None:
            design = nut_distance_mm(row.fret, scale_length_mm=scale)
        elif row.what == "nut_to_saddle" and row.string is not None:
            string = neck.string(row.string)
            design = scale * 2.0 ** (-string.first_fret / 12.0) + string.saddle_setback_mm
        else:
            return
        if abs(row.mm - design) > MEASURED_OFF_MM:
            inches = ": looks like inches" if abs(row.mm * MM_PER_INCH - design) <= MEASURED_OFF_MM else ": is the fret right?"
            raise self.wrong(
                f"{row.what}: mm = {shown(row.mm)} is more than {MEASURED_OFF_MM:g} mm from the design, {design:.1f} mm{inches}",
                place=place,
                key="mm",
                value=row.mm,
            )
