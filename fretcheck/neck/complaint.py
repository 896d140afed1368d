"""One clear line out of whatever is wrong with a neck description.

Conventions
-----------
A line reads ``file: place: key = value is wrong, allowed range: cure``. The cure is a guess and is offered only where exactly the
mistake's own arithmetic leads back into the allowed range (25.5 "mm" of scale length are 647.7 mm when taken as inches).
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from fretcheck.errors import NeckError
from fretcheck.neck.schema import MAX_FRETS, MAX_STRINGS, MIN_STRINGS, MeasuredTable, NeckTable, PartialFretTable, StringTable
from fretcheck.neck.temperament import MM_PER_INCH

TABLES: dict[str, type[BaseModel]] = {
    "": NeckTable,
    "strings": StringTable,
    "measured": MeasuredTable,
    "partial_frets": PartialFretTable,
}
_UNITS = {"_mm": " mm", "_in": " in", "_hz": " Hz", "_cents": " cents", "_n": " N", "_g_m": " g/m"}


def complaint(message: str, *, place: str = "", key: str | None = None, value: object = None) -> NeckError:
    """A `NeckError` of one line that starts with the place in the description; `in_file` puts the file before it."""
    return NeckError(" ".join((f"{place}: {message}" if place else message).split()), key=key, value=value)


def in_file(error: NeckError, source: Path | None) -> NeckError:
    """The same complaint with the file's name before it."""
    if source is None:
        return error
    return NeckError(f"{source}: {error}", file=source, key=error.key, value=error.value)


def require(right: bool, message: str, *, place: str = "", key: str | None = None, value: object = None) -> None:
    """Complain unless `right`."""
    if not right:
        raise complaint(message, place=place, key=key, value=value)


def first_complaint(error: ValidationError) -> NeckError:
    """The most telling of pydantic's errors as one line: an unknown key before a wrong value before a missing key."""
    rank = {"extra_forbidden": 0, "missing": 2}
    details = min(error.errors(include_url=False), key=lambda detail: rank.get(detail["type"], 1))
    table, place, key = _where(details["loc"])
    value = None if details["type"] == "missing" else details["input"]
    return complaint(_sentence(details, table=table, key=key), place=place, key=key, value=value)


def _where(loc: tuple[int | str, ...]) -> tuple[str, str, str]:
    """Table, place in words and key of an error's location."""
    names = {"strings": "string", "measured": "measurement", "partial_frets": "partial fret"}
    if len(loc) >= 2 and loc[0] in names and isinstance(loc[1], int):
        return str(loc[0]), f"{names[str(loc[0])]} {loc[1] + 1}", str(loc[2]) if len(loc) > 2 else str(loc[0])
    return "", "", str(loc[0]) if loc else ""


def _sentence(details: ErrorDetails, *, table: str, key: str) -> str:
    kind, value, limits = details["type"], details["input"], details.get("ctx", {})
    said = f"{key} = {shown(value)}"
    if kind == "extra_forbidden":
        return f'unknown key "{key}"{nearest_key(key, table=table)}'
    if kind == "missing":
        meaning = TABLES[table].model_fields[key].description
        return f'"{key}" is missing' + (f" ({meaning})" if meaning else f": write at least {MIN_STRINGS} [[{key}]]")
    if kind in ("too_short", "too_long"):
        return f"{limits['actual_length']} [[{key}]]: {_count_range(key)}"
    if kind in ("string_too_short", "string_too_long"):
        return f"{said} has {len(str(value))} letters: allowed are 1 to {_limits(table, key)[1]:g}"
    if kind in ("greater_than_equal", "less_than_equal", "greater_than", "less_than"):
        return f"{said} lies outside the allowed {range_of(table, key)}{length_cure(key, value, limits=_limits(table, key))}"
    if kind == "finite_number":
        return f"{said} is not a finite number: allowed is {range_of(table, key)}"
    if kind == "literal_error":
        return f"{said} is not one of {limits['expected']}"
    wanted = {
        "float_type": "a number",
        "int_type": "a whole number",
        "bool_type": "true or false",
        "string_type": "text in quotes",
    }
    wanted |= {"int_from_float": "a whole number", "list_type": f"a list of tables, each begun with [[{key}]]"}
    wanted |= {"model_type": f"a table, begun with [[{table}]]", "model_attributes_type": f"a table, begun with [[{table}]]"}
    expected = wanted.get(kind, details["msg"])
    unquoted = ", without quotes" if isinstance(value, str) and kind in ("float_type", "int_type", "bool_type") else ""
    return f"{said} must be {expected}{unquoted}"


def _count_range(key: str) -> str:
    return f"{MIN_STRINGS} to {MAX_STRINGS} strings are allowed" if key == "strings" else "that is too many"


def shown(value: object) -> str:
    """A value as it would stand in the file, cut to a readable length."""
    if isinstance(value, bool):
        return "true" if value else "false"
    text = f'"{value}"' if isinstance(value, str) else f"{value:g}" if isinstance(value, float) else str(value)
    return text if len(text) <= 60 else text[:57] + "…"


def _limits(table: str, key: str) -> tuple[float | None, float | None]:
    """Lowest and highest allowed value of a key."""
    low: float | None = None
    high: float | None = None
    for item in TABLES[table].model_fields[key].metadata:
        low = next((x for name in ("ge", "gt", "min_length") if (x := getattr(item, name, None)) is not None), low)
        high = next((x for name in ("le", "lt", "max_length") if (x := getattr(item, name, None)) is not None), high)
    return low, high


def range_of(table: str, key: str) -> str:
    """Allowed range of a key in words, with its unit."""
    low, high = _limits(table, key)
    unit = next((unit for ending, unit in _UNITS.items() if key.endswith(ending)), "")
    if key == "first_fret":
        high = MAX_FRETS - 1
    return f"{low:g} to {high:g}{unit}" if low is not None and high is not None else f"any number{unit}"


def length_cure(key: str, value: Any, *, limits: tuple[float | None, float | None]) -> str:
    """The cure where a length was evidently written in another unit."""
    low, high = limits
    stem, _, unit = key.rpartition("_")
    if unit not in ("mm", "in") or low is None or high is None or not value > 0 or key == "u_mm":
        return ""

    def fits(length: float) -> bool:
        return low <= length <= high

    thousandths = value / 1000.0 if unit == "in" else value / 1000.0 * MM_PER_INCH
    if unit == "mm" and fits(value * MM_PER_INCH):
        return f": looks like inches, use {stem}_in" if stem in ("gauge", "core", "scale_length") else ": looks like inches"
    if unit == "in" and fits(value / MM_PER_INCH):
        return f": looks like mm, use {stem}_mm"
    if stem in ("gauge", "core") and fits(thousandths):
        return f": looks like thousandths of an inch, use {stem}_in = {value / 1000.0:g}"
    if unit == "mm" and stem == "scale_length":
        for name, factor in (("centimetres", 10.0), ("metres", 1000.0)):
            if fits(value * factor):
                return f": looks like {name}, write {value * factor:g}"
    return ""


def one_of(key: str, value: str, known: Iterable[str]) -> str:
    """That `value` is none of the `known` words, the nearest of them first."""
    names = list(known)
    close = difflib.get_close_matches(value.lower().replace(" ", "_").replace("-", "_"), names, n=1, cutoff=0.6)
    meant = f' (did you mean "{close[0]}"?)' if close else ""
    return f'{key} = "{value}" is not one of {", ".join(names)}{meant}'


def nearest_key(key: str, *, table: str) -> str:
    """The known key that was probably meant, or all of them."""
    known = list(TABLES[table].model_fields)
    close = difflib.get_close_matches(key.lower(), known, n=1, cutoff=0.6)
    if close:
        return f': did you mean "{close[0]}"?'
    starts = [name for name in known if name.startswith(key.lower())]
    if starts:
        return f': did you mean "{starts[0]}"?'
    for other, model in TABLES.items():
        if key in model.model_fields:
            return f": it belongs {f'inside [[{other}]]' if other else 'at the top of the file, before the first [[…]]'}"
    return f": known are {', '.join(known)}"
