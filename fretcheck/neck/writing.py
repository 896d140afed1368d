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

WIDTH = 118
ALWAYS_WRITTEN = ("reference_hz", "zero_fret", "tolerance_cents")


def neck_to_mapping(neck: Neck) -> dict[str, Any]:
    """The description as plain data (text, numbers, lists, dicts), fit for TOML and JSON.

    Required keys are always present, in the order of the records; a string's own scale length only where it differs.
    """
    data = _given(neck, leave_out=("strings", "measured", "worked", "partial_frets"))
    if climbs(neck.strings):
        data["from"] = "treble"
    data["strings"] = []
    for string in neck.strings:
        row = _given(string)
        if string.scale_length_mm == neck.scale_length_mm:
            del row["scale_length_mm"]
        data["strings"].append(row)
    if neck.partial_frets:
        data["partial_frets"] = [_given(partial) for partial in neck.partial_frets]
    if neck.measured:
        data["measured"] = [_given(measurement) for measurement in neck.measured]
    if neck.worked:
        data["worked"] = [_given(work) for work in neck.worked]
    return data


def _given(record: Neck | String | Measurement | PartialFret | Worked, *, leave_out: tuple[str, ...] = ()) -> dict[str, Any]:
    """Fields of a record that differ from their default, and those that a reader wants to see in any case."""
    values = {item.name: (getattr(record, item.name), item.default) for item in fields(record) if item.name not in leave_out}
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
    lines = [
        'More that this file takes. Every length also in inches (…_in), fractions in quotes as in "25 1/2".',
        "  serial; tolerance_mm, for a fret's place",
        "  as it is set up: relief_mm, action_12_mm, first_fret_clearance_mm (one number, or { treble = 1.8, bass = 2.2 });",
        "  what was measured on this very neck goes into [[measured]] instead",
        "  nut_compensation_mm: a nut set forward on purpose; capo_fret: a capo that stays on as the nut;",
        "  tuned_semitones: all strings lower or higher than their notes say",
        "  fanned frets: scale_length_treble_mm, scale_length_bass_mm, square_fret",
        "  other frets: divisions_per_octave, fret_steps, fret_positions_mm, and [[partial_frets]] with fret and strings",
        "  strings one by one: [[strings]] with note, gauge_mm, construction (plain | wound), material, and what is known of",
        "  core_mm, core_material, mass_per_length_g_m, tension_n, saddle_setback_mm, nut_compensation_mm, scale_length_mm,",
        "  first_fret, course",
        f"  materials: {', '.join(MATERIALS)}",
        "",
        "Measured by hand, as many as you like; each one narrows the diagnosis. For example:",
        "",
        "[[measured]]",
        'what = "nut_to_fret"',
        f"fret = {octave}",
        f"mm = {neck.nut_distance_mm(octave):.1f}",
        f'tool = "rule"    # {" | ".join(TOOL_U_MM)}; or u_mm, its standard uncertainty',
        "",
    ]
    for kind in MEASUREMENT_KINDS.values():
        needs = [f"{name} {need}" for name, need in (("fret", kind.fret), ("string", kind.string)) if need != "no"]
        lines.append(f"{kind.what}{' (' + ', '.join(needs) + ')' if needs else ''}: {kind.meaning}")
    wrapped = [part for line in lines for part in textwrap.wrap(line, width=WIDTH, subsequent_indent="    ") or [""]]
    return "\n".join(f"# {line}".rstrip() for line in wrapped) + "\n"
