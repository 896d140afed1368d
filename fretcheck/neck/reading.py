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
from fretcheck.files import read_whole
from fretcheck.neck.complaint import complaint, first_complaint, in_file, length_cure, require, shown
from fretcheck.neck.described_measurements import measurement_of
from fretcheck.neck.described_strings import length_mm, strings_of
from fretcheck.neck.description import Neck, PartialFret, Sides
from fretcheck.neck.schema import SIDES_MM, NeckTable

MAX_FILE_BYTES = 1_000_000


def read_neck(path: str | Path) -> Neck:
    r"""Read neck.toml.

    Parameters
    ----------
    path : str or Path
        A UTF-8 text file of at most 1 MB.

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
    return neck_from_mapping(data, source=path)


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
        return _neck(NeckTable.model_validate(data))
    except ValidationError as error:
        raise in_file(first_complaint(error), source) from None
    except NeckError as error:
        raise in_file(error, source) from None


def _neck(table: NeckTable) -> Neck:
    own = [length_mm(row, "scale_length", place=f"string {number}") for number, row in enumerate(table.strings, start=1)]
    scale = length_mm(table, "scale_length")
    if scale is None:
        lengths = [length for length in own if length is not None]
        missing = '"scale_length_mm" (or scale_length_in) is missing: give it once, or for every string'
        require(len(lengths) == len(own), missing, key="scale_length_mm")
        scale = (min(lengths) + max(lengths)) / 2.0
    frets = _frets(table, scale_length_mm=scale)
    given = [key for key in ("square_fret", "perpendicular_fret") if getattr(table, key) is not None]
    require(len(given) < 2, "give square_fret only: perpendicular_fret is its older name", key="square_fret")
    square = getattr(table, given[0]) if given else None
    if square is not None:
        alone = "is for fanned frets: give the strings a scale_length_mm of their own, or leave it out"
        fanned = any(length not in (None, scale) for length in own)
        for right, message in ((fanned, alone), (square <= frets, f"lies beyond the last fret, {frets}")):
            require(right, f"{given[0]} = {square} {message}", key=given[0], value=square)
    neck = Neck(
        name=table.name,
        serial=table.serial,
        reference_hz=table.reference_hz,
        scale_length_mm=scale,
        frets=frets,
        zero_fret=table.zero_fret,
        tolerance_cents=table.tolerance_cents,
        tolerance_mm=table.tolerance_mm,
        square_fret=square,
        divisions_per_octave=table.divisions_per_octave,
        fret_steps=None if table.fret_steps is None else tuple(table.fret_steps),
        fret_positions_mm=None if table.fret_positions_mm is None else tuple(table.fret_positions_mm),
        partial_frets=_partial_frets(table, frets=frets),
        saddle_moves=table.saddle_moves,
        action_12_mm=_sides(table.action_12_mm, "action_12_mm"),
        u_action_12_mm=table.u_action_12_mm,
        relief_mm=table.relief_mm,
        u_relief_mm=table.u_relief_mm,
        first_fret_clearance_mm=_sides(table.first_fret_clearance_mm, "first_fret_clearance_mm"),
        u_first_fret_clearance_mm=table.u_first_fret_clearance_mm,
        strings=strings_of(table, scale_lengths_mm=[length or scale for length in own], frets=frets),
    )
    for number in range(1, len(neck.strings) + 1):
        require(
            bool(neck.frets_of(number)), "no fret runs under it: check partial_frets", place=f"string {number}", key="strings"
        )
    over_zero = "is for a nut: the zero fret carries the strings, leave it out (measured, it goes into [[measured]])"
    clearance = table.first_fret_clearance_mm
    free = clearance is None or not table.zero_fret
    require(free, f"first_fret_clearance_mm {over_zero}", key="first_fret_clearance_mm", value=clearance)
    measured = tuple(measurement_of(row, number=number, neck=neck) for number, row in enumerate(table.measured, start=1))
    return replace(neck, measured=measured)


def _frets(table: NeckTable, *, scale_length_mm: float) -> int:
    """Number of frets: given, or counted from their steps or positions, which are checked."""
    for key, values, low, last, unit in (
        ("fret_steps", table.fret_steps, 1, 5 * table.divisions_per_octave, "steps"),
        ("fret_positions_mm", table.fret_positions_mm, 1.0, 0.97 * scale_length_mm, "mm"),
    ):
        if values is None:
            continue
        rising = all(before < after for before, after in pairwise(values))
        require(
            rising, f"{key} must rise from the nut: each fret lies farther from it than the one before", key=key, value=values
        )
        inside = low <= values[0] and values[-1] <= last
        allowed = f"{key} = {shown(values[0])} … {shown(values[-1])} lies outside the allowed {low:g} to {last:g} {unit}"
        require(inside, allowed, key=key, value=values)
        if table.frets is not None:
            count = f"{key} holds {len(values)} frets, but frets = {table.frets}: leave frets out, or make them agree"
            require(len(values) == table.frets, count, key=key, value=values)
    both = "give fret_steps or fret_positions_mm, not both"
    require(table.fret_steps is None or table.fret_positions_mm is None, both, key="fret_positions_mm")
    equal = "divisions_per_octave says nothing where fret_positions_mm are given: leave it out"
    require(table.fret_positions_mm is None or table.divisions_per_octave == 12, equal, key="divisions_per_octave")
    frets = table.frets or len(table.fret_steps or table.fret_positions_mm or ())
    require(frets > 0, '"frets" is missing (number of frets, a zero fret not counted)', key="frets")
    return frets


def _partial_frets(table: NeckTable, *, frets: int) -> tuple[PartialFret, ...]:
    """Frets that do not run under all strings, each named once."""
    found: dict[int, PartialFret] = {}
    for number, row in enumerate(table.partial_frets, start=1):
        place, count = f"partial fret {number}", len(table.strings)
        require(row.fret <= frets, f"fret = {row.fret}: this neck has {frets} frets", place=place, key="fret", value=row.fret)
        require(row.fret not in found, f"fret = {row.fret} is named twice", place=place, key="fret", value=row.fret)
        known = all(1 <= string <= count for string in row.strings)
        require(
            known, f"strings = {row.strings}: this neck has strings 1 to {count}", place=place, key="strings", value=row.strings
        )
        found[row.fret] = PartialFret(fret=row.fret, strings=tuple(sorted(set(row.strings))))
    return tuple(found[fret] for fret in sorted(found))


def _sides(value: object, key: str) -> Sides | None:
    """A height given once, or at both edges of the neck."""
    if value is None:
        return None
    sides: dict[str, Any] = value if isinstance(value, dict) else {"treble": value, "bass": value}
    for side in sides:
        require(side in ("treble", "bass"), f'{key}: unknown side "{side}": write treble and bass', key=key, value=value)
    for side in ("treble", "bass"):
        require(
            side in sides, f"{key}: {side} is missing: write {{ treble = 1.8, bass = 2.2 }}, or one number", key=key, value=value
        )
        one, (low, high) = sides[side], SIDES_MM[key]
        number = isinstance(one, int | float) and not isinstance(one, bool)
        form = "must be a number, or { treble = …, bass = … }"
        require(number, f"{key} = {shown(one)} {form}", key=key, value=value)
        cure = length_cure(key, one, limits=(low, high))
        allowed = f"lies outside the allowed {low:g} to {high:g} mm{cure}"
        require(low <= one <= high, f"{key} = {shown(one)} {allowed}", key=key, value=value)
    return Sides(treble=float(sides["treble"]), bass=float(sides["bass"]))
