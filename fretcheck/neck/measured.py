"""Measurements by hand: read and checked against their kind and the design, given with an inspection, made stale by work.

Conventions: kinds, their needs and ranges are those of `fretcheck.neck.measurement`. A measurement of a part that was worked on
is not used unless it is dated later than the work: of the same day nobody knows which came first. What is given with an
inspection was measured for it.
"""

import datetime
import re
from collections.abc import Collection, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import Any, get_args

from pydantic import ValidationError

from fretcheck.errors import NeckError, UsageError
from fretcheck.neck.complaint import complaint, first_complaint, one_of, require
from fretcheck.neck.description import Measurement, Neck, WorkedPart
from fretcheck.neck.lengths import in_mm, length, shown
from fretcheck.neck.measurement import MEASUREMENT_KINDS, MeasurementKind
from fretcheck.neck.toml_tables import MeasuredTable
from fretcheck.units import MM_PER_INCH

# A distance this far from the design was measured to another fret, or in another unit: common practice, no source
MEASURED_OFF_MM = 15.0
# What work on a part changes: new strings pull the neck otherwise, frets made lower leave more over them
TOUCHES: dict[WorkedPart, tuple[str, ...]] = {
    "nut": ("first_fret_clearance", "nut_to_fret", "nut_to_saddle", "action_12"),
    "saddle": ("nut_to_saddle", "action_12", "first_fret_clearance"),
    "frets": ("nut_to_fret", "fret_to_fret", "first_fret_clearance", "action_12"),
    "neck": ("relief", "action_12", "first_fret_clearance"),
    "strings": ("relief", "action_12", "first_fret_clearance"),
}
_GIVEN = re.compile(r"(?P<what>[a-z_0-9]+?)(?:@(?P<fret>\d+))?(?:/(?P<string>\d+))?=(?P<length>.+?)(?P<unit>in|mm)?")


def measurement_of(row: MeasuredTable, *, neck: Neck, question: bool = False) -> Measurement:
    """One measurement, checked.

    Raises NeckError: a fret or string that is missing, not wanted or not on this neck, or a length that cannot be.
    """
    kind = MEASUREMENT_KINDS[row.what]
    for key, need, given, last in (
        ("fret", kind.fret, row.fret, neck.frets),
        ("string", kind.string, row.string, len(neck.strings)),
    ):
        missing, unwanted = need == "required" and given is None, need == "no" and given is not None
        verb = "takes no" if unwanted else "needs"
        require(not (missing or unwanted), f"{kind.what} {verb} {key}: {kind.meaning}", key=key, value=given)
        require(given is None or given <= last, f"{key} = {given}: this neck has {last} {key}s", key=key, value=given)
    mm, u_mm = _lengths(row, kind, question=question)
    _check_against_design(row, mm, neck=neck)
    return row.record(Measurement, mm=mm, u_mm=u_mm)


def _lengths(row: MeasuredTable, kind: MeasurementKind, *, question: bool) -> tuple[float, float]:
    """Length and standard uncertainty in mm; by the tool where none is given."""
    said = [(key, value) for key, value in (("mm", row.mm), ("in", row.inches)) if value is not None]
    require(len(said) == 1, f"{kind.what} needs one length: mm = … or in = …", key="mm")
    own = [(key, value) for key, value in (("u_mm", row.u_mm), ("u_in", row.u_in)) if value is not None]
    require(len(own) < 2, "give u_mm or u_in, not both", key="u_mm")
    try:
        mm = in_mm(said[0][1], key=said[0][0], limits=kind.limits, question=question)
        u_mm = in_mm(own[0][1], key=own[0][0], limits=length(0.001, 10.0), question=False) if own else kind.u_mm(row.tool)
    except NeckError as error:
        raise complaint(f"{kind.what}: {error}", key=error.key, value=error.value) from None
    return mm, u_mm


def _check_against_design(row: MeasuredTable, mm: float, *, neck: Neck) -> None:
    """A long distance must at least resemble the design."""
    string = None if row.string is None else neck.string(row.string)
    if row.what == "nut_to_fret" and row.fret is not None:
        start, own_nut = (0, 0.0) if string is None else (string.first_fret, string.nut_compensation_mm)
        none_such = f"nut_to_fret: string {row.string} starts at fret {start}, so fret = {row.fret} is not on it"
        require(row.fret > start, none_such, key="fret", value=row.fret)
        design = neck.nut_distance_mm(row.fret, row.string) - neck.nut_distance_mm(start, row.string) - own_nut
    elif row.what == "fret_to_fret" and row.fret is not None:
        design = neck.nut_distance_mm(row.fret, row.string) - neck.nut_distance_mm(row.fret - 1, row.string)
    elif row.what == "nut_to_saddle" and row.string is not None:
        design = neck.open_length_mm(row.string)
    else:
        return
    most = min(MEASURED_OFF_MM, 0.5 * design)
    if abs(mm - design) > most:
        written = f"mm = {shown(mm)}" if row.inches is None else f"in = {shown(row.inches)}"
        cure = f"is the {'string' if row.what == 'nut_to_saddle' else 'fret'} right?"
        if row.inches is None and abs(mm * MM_PER_INCH - design) <= MEASURED_OFF_MM:
            cure = "looks like inches"
        elif row.inches is not None and abs(mm / MM_PER_INCH - design) <= MEASURED_OFF_MM:
            cure = "looks like mm"
        far = f"is more than {most:.3g} mm from the design, {design:.1f} mm"
        raise complaint(f"{row.what}: {written} {far}: {cure}", key="mm", value=mm)


def stale(neck: Neck) -> dict[Measurement, str]:
    """The measurements of a description that work has overtaken, each with what to do."""
    answer = {}
    for one in neck.measured:
        for work in neck.worked:
            if one.what in TOUCHES[work.part] and (one.date is None or one.date <= work.date):
                when = "is not dated" if one.date is None else f"is of {one.date}"
                answer[one] = (
                    f"{said(one)} was not used: it {when}, and work on the {work.part} is of {work.date}. Measure it anew and "
                    "date it, or give it with --measured."
                )
    return answer


def fresh(neck: Neck) -> tuple[Measurement, ...]:
    """The measurements that hold."""
    overtaken = stale(neck)
    return tuple(one for one in neck.measured if one not in overtaken)


def said(one: Measurement) -> str:
    """A measurement within a text: ``first fret clearance of string 3: 0.62 mm (±0.05 mm)``."""
    where = [f"{name} {number}" for name, number in (("fret", one.fret), ("string", one.string)) if number is not None]
    day = "" if one.date is None else f", {one.date}"
    return f"{one.what.replace('_', ' ')}{' of ' if where else ''}{', '.join(where)}: {one.mm:.2f} mm (±{one.u_mm:.2f} mm){day}"


def on_the_day(neck: Neck, *, measured: Sequence[Measurement] = (), worked: Collection[WorkedPart] = ()) -> Neck:
    """The description with what was measured for this inspection, and without what work has overtaken.

    `measured`: they replace entries of the same kind and place. `worked`: parts worked on since the entries of the description.
    """
    overtaken = {what for part in worked for what in TOUCHES[part]}
    overtaken |= {one.what for one in measured if one.string is None and one.fret is None}
    places = {(one.what, one.fret, one.string) for one in measured}
    kept = [one for one in fresh(neck) if one.what not in overtaken and (one.what, one.fret, one.string) not in places]
    return replace(neck, measured=(*kept, *measured), worked=())


def given(texts: Sequence[str], neck: Neck) -> tuple[Measurement, ...]:
    """Measurements as typed after ``--measured``: ``first_fret_clearance=0.62``, ``nut_to_fret@7=215.4``, ``…/3=0.024in``.

    Raises UsageError for a text that is none, or a value that cannot be; one line with the cure.
    """
    answer = []
    today = datetime.datetime.now(tz=datetime.UTC).astimezone().date()
    for text in texts:
        found = _GIVEN.fullmatch(text.replace(" ", ""))
        if found is None:
            raise UsageError(
                f"--measured {text}: write what=mm, such as first_fret_clearance=0.62, with @fret and /string where they belong "
                f"(nut_to_fret@7/1=215.4); known are {', '.join(MEASUREMENT_KINDS)}"
            )
        length: float | str = found["length"]
        with suppress(ValueError):
            length = float(length)
        row: dict[str, Any] = {key: int(found[key]) for key in ("fret", "string") if found[key] is not None}
        row |= {"what": found["what"], "in" if found["unit"] == "in" else "mm": length, "date": today}
        try:
            answer.append(measurement_of(MeasuredTable.model_validate(row), neck=neck, question=True))
        except ValidationError as error:
            raise UsageError(f"--measured {text}: {first_complaint(error, {'': MeasuredTable})}") from None
        except NeckError as error:
            raise UsageError(f"--measured {text}: {error}") from None
    return tuple(answer)


def worked_parts(texts: Sequence[str]) -> tuple[WorkedPart, ...]:
    """Parts as typed after ``--worked``. Raises UsageError for a part that is none."""
    for text in texts:
        if text not in get_args(WorkedPart):
            raise UsageError(f"--worked {one_of('part', text, get_args(WorkedPart)).removeprefix('part = ')}")
    return tuple(text for text in get_args(WorkedPart) if text in texts)
