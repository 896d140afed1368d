"""From the ``[[measured]]`` of a description to `Measurement` records, checked against their kind and the design.

Conventions: kinds, their needs and ranges are those of `fretcheck.neck.measurement`. A complaint starts with "measurement N".
"""

import datetime

from fretcheck.errors import NeckError
from fretcheck.neck.complaint import complaint, one_of, require
from fretcheck.neck.description import Measurement, Neck, Worked
from fretcheck.neck.lengths import in_mm, length, shown
from fretcheck.neck.measurement import MEASUREMENT_KINDS, TOOL_U_MM, MeasurementKind
from fretcheck.neck.toml_tables import MeasuredTable, WorkedTable
from fretcheck.units import MM_PER_INCH

# A distance this far from the design was measured to another fret, or in another unit: common practice, no source
MEASURED_OFF_MM = 15.0


def measurement_of(row: MeasuredTable, *, number: int, neck: Neck, question: bool = False) -> Measurement:
    """One measurement, checked.

    Raises NeckError: an unknown kind, a fret or string that is missing, not wanted or not on this neck, or a length that cannot
    be.
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
    mm, u_mm = _lengths(row, kind, place=place, question=question)
    _check_against_design(row, kind, mm, place=place, neck=neck)
    return Measurement(what=row.what, mm=mm, u_mm=u_mm, fret=row.fret, string=row.string, date=_day(row.date, place=place))


def _lengths(row: MeasuredTable, kind: MeasurementKind, *, place: str, question: bool) -> tuple[float, float]:
    """Length and standard uncertainty in mm; by the tool where none is given."""
    known = row.tool is None or row.tool in TOOL_U_MM
    require(known, one_of("tool", row.tool or "", TOOL_U_MM), place=place, key="tool", value=row.tool)
    said = [(key, value) for key, value in (("mm", row.mm), ("in", row.inches)) if value is not None]
    one = f"{kind.what} needs one length: mm = … or in = …"
    require(len(said) == 1, one, place=place, key="mm")
    own = [(key, value) for key, value in (("u_mm", row.u_mm), ("u_in", row.u_in)) if value is not None]
    require(len(own) < 2, "give u_mm or u_in, not both", place=place, key="u_mm")
    try:
        mm = in_mm(said[0][1], key=said[0][0], limits=kind.limits, question=question)
        u_mm = in_mm(own[0][1], key=own[0][0], limits=length(0.001, 10.0), question=False) if own else kind.u_mm(row.tool)  # type: ignore[arg-type]
    except NeckError as error:
        raise complaint(f"{kind.what}: {error}", place=place, key=error.key, value=error.value) from None
    return mm, u_mm


def worked_of(row: WorkedTable, *, number: int) -> Worked:
    """One ``[[worked]]``, checked. Raises NeckError: a date that is none."""
    place = f"work {number}"
    day = _day(row.date, place=place)
    assert day is not None
    return Worked(part=row.part, date=day)


def _day(date: datetime.date | str | None, *, place: str) -> datetime.date | None:
    if not isinstance(date, str):
        return date
    try:
        return datetime.date.fromisoformat(date)
    except ValueError:
        raise complaint(f"date = {shown(date)} is no day: write 2026-11-28", place=place, key="date", value=date) from None


def _check_against_design(row: MeasuredTable, kind: MeasurementKind, mm: float, *, place: str, neck: Neck) -> None:
    """A long distance must at least resemble the design."""
    string = None if row.string is None else neck.string(row.string)
    if kind.what == "nut_to_fret" and row.fret is not None:
        start, own_nut = (0, 0.0) if string is None else (string.first_fret, string.nut_compensation_mm)
        none_such = f"nut_to_fret: string {row.string} starts at fret {start}, so fret = {row.fret} is not on it"
        require(row.fret > start, none_such, place=place, key="fret", value=row.fret)
        design = neck.nut_distance_mm(row.fret, row.string) - neck.nut_distance_mm(start, row.string) - own_nut
        doubt = "is the fret right?"
    elif kind.what == "fret_to_fret" and row.fret is not None:
        design = neck.nut_distance_mm(row.fret, row.string) - neck.nut_distance_mm(row.fret - 1, row.string)
        doubt = "is the fret right?"
    elif kind.what == "nut_to_saddle" and row.string is not None:
        design, doubt = neck.open_length_mm(row.string), "is the string right?"
    else:
        return
    if abs(mm - design) > min(MEASURED_OFF_MM, 0.5 * design):
        written = f"mm = {shown(mm)}" if row.inches is None else f"in = {shown(row.inches)}"
        cure = doubt
        if row.inches is None and abs(mm * MM_PER_INCH - design) <= MEASURED_OFF_MM:
            cure = "looks like inches"
        elif row.inches is not None and abs(mm / MM_PER_INCH - design) <= MEASURED_OFF_MM:
            cure = "looks like mm"
        far = f"is more than {min(MEASURED_OFF_MM, 0.5 * design):.3g} mm from the design, {design:.1f} mm"
        raise complaint(f"{kind.what}: {written} {far}: {cure}", place=place, key="mm", value=mm)
