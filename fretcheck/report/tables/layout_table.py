"""A neck's layout for the screen, a spreadsheet or a program.

Conventions: lengths are in the unit asked for, and field names end in it (``_mm`` or ``_in``). Distances are to the middle of a
slot. A cell without a value (a short string's missing frets) is empty on paper and null in JSON.
"""

import csv
import io
from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction
from functools import partial
from typing import Any, Literal

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from fretcheck.neck.fret_layout import Layout, Scale, Slot
from fretcheck.neck.temperament import CENTS_PER_OCTAVE
from fretcheck.report.tables.plain_table import plain_table
from fretcheck.units import MM_PER_INCH

LengthUnit = Literal["mm", "in"]
SCHEMA = "fretcheck/layout/1"
FROM_THE_NUT = "Measure every slot from the nut, never from fret to fret: errors add up."
CARE = "Sawing and filing: clamp the neck, guard your eyes, fingers out of the cut."
STRINGS_BESIDE_LENGTHS = 6
STRINGS_A_TABLE = 8
_FINEST_FRACTION = 64


def layout_table(layout: Layout, *, unit: LengthUnit = "mm") -> RenderableType:
    """The layout as rich tables; with up to six strings on one scale a single one that fits 80 columns."""
    neck = layout.neck
    zero = "zero fret" if neck.zero_fret else "nut"
    head = f": {neck.frets} frets, A4 = {neck.reference_hz:g} Hz, lengths in {unit}; 0 is the {zero}"
    parts: list[RenderableType] = [Text.assemble((neck.name, "bold"), head)]
    numbers = _all(layout)
    chunks = [numbers[first : first + STRINGS_A_TABLE] for first in range(0, len(numbers), STRINGS_A_TABLE)]
    if len(layout.scales) == 1:
        beside = numbers if len(numbers) <= STRINGS_BESIDE_LENGTHS else range(0)
        parts.append(_common_scale(layout, beside, unit))
    else:
        parts.append(Text("From each string's own nut, along the string:"))
        parts += [_fanned(layout, some, unit) for some in chunks]
    if len(layout.scales) > 1 or len(numbers) > STRINGS_BESIDE_LENGTHS:
        parts.append(Text("Target frequency in Hz:"))
        parts += [_by_string(layout, some, partial(_hertz, layout, numbers=some)) for some in chunks]
    parts += [Text(line) for line in _remarks(layout, unit)]
    return Group(*parts)


def _table(*headings: str) -> Table:
    return plain_table(*(f">{one}" for one in headings), no_wrap=True, padding=(0, 0, 0, 1), header_style="table.header")


def _common_scale(layout: Layout, numbers: Sequence[int], unit: LengthUnit) -> Table:
    rounded = layout.rounding is not None
    table = _table("fret", "from\nnut", "from\nprevious", "speaking\nlength", *(["cents\noff"] if rounded else []))
    for heading in _string_headings(layout, numbers):
        table.add_column(heading, justify="right", no_wrap=True, style="cyan")
    show = _length_writer(layout, unit)
    for slot in layout.scales[0].slots:
        previous = "" if slot.from_previous_mm is None else show(slot.from_previous_mm)
        cells = [str(slot.fret), show(slot.marked_mm), previous, _plain(slot.speaking_length_mm, unit)]
        cells += [f"{round(slot.rounding_cents, 2) + 0.0:+.2f}"] if rounded else []
        table.add_row(*cells, *_hertz(layout, slot.fret, numbers=numbers), style=_row_style(layout, slot.fret))
    return table


def _by_string(layout: Layout, numbers: Sequence[int], cells: Callable[[int], Iterable[str]]) -> Table:
    """A row a fret and a column a string; `cells` gives those of a fret."""
    table = _table("fret", *_string_headings(layout, numbers))
    for fret in range(layout.neck.frets + 1):
        table.add_row(str(fret), *cells(fret), style=_row_style(layout, fret))
    return table


def _fanned(layout: Layout, numbers: Sequence[int], unit: LengthUnit) -> Table:
    show = _length_writer(layout, unit)
    slots_of = [_scale_of(layout, number).slots for number in numbers]
    return _by_string(layout, numbers, lambda fret: [show(slots[fret].marked_mm) for slots in slots_of])


def _remarks(layout: Layout, unit: LengthUnit) -> list[str]:
    lines: list[str] = []
    if layout.rounding is not None:
        worst = max(scale.worst_rounding_cents for scale in layout.scales)
        shift = f"{_in_unit(layout.rounding.step_mm / 2.0, unit):.3g}"
        lines.append(f"Rounding moves a slot by up to {shift} {unit}, at worst {worst:.2f} cents here.")
    if len(layout.scales) > 1:
        nuts = [f"{number}: {_plain(_scale_of(layout, number).nut_offset_mm, unit)} {unit}" for number in _all(layout)]
        lines.append(
            f"Fret {layout.neck.square_fret or 0} stands square. Nuts along the neck's axis, positive toward the bridge:"
        )
        lines.append(f"  {', '.join(nuts)}")
        also = ", what rounding costs in cents" if layout.rounding is not None else ""
        lines.append(f"From fret to fret, speaking lengths{also}: --csv or --json.")
    lines += [*_ends_of_strings(layout, unit), FROM_THE_NUT, CARE]
    return lines


def _ends_of_strings(layout: Layout, unit: LengthUnit) -> list[str]:
    """Where nut and saddle stand, and which frets end early."""
    neck = layout.neck
    lines = [
        f"Fret {one.fret} runs under string{'s' * (len(one.strings) > 1)} {', '.join(map(str, one.strings))} only."
        for one in neck.partial_frets
    ]
    if any(string.nut_compensation_mm for string in neck.strings):
        edges = ", ".join(f"{number}: {_plain(neck.string(number).nut_compensation_mm, unit)}" for number in _all(layout))
        lines.append(f"The nut's edge stands before the line that slots are measured from, in {unit}, by string: {edges}.")
    setbacks = [string.saddle_setback_mm for string in neck.strings]
    described = [(number, one) for number, one in enumerate(setbacks, start=1) if one is not None]
    if described:
        places = ", ".join(f"{number}: {_plain(one, unit)}" for number, one in described)
        lines.append(f"The saddle stands beyond the scale length, in {unit}, by string: {places}.")
    if len(described) < len(setbacks):
        lines.append(
            "Where no saddle_setback_mm is described, the saddle is set by ear, the octave in tune with the open string."
        )
    return lines


def _all(layout: Layout) -> range:
    return range(1, len(layout.neck.strings) + 1)


def _scale_of(layout: Layout, number: int) -> Scale:
    return next(scale for scale in layout.scales if number in scale.strings)


def _string_headings(layout: Layout, numbers: Sequence[int]) -> list[str]:
    return [f"{number}\n{layout.neck.string(number).note}" for number in numbers]


def _row_style(layout: Layout, fret: int) -> str:
    """The octaves stand out."""
    cents = layout.neck.fret_cents[fret]
    return "bold" if fret and abs(cents - CENTS_PER_OCTAVE * round(cents / CENTS_PER_OCTAVE)) < 0.5 else ""


def _hertz(layout: Layout, fret: int, *, numbers: Sequence[int]) -> list[str]:
    row = layout.targets_hz[fret]
    targets = (row[number - 1] for number in numbers)
    # five digits: within 0.1 cents, and six characters wide from 10 Hz to 9999 Hz
    return ["" if one is None else f"{one:.{3 if one < 100 else 2 if one < 1000 else 1}f}" for one in targets]


def _length_writer(layout: Layout, unit: LengthUnit) -> Callable[[float], str]:
    """How marks are written: as fractions where the rule is divided so, else as decimals."""
    rounding = layout.rounding
    if rounding is not None and unit == rounding.unit == "in":
        step = Fraction(rounding.step).limit_denominator(_FINEST_FRACTION)
        if abs(float(step) - rounding.step) < 1e-12 and step.denominator & (step.denominator - 1) == 0:
            return lambda length_mm: _mixed(round(length_mm / rounding.step_mm) * step)
    digits: int | None = None
    if rounding is not None and unit == "mm":
        steps = {places: rounding.step * 10**places for places in (2, 3)}
        digits = next((places for places, step in steps.items() if abs(step - round(step)) < 1e-9), 4)
    return lambda length_mm: _plain(length_mm, unit, digits=digits)


def _mixed(length: Fraction) -> str:
    whole, rest = divmod(length, 1)
    return f"{whole} {rest}" if whole and rest else str(whole or rest)


def _in_unit(length_mm: float, unit: LengthUnit) -> float:
    return length_mm / MM_PER_INCH if unit == "in" else length_mm


def _plain(length_mm: float, unit: LengthUnit, *, digits: int | None = None) -> str:
    """Decimals down to 0.01 mm or a ten-thousandth of an inch, or as many as asked for, without a minus before zero."""
    places = digits or (4 if unit == "in" else 2)
    return f"{round(_in_unit(length_mm, unit), places) + 0.0:.{places}f}"


def layout_csv(layout: Layout, *, unit: LengthUnit = "mm") -> str:
    """One row a fret and scale length, with a column of target frequency for every string (empty on another's scale)."""
    text = io.StringIO()
    rows = _csv_rows(layout, unit)
    writer = csv.DictWriter(text, fieldnames=list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def _csv_rows(layout: Layout, unit: LengthUnit) -> list[dict[str, Any]]:
    rows = []
    for scale in layout.scales:
        head = {"strings": " ".join(map(str, scale.strings)), f"scale_length_{unit}": _fine(scale.scale_length_mm, unit)}
        for slot in scale.slots:
            targets = [one if n in scale.strings else None for n, one in enumerate(layout.targets_hz[slot.fret], start=1)]
            hertz = {f"string_{n}_hz": None if one is None else round(one, 6) for n, one in enumerate(targets, start=1)}
            rows.append({**head, **_slot_fields(slot, unit), **hertz})
    return rows


def _fine(length_mm: float, unit: LengthUnit) -> float:
    """To a tenth of a micrometre: beyond any tool, and free of binary tails."""
    return round(_in_unit(length_mm, unit), 6 if unit == "in" else 4) + 0.0


def _slot_fields(slot: Slot, unit: LengthUnit) -> dict[str, Any]:
    return {
        "fret": slot.fret,
        f"from_nut_{unit}": _fine(slot.from_nut_mm, unit),
        f"marked_{unit}": _fine(slot.marked_mm, unit),
        f"from_previous_{unit}": None if slot.from_previous_mm is None else _fine(slot.from_previous_mm, unit),
        f"speaking_length_{unit}": _fine(slot.speaking_length_mm, unit),
        "rounding_cents": round(slot.rounding_cents, 4) + 0.0,
    }


def layout_document(layout: Layout, *, unit: LengthUnit = "mm") -> dict[str, Any]:
    """The layout as plain data for JSON."""
    neck, rounding = layout.neck, layout.rounding
    return {
        "schema": SCHEMA,
        "neck": {"name": neck.name, "serial": neck.serial},
        "reference_hz": neck.reference_hz,
        "zero_fret": neck.zero_fret,
        "square_fret": neck.square_fret,
        "rounding": None if rounding is None else {"step": rounding.step, "unit": rounding.unit},
        "scales": [
            {
                "strings": list(scale.strings),
                f"scale_length_{unit}": _fine(scale.scale_length_mm, unit),
                f"nut_offset_{unit}": _fine(scale.nut_offset_mm, unit),
                "frets": [_slot_fields(slot, unit) for slot in scale.slots],
            }
            for scale in layout.scales
        ],
        "strings": [_string_fields(layout, number, unit) for number in _all(layout)],
    }


def _string_fields(layout: Layout, number: int, unit: LengthUnit) -> dict[str, Any]:
    """A string and its notes; of a short one from the fret it starts at."""
    string, setback = layout.neck.string(number), layout.neck.string(number).saddle_setback_mm
    frets = [fret for fret, row in enumerate(layout.targets_hz) if row[number - 1] is not None]
    return {
        "string": number,
        "note": string.note,
        "first_fret": string.first_fret,
        f"nut_compensation_{unit}": _fine(string.nut_compensation_mm, unit),
        f"saddle_setback_{unit}": None if setback is None else _fine(setback, unit),
        "course": string.course,
        "frets": [
            {
                "fret": fret,
                "note": string.note if fret == string.first_fret else layout.neck.note_name(number, fret),
                "target_hz": layout.targets_hz[fret][number - 1],
                f"speaking_length_{unit}": _fine(layout.neck.speaking_length_mm(number, fret), unit),
            }
            for fret in frets
        ],
    }
