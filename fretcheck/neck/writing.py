"""Writes a neck description: plain data, or a commented neck.toml to edit by hand.

Conventions
-----------
Lengths are written in mm. What is unknown or at its default is left out; `read_neck` and `neck_from_mapping` give back an equal
`Neck`.
"""

from __future__ import annotations

import datetime
import textwrap
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fretcheck.files import write_text
from fretcheck.neck.described_strings import climbs
from fretcheck.neck.description import Measurement, Neck, PartialFret, Sides, String
from fretcheck.neck.materials import MATERIALS
from fretcheck.neck.measurement import MEASUREMENT_KINDS

if TYPE_CHECKING:
    from tomlkit.items import Table

ALWAYS_WRITTEN = ("reference_hz", "zero_fret", "tolerance_cents")


def neck_to_mapping(neck: Neck) -> dict[str, Any]:
    """The description as plain data (text, numbers, lists, dicts), fit for TOML and JSON.

    Required keys are always present, in the order of the records; a string's own scale length only where it differs.
    """
    data = _given(neck, leave_out=("strings", "measured", "partial_frets"))
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
    return data


def _given(record: Neck | String | Measurement | PartialFret, *, leave_out: tuple[str, ...] = ()) -> dict[str, Any]:
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


def neck_text(neck: Neck, *, heading: str = "", remark: str = "") -> str:
    """A commented neck.toml.

    Parameters
    ----------
    neck : Neck
    heading : str
        First comment line; nothing when empty.
    remark : str
        Comment on the tolerance, written below it; nothing when empty.
    """
    import tomlkit
    from tomlkit.items import AoT

    from fretcheck.neck.schema import MeasuredTable, NeckTable, PartialFretTable, StringTable

    data = neck_to_mapping(neck)
    document = tomlkit.document()
    if heading:
        document.add(tomlkit.comment(heading))
    for line in (
        "Lengths in mm; gauge_in, core_in and scale_length_in take inches instead.",
        "The scale length carries no compensation; the saddle's goes into each string's saddle_setback_mm.",
    ):
        document.add(tomlkit.comment(line))
    document.add(tomlkit.nl())
    for key, value in data.items():
        if key not in ("strings", "measured", "partial_frets"):
            document.add(key, _commented(value, NeckTable.model_fields["starts_from" if key == "from" else key].description))
    for line in textwrap.wrap(remark, width=110):
        document.add(tomlkit.comment(line))
    document.add(
        tomlkit.comment("also: serial, tolerance_mm; for fanned frets square_fret, and a scale_length_mm in each string;")
    )
    document.add(tomlkit.comment("as it is set up: action_12_mm (one number, or { treble = 1.8, bass = 2.2 }), relief_mm,"))
    document.add(tomlkit.comment("first_fret_clearance_mm; what was measured on this very neck goes into [[measured]] instead"))
    tables: list[Table] = []
    for number, row in enumerate(data["strings"], start=1):
        tables.append(_table(row, StringTable.model_fields, commented=number == 1))
        if number == 1:
            for line in _string_help():
                tables[0].add(tomlkit.comment(line))
    document.add(tomlkit.nl())
    document.add("strings", AoT(tables))
    if neck.partial_frets:
        rows = [_table(row, PartialFretTable.model_fields, commented=False) for row in data["partial_frets"]]
        document.add("partial_frets", AoT(rows))
    if neck.measured:
        document.add("measured", AoT([_table(row, MeasuredTable.model_fields, commented=False) for row in data["measured"]]))
    return tomlkit.dumps(document).rstrip("\n") + "\n\n" + "\n".join(_measured_help(neck)) + "\n"


def _commented(value: Any, comment: str | None) -> Any:
    import tomlkit

    item = tomlkit.item(value)
    return item.comment(comment) if comment else item


def _table(row: dict[str, Any], model_fields: dict[str, Any], *, commented: bool) -> Table:
    import tomlkit

    table = tomlkit.table()
    for key, value in row.items():
        table.add(key, _commented(value, model_fields[key].description if commented else None))
    return table


def _string_help() -> list[str]:
    """What else a string can tell."""
    more = "also: core_mm, core_material (wound), mass_per_length_g_m, tension_n, saddle_setback_mm, first_fret, course"
    return [*textwrap.wrap(f"material and core_material: {', '.join(MATERIALS)}", width=110), more]


def _measured_help(neck: Neck) -> list[str]:
    """Comment that explains ``[[measured]]``: an example on this neck, then every kind."""
    fret = min(12, neck.frets)
    mm = neck.nut_distance_mm(fret)
    lines = [
        "# Measured by hand, as many as you like; each one narrows the diagnosis. For example:",
        "#",
        "# [[measured]]",
        '# what = "nut_to_fret"',
        f"# fret = {fret}",
        f"# mm = {mm:.1f}",
        "# u_mm = 0.1    # standard uncertainty",
        "#",
    ]
    for kind in MEASUREMENT_KINDS.values():
        needs = [f"{name} {need}" for name, need in (("fret", kind.fret), ("string", kind.string)) if need != "no"]
        said = f"{kind.what}{' (' + ', '.join(needs) + ')' if needs else ''}: {kind.meaning}"
        lines += textwrap.wrap(said, width=110, initial_indent="# ", subsequent_indent="#     ")
    return lines


def write_neck(neck: Neck, path: Path, *, heading: str = "", remark: str = "", overwrite: bool = False) -> None:
    """Write a commented neck.toml; `heading` and `remark` as in `neck_text`.

    Raises
    ------
    UsageError
        The file exists and `overwrite` is False.
    StorageError
        The file cannot be written.
    """
    text = neck_text(neck, heading=heading, remark=remark)
    write_text(path, text, force=overwrite)
