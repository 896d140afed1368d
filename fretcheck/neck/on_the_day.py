"""Measurements by hand given with one inspection, and those that work on their part has made stale.

Conventions: a measurement of a part that was worked on is not used unless it is dated later than the work: of the same day
nobody knows which came first. What is given with an inspection was measured for it.
"""

import datetime
import re
from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import get_args

from fretcheck.errors import NeckError, UsageError
from fretcheck.neck.complaint import one_of
from fretcheck.neck.described_measurements import measurement_of
from fretcheck.neck.description import Measurement, Neck, WorkedPart
from fretcheck.neck.measurement import MEASUREMENT_KINDS
from fretcheck.neck.toml_tables import MeasuredTable

# What work on a part changes: new strings pull the neck otherwise, frets made lower leave more over them
TOUCHES: dict[WorkedPart, tuple[str, ...]] = {
    "nut": ("first_fret_clearance", "nut_to_fret", "nut_to_saddle", "action_12"),
    "saddle": ("nut_to_saddle", "action_12", "first_fret_clearance"),
    "frets": ("nut_to_fret", "fret_to_fret", "first_fret_clearance", "action_12"),
    "neck": ("relief", "action_12", "first_fret_clearance"),
    "strings": ("relief", "action_12", "first_fret_clearance"),
}
_GIVEN = re.compile(r"(?P<what>[a-z_0-9]+?)(?:@(?P<fret>\d+))?(?:/(?P<string>\d+))?=(?P<length>.+?)(?P<unit>in|mm)?")


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
    where = [f"fret {one.fret}"] if one.fret is not None else []
    where += [f"string {one.string}"] if one.string is not None else []
    day = "" if one.date is None else f", {one.date}"
    what = one.what.replace("_", " ")
    return f"{what}{' of ' if where else ''}{', '.join(where)}: {one.mm:.2f} mm (±{one.u_mm:.2f} mm){day}"


def on_the_day(neck: Neck, *, measured: Sequence[Measurement] = (), worked: Collection[WorkedPart] = ()) -> Neck:
    """The description with what was measured for this inspection, and without what work has overtaken.

    `measured`: they replace entries of the same kind and place. `worked`: parts worked on since the entries of the description.
    """
    overtaken = {what for part in worked for what in TOUCHES[part]}
    places = {(one.what, one.fret, one.string) for one in measured}
    whole = {one.what for one in measured if one.string is None and one.fret is None}
    kept = [
        one
        for one in fresh(neck)
        if one.what not in overtaken and one.what not in whole and (one.what, one.fret, one.string) not in places
    ]
    return replace(neck, measured=(*kept, *measured), worked=())


def given(texts: Sequence[str], neck: Neck) -> tuple[Measurement, ...]:
    """Measurements as typed after ``--measured``: ``first_fret_clearance=0.62``, ``nut_to_fret@7=215.4``, ``…/3=0.024in``.

    Raises UsageError for a text that is none, or a value that cannot be; one line with the cure.
    """
    answer = []
    for text in texts:
        found = _GIVEN.fullmatch(text.replace(" ", ""))
        if found is None:
            raise UsageError(
                f"--measured {text}: write what=mm, such as first_fret_clearance=0.62, with @fret and /string where they belong "
                f"(nut_to_fret@7/1=215.4); known are {', '.join(MEASUREMENT_KINDS)}"
            )
        fret, string, length = found["fret"], found["string"], found["length"]
        try:
            row = MeasuredTable.model_validate(
                {
                    "what": found["what"],
                    "in" if found["unit"] == "in" else "mm": _number(length),
                    "fret": None if fret is None else int(fret),
                    "string": None if string is None else int(string),
                    "date": datetime.datetime.now(tz=datetime.UTC).astimezone().date(),
                }
            )
            answer.append(measurement_of(row, number=1, neck=neck, question=True))
        except NeckError as error:
            raise UsageError(f"--measured {text}: {str(error).removeprefix('measurement 1: ')}") from None
        except ValueError:
            raise UsageError(f"--measured {text}: fret and string are numbers of this neck, from 1") from None
    return tuple(answer)


def worked_parts(texts: Sequence[str]) -> tuple[WorkedPart, ...]:
    """Parts as typed after ``--worked``. Raises UsageError for a part that is none."""
    for text in texts:
        if text not in get_args(WorkedPart):
            raise UsageError(f"--worked {one_of('part', text, get_args(WorkedPart)).removeprefix('part = ')}")
    return tuple(text for text in get_args(WorkedPart) if text in texts)


def _number(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text
