"""Reads a neck description: neck.toml, or the same as plain data, becomes a `Neck`.

Conventions: whatever is wrong is raised as one `NeckError` that names file, place, key, value, allowed range and, where it can
be guessed, the cure. A `Neck` that comes out of here has been checked throughout.
"""

import re
import tomllib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from fretcheck.errors import NeckError
from fretcheck.files import read_whole
from fretcheck.neck.complaint import complaint, first_complaint, in_file, require
from fretcheck.neck.described_frets import fret_count, partial_frets, square_fret, with_capo
from fretcheck.neck.described_measurements import measurement_of, worked_of
from fretcheck.neck.described_strings import strings_of
from fretcheck.neck.description import Neck, Sides
from fretcheck.neck.lengths import lengths_in_mm
from fretcheck.neck.short_forms import at_sides, places_across, string_rows
from fretcheck.neck.toml_tables import NeckTable, StringTable

MAX_FILE_BYTES = 1_000_000


def read_neck(path: str | Path, *, serial: str | None = None) -> Neck:
    r"""Read neck.toml.

    Parameters
    ----------
    path : str or Path
        A UTF-8 text file of at most 1 MB.
    serial : str, optional
        In place of the file's own: one description serves many necks.

    Raises
    ------
    NeckError
        No such file, no TOML, or a description that cannot be used.

    Examples
    --------
    >>> import tempfile
    >>> strings = "".join(
    ...     f'[[strings]]\nnote = "{note}"\ngauge_mm = 0.43\nconstruction = "plain"\nmaterial = "steel"\n'
    ...     for note in ("A3", "E3", "C3")
    ... )
    >>> with tempfile.NamedTemporaryFile("w", suffix=".toml") as file:
    ...     _ = file.write(f'name = "Board"\nscale_length_mm = 648.0\nfrets = 12\n{strings}')
    ...     file.flush()
    ...     neck = read_neck(file.name)
    >>> neck.frets, neck.tolerance_cents, neck.string(1).note
    (12, 3.0, 'A3')
    """
    path = Path(path)
    try:
        data = _toml_data(path)
    except NeckError as error:
        raise in_file(error, path) from None
    if serial is not None:
        data["serial"] = serial
    return neck_from_mapping(data, source=path, typed=True)


def _toml_data(path: Path) -> dict[str, Any]:
    raw = read_whole(path, most_bytes=MAX_FILE_BYTES, refuse=_refused)
    try:
        text = raw.decode("utf-8-sig")
        return tomllib.loads(text)
    except UnicodeDecodeError:
        raise complaint("is not UTF-8 text: is this the neck.toml? then save it as UTF-8") from None
    except RecursionError:
        raise complaint("broken TOML: lists within lists too deep to read") from None
    except ValueError as error:  # TOMLDecodeError, or a number of thousands of digits
        raise complaint(_toml_sentence(str(error), lines=len(text.splitlines()))) from None


def _refused(why: str) -> NeckError:
    return complaint({"is a folder": "is a folder: name the neck.toml inside it"}.get(why, why))


def _toml_sentence(text: str, *, lines: int) -> str:
    """tomllib's complaint with the line first, and what it usually means; `lines` is the length of the file."""
    where = re.search(r" ?\(at (?:line (\d+), column \d+|end of document)\)", text)
    reason = text[: where.start()] if where else text
    hint = " (a key or table is written twice)" if reason.startswith(("Cannot overwrite", "Cannot declare")) else ""
    line = where[1] if where and where[1] else lines
    return f"line {line}: broken TOML: {reason[:1].lower()}{reason[1:]}{hint}"


def neck_from_mapping(data: dict[str, Any], *, source: Path | None = None, typed: bool = False) -> Neck:
    """Build the `Neck` from the data of a neck.toml.

    `data`: as TOML or JSON parsers give it. `source`: the file it came from, for the error texts. `typed`: a person wrote it:
    lengths that fit the other unit better are questioned.
    Raises NeckError: the description cannot be used.
    """
    try:
        return _neck(NeckTable.model_validate(_lengths_in_mm(data, typed=typed)), typed=typed)
    except ValidationError as error:
        raise in_file(first_complaint(error), source) from None
    except NeckError as error:
        raise in_file(error, source) from None


def _lengths_in_mm(data: dict[str, Any], *, typed: bool) -> dict[str, Any]:
    """The whole description with its lengths in mm; those of measurements are checked by their kind later."""
    found = lengths_in_mm(data, question=typed)
    rows = found.get("strings")
    if isinstance(rows, list):
        found["strings"] = [
            _in_place(row, place=f"string {number}", typed=typed) if isinstance(row, dict) else row
            for number, row in enumerate(rows, start=1)
        ]
    return found


def _in_place(row: dict[str, Any], *, place: str, typed: bool) -> dict[str, Any]:
    try:
        return lengths_in_mm(row, question=typed)
    except NeckError as error:
        raise complaint(str(error), place=place, key=error.key, value=error.value) from None


def _neck(table: NeckTable, *, typed: bool) -> Neck:
    rows, turned = string_rows(table)
    scale, scales = _scale_lengths(table, rows)
    frets = fret_count(table, scale_length_mm=scale)
    clearance = (
        None if table.first_fret_clearance_mm is None else _sides(table.first_fret_clearance_mm, "first_fret_clearance_mm")
    )
    over_zero = "first_fret_clearance_mm is for a nut, but a zero fret or capo carries the strings: leave it out"
    require(clearance is None or not (table.zero_fret or table.capo_fret), over_zero, key="first_fret_clearance_mm")
    neck = Neck(
        name=table.name,
        serial=table.serial,
        reference_hz=table.reference_hz,
        scale_length_mm=scale,
        frets=frets,
        zero_fret=table.zero_fret,
        tolerance_cents=table.tolerance_cents,
        tolerance_mm=table.tolerance_mm,
        square_fret=square_fret(table, frets=frets, fanned=any(length != scale for length in scales)),
        divisions_per_octave=table.divisions_per_octave,
        fret_steps=None if table.fret_steps is None else tuple(table.fret_steps),
        fret_positions_mm=None if table.fret_positions_mm is None else tuple(table.fret_positions_mm),
        partial_frets=partial_frets(table, frets=frets, strings=len(rows)),
        saddle_moves=table.saddle_moves,
        action_12_mm=None if table.action_12_mm is None else _sides(table.action_12_mm, "action_12_mm"),
        u_action_12_mm=table.u_action_12_mm,
        relief_mm=table.relief_mm,
        u_relief_mm=table.u_relief_mm,
        first_fret_clearance_mm=clearance,
        u_first_fret_clearance_mm=table.u_first_fret_clearance_mm,
        strings=strings_of(table, rows, turned=turned, scale_lengths_mm=scales, frets=frets),
    )
    for number in range(1, len(neck.strings) + 1):
        under = "no fret runs under it: check partial_frets"
        require(bool(neck.frets_of(number)), under, place=f"string {number}", key="partial_frets")
    if table.capo_fret is not None:
        neck = with_capo(neck, table.capo_fret)
    measured = tuple(
        measurement_of(row, number=number, neck=neck, question=typed) for number, row in enumerate(table.measured, start=1)
    )
    worked = tuple(worked_of(row, number=number) for number, row in enumerate(table.worked, start=1))
    return replace(neck, measured=measured, worked=worked)


def _scale_lengths(table: NeckTable, rows: Sequence[StringTable]) -> tuple[float, list[float]]:
    """The neck's own scale length, and each string's."""
    treble, bass = table.scale_length_treble_mm, table.scale_length_bass_mm
    if treble is not None or bass is not None:
        one = "bass" if bass is None else "treble"
        if treble is None or bass is None:
            raise complaint(f"scale_length_{one}_mm is missing: a fan needs both sides", key=f"scale_length_{one}_mm")
        only = "give scale_length_mm, or scale_length_treble_mm and scale_length_bass_mm, not both"
        require(table.scale_length_mm is None, only, key="scale_length_mm", value=table.scale_length_mm)
        own = [treble + (bass - treble) * place for place in places_across(rows)]
        own = [length if row.scale_length_mm is None else row.scale_length_mm for length, row in zip(own, rows, strict=True)]
        return (treble + bass) / 2.0, own
    given = [row.scale_length_mm for row in rows]
    lengths = [length for length in given if length is not None]
    missing = '"scale_length_mm" (or scale_length_in) is missing: give it once, or for every string'
    require(table.scale_length_mm is not None or len(lengths) == len(rows), missing, key="scale_length_mm")
    scale = table.scale_length_mm if table.scale_length_mm is not None else (min(lengths) + max(lengths)) / 2.0
    return scale, [scale if length is None else length for length in given]


def _sides(value: float | dict[str, float], key: str) -> Sides:
    treble, bass = at_sides(value, key=key)
    return Sides(treble=treble, bass=bass)
