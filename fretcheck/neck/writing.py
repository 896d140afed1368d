"""A neck description as plain data, and what a person may add to its file.

Conventions: lengths are written in mm. What is unknown or at its default is left out; `neck_from_mapping` gives back an equal
`Neck`.
"""

import datetime
import textwrap
from dataclasses import fields
from typing import Any

from fretcheck.neck.described_strings import climbs
from fretcheck.neck.description import Measurement, Neck, PartialFret, Sides, String, Worked
from fretcheck.neck.materials import MATERIALS
from fretcheck.neck.measurement import MEASUREMENT_KINDS, TOOL_U_MM
from fretcheck.neck.tables import text

WIDTH = 118
LISTS = ("strings", "partial_frets", "measured", "worked")  # of records, written last
ALWAYS_WRITTEN = ("reference_hz", "zero_fret", "tolerance_cents")


def neck_to_mapping(neck: Neck) -> dict[str, Any]:
    """The description as plain data (text, numbers, lists, dicts), fit for TOML and JSON.

    Required keys are always present, in the order of the records; a string's own scale length only where it differs.
    """
    data = _given(neck)
    if climbs(neck.strings):
        data["from"] = "treble"
    for name in LISTS:
        if getattr(neck, name):
            data[name] = [_given(record) for record in getattr(neck, name)]
    for row in data["strings"]:
        if row["scale_length_mm"] == neck.scale_length_mm:
            del row["scale_length_mm"]
    return data


def _given(record: Neck | String | Measurement | PartialFret | Worked) -> dict[str, Any]:
    """Fields of a record that differ from their default, and those that a reader wants to see in any case."""
    values = {item.name: (getattr(record, item.name), item.default) for item in fields(record)}
    if isinstance(record, Neck):
        values = {name: pair for name, pair in values.items() if name not in LISTS}
    return {name: _plain(value) for name, (value, default) in values.items() if value != default or name in ALWAYS_WRITTEN}


def _plain(value: object) -> object:
    """As TOML and JSON hold it."""
    if isinstance(value, Sides):
        return value.treble if value.treble == value.bass else {"treble": value.treble, "bass": value.bass}
    if isinstance(value, tuple):
        return list(value)
    return value.isoformat() if isinstance(value, datetime.date) else value


def more_help(neck: Neck) -> str:
    """Comment lines to stand below a description: what else the file takes, and how measurements are entered on this neck."""
    octave = neck.octave_fret
    told = {"fret": octave, "mm": f"{neck.nut_distance_mm(octave):.1f}", "tools": " | ".join(TOOL_U_MM)}
    lines = text("more_help").substitute(told, materials=", ".join(MATERIALS)).splitlines()
    for kind in MEASUREMENT_KINDS.values():
        needs = [f"{name} {need}" for name, need in (("fret", kind.fret), ("string", kind.string)) if need != "no"]
        lines.append(f"{kind.what}{' (' + ', '.join(needs) + ')' if needs else ''}: {kind.meaning}")
    wrapped = [part for line in lines for part in textwrap.wrap(line, width=WIDTH, subsequent_indent="    ") or [""]]
    return "\n".join(f"# {line}".rstrip() for line in wrapped) + "\n"
