"""Reads a neck description: neck.toml, or the same as plain data, becomes a `Neck`.

Conventions: whatever is wrong is raised as one `NeckError` that names file, place, key, value, allowed range and, where it can
be guessed, the cure. A `Neck` that comes out of here has been checked throughout.
"""

import re
import tomllib
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from fretcheck.errors import NeckError
from fretcheck.files import read_whole
from fretcheck.neck.complaint import at, complaint, first_complaint, require
from fretcheck.neck.described_strings import string_rows, strings_of
from fretcheck.neck.description import Neck, PartialFret, Worked, places_across
from fretcheck.neck.lengths import shown
from fretcheck.neck.measured import measurement_of
from fretcheck.neck.temperament import midi_to_note, note_to_midi
from fretcheck.neck.toml_tables import TABLES, NeckTable, StringTable

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
    with at(path):
        data = _toml_data(path)
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
    with at(source):
        try:
            table = NeckTable.model_validate(data, context={"typed": typed})
        except ValidationError as error:
            raise first_complaint(error, TABLES) from None
        return _neck(table, typed=typed)


def _neck(table: NeckTable, *, typed: bool) -> Neck:
    rows, turned = string_rows(table)
    scale, scales = _scale_lengths(table, rows)
    frets = _fret_count(table, scale_length_mm=scale)
    over_zero = "first_fret_clearance_mm is for a nut, but a zero fret or capo carries the strings: leave it out"
    on_nut = not (table.zero_fret or table.capo_fret)
    require(table.first_fret_clearance_mm is None or on_nut, over_zero, key="first_fret_clearance_mm")
    neck = table.record(
        Neck,
        scale_length_mm=scale,
        frets=frets,
        square_fret=_square_fret(table, frets=frets, fanned=any(length != scale for length in scales)),
        partial_frets=_partial_frets(table, frets=frets, strings=len(rows)),
        strings=strings_of(table, rows, turned=turned, scale_lengths_mm=scales, frets=frets),
        measured=(),
        worked=[row.record(Worked) for row in table.worked],
    )
    for number in range(1, len(neck.strings) + 1):
        with at(f"string {number}"):
            require(bool(neck.frets_of(number)), "no fret runs under it: check partial_frets", key="partial_frets")
    if table.capo_fret is not None:
        neck = with_capo(neck, table.capo_fret)
    measured = []
    for number, row in enumerate(table.measured, start=1):
        with at(f"measurement {number}"):
            measured.append(measurement_of(row, neck=neck, question=typed))
    return replace(neck, measured=tuple(measured))


def _scale_lengths(table: NeckTable, rows: Sequence[StringTable]) -> tuple[float, list[float]]:
    """The neck's own scale length, and each string's."""
    treble, bass = table.scale_length_treble_mm, table.scale_length_bass_mm
    if treble is not None or bass is not None:
        one = "bass" if bass is None else "treble"
        if treble is None or bass is None:
            raise complaint(f"scale_length_{one}_mm is missing: a fan needs both sides", key=f"scale_length_{one}_mm")
        only = "give scale_length_mm, or scale_length_treble_mm and scale_length_bass_mm, not both"
        require(table.scale_length_mm is None, only, key="scale_length_mm", value=table.scale_length_mm)
        own = [treble + (bass - treble) * place for place in places_across(row.course for row in rows)]
        own = [length if row.scale_length_mm is None else row.scale_length_mm for length, row in zip(own, rows, strict=True)]
        return (treble + bass) / 2.0, own
    given = [row.scale_length_mm for row in rows]
    lengths = [length for length in given if length is not None]
    missing = '"scale_length_mm" (or scale_length_in) is missing: give it once, or for every string'
    require(table.scale_length_mm is not None or len(lengths) == len(rows), missing, key="scale_length_mm")
    scale = table.scale_length_mm if table.scale_length_mm is not None else (min(lengths) + max(lengths)) / 2.0
    return scale, [scale if length is None else length for length in given]


def _fret_count(table: NeckTable, *, scale_length_mm: float) -> int:
    """Number of frets: given, or counted from their steps or positions, which are checked."""
    for key, values, low, last, unit in (
        ("fret_steps", table.fret_steps, 1, 5 * table.divisions_per_octave, "steps"),
        ("fret_positions_mm", table.fret_positions_mm, 1.0, 0.97 * scale_length_mm, "mm"),
    ):
        if values is None:
            continue
        rising = all(before < after for before, after in pairwise(values))
        must = f"{key} must rise from the nut: each fret lies farther from it than the one before"
        require(rising, must, key=key, value=values)
        inside = low <= values[0] and values[-1] <= last
        allowed = f"{key} = {shown(values[0])} … {shown(values[-1])} lies outside the allowed {low:g} to {last:g} {unit}"
        require(inside, allowed, key=key, value=values)
        count = f"{key} holds {len(values)} frets, but frets = {table.frets}: leave frets out, or make them agree"
        require(table.frets in (None, len(values)), count, key=key, value=values)
    both = "give fret_steps or fret_positions_mm, not both"
    require(table.fret_steps is None or table.fret_positions_mm is None, both, key="fret_positions_mm")
    equal = "divisions_per_octave says nothing where fret_positions_mm are given: leave it out"
    require(table.fret_positions_mm is None or table.divisions_per_octave == 12, equal, key="divisions_per_octave")
    frets = table.frets or len(table.fret_steps or table.fret_positions_mm or ())
    require(frets > 0, '"frets" is missing (number of frets, a zero fret not counted)', key="frets")
    return frets


def _partial_frets(table: NeckTable, *, frets: int, strings: int) -> tuple[PartialFret, ...]:
    """Frets that do not run under all strings, each named once."""
    found: dict[int, PartialFret] = {}
    for number, row in enumerate(table.partial_frets, start=1):
        known = all(1 <= string <= strings for string in row.strings)
        with at(f"partial fret {number}"):
            require(row.fret <= frets, f"fret = {row.fret}: this neck has {frets} frets", key="fret", value=row.fret)
            require(row.fret not in found, f"fret = {row.fret} is named twice", key="fret", value=row.fret)
            beyond = f"strings = {shown(row.strings)}: this neck has strings 1 to {strings}"
            require(known, beyond, key="strings", value=row.strings)
        found[row.fret] = PartialFret(fret=row.fret, strings=tuple(sorted(set(row.strings))))
    return tuple(found[fret] for fret in sorted(found))


def _square_fret(table: NeckTable, *, frets: int, fanned: bool) -> int | None:
    """The straight fret of a fanned neck, under its present or its older name."""
    given = [key for key in ("square_fret", "perpendicular_fret") if getattr(table, key) is not None]
    require(len(given) < 2, "give square_fret only: perpendicular_fret is its older name", key="square_fret")
    if not given:
        return None
    key, square = given[0], int(getattr(table, given[0]))
    alone = "is for fanned frets: give scale_length_treble_mm and scale_length_bass_mm, or leave it out"
    for right, message in ((fanned, alone), (square <= frets, f"lies beyond the last fret, {frets}")):
        require(right, f"{key} = {square} {message}", key=key, value=square)
    return square


def with_capo(neck: Neck, fret: int) -> Neck:
    """The neck with a capo left on behind `fret`: its fret carries the strings as a zero fret would.

    Raises NeckError: no such fret, or one between the semitones.
    """
    leaves = f"capo_fret = {fret} leaves no fret to play: the last one is {neck.frets}"
    require(fret < neck.frets, leaves, key="capo_fret", value=fret)
    strings = []
    for number, string in enumerate(neck.strings, start=1):
        if string.first_fret >= fret:
            strings.append(string)
            continue
        with at("capo_fret", key="capo_fret"):
            semitones = neck.cents_above_open(number, fret) / 100.0
        whole = f"capo_fret = {fret} does not stand on a semitone above string {number}'s open note: describe the notes instead"
        require(abs(semitones - round(semitones)) < 1e-6, whole, key="capo_fret", value=fret)
        note = midi_to_note(note_to_midi(string.note) + round(semitones))
        strings.append(replace(string, note=note, first_fret=fret, nut_compensation_mm=0.0))
    return replace(neck, strings=tuple(strings), zero_fret=True)
