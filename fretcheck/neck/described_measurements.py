"""From the ``[[measured]]`` of a description to `Measurement` records, checked against their kind and the design.

Conventions
-----------
Kinds, their needs and ranges are those of `fretcheck.neck.measurement`. A complaint starts with "measurement N".
"""

from __future__ import annotations

import datetime

from fretcheck.neck.complaint import complaint, length_cure, one_of, require, shown
from fretcheck.neck.description import Measurement, Neck
from fretcheck.neck.measurement import MEASUREMENT_KINDS, MeasurementKind
from fretcheck.neck.schema import MeasuredTable
from fretcheck.neck.temperament import MM_PER_INCH

MEASURED_OFF_MM = 15.0
"""A distance this far from the design was measured to another fret, or in another unit: common practice, no source."""


def measurement_of(row: MeasuredTable, *, number: int, neck: Neck) -> Measurement:
    """One measurement, checked.

    Raises
    ------
    NeckError
        An unknown kind, a fret or string that is missing, not wanted or not on this neck, or a length that cannot be.
    """
    place = f"measurement {number}"
    kind = MEASUREMENT_KINDS.get(row.what)
    if kind is None:
        raise complaint(one_of("what", row.what, MEASUREMENT_KINDS), place=place, key="what", value=row.what)
    for key, need, given, last in (
        ("fret", kind.fret, row.fret, neck.frets),
        ("string", kind.string, row.string, len(neck.strings)),
    ):
        missing, unwanted = need == "required" and given is None, need == "no" and given is not None
        verb = "takes no" if unwanted else "needs"
        require(not (missing or unwanted), f"{kind.what} {verb} {key}: {kind.meaning}", place=place, key=key, value=given)
        on_the_neck = given is None or given <= last
        require(on_the_neck, f"{key} = {given}: this neck has {last} {key}s", place=place, key=key, value=given)
    if not kind.low_mm <= row.mm <= kind.high_mm:
        cure = length_cure("_mm", row.mm, limits=(kind.low_mm, kind.high_mm))
        allowed = f"lies outside the allowed {kind.low_mm:g} to {kind.high_mm:g} mm"
        raise complaint(f"{kind.what}: mm = {shown(row.mm)} {allowed}{cure}", place=place, key="mm", value=row.mm)
    _check_against_design(row, kind, place=place, neck=neck)
    day = _date_of(row, place=place)
    return Measurement(what=row.what, mm=row.mm, u_mm=row.u_mm, fret=row.fret, string=row.string, date=day)


def _date_of(row: MeasuredTable, *, place: str) -> datetime.date | None:
    """The day of a measurement, given as a date or as text."""
    if not isinstance(row.date, str):
        return row.date
    try:
        return datetime.date.fromisoformat(row.date)
    except ValueError:
        raise complaint(
            f"date = {shown(row.date)} is no day: write 2026-11-28", place=place, key="date", value=row.date
        ) from None


def _check_against_design(row: MeasuredTable, kind: MeasurementKind, *, place: str, neck: Neck) -> None:
    """A long distance must at least resemble the design."""
    string = None if row.string is None else neck.string(row.string)
    if kind.what == "nut_to_fret" and row.fret is not None:
        start, own_nut = (0, 0.0) if string is None else (string.first_fret, string.nut_compensation_mm)
        none_such = f"nut_to_fret: string {row.string} starts at fret {start}, so fret = {row.fret} is not on it"
        require(row.fret > start, none_such, place=place, key="fret", value=row.fret)
        design = neck.nut_distance_mm(row.fret, row.string) - neck.nut_distance_mm(start, row.string) - own_nut
        doubt = "is the fret right?"
    elif kind.what == "nut_to_saddle" and row.string is not None:
        design, doubt = neck.open_length_mm(row.string), "is the string right?"
    else:
        return
    if abs(row.mm - design) > MEASURED_OFF_MM:
        cure = "looks like inches" if abs(row.mm * MM_PER_INCH - design) <= MEASURED_OFF_MM else doubt
        far = f"is more than {MEASURED_OFF_MM:g} mm from the design, {design:.1f} mm"
        raise complaint(f"{kind.what}: mm = {shown(row.mm)} {far}: {cure}", place=place, key="mm", value=row.mm)
