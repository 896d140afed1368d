"""One clear line out of whatever is wrong with a neck description.

Conventions: a line reads ``file: place: key = value is wrong, allowed range: cure``. The cure is a guess and is offered only
where exactly the mistake's own arithmetic leads back into the allowed range.
"""

import difflib
from collections.abc import Iterable
from pathlib import Path

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from fretcheck.errors import NeckError
from fretcheck.neck.lengths import length_of, shown
from fretcheck.neck.toml_tables import (
    MAX_FRETS,
    MAX_STRINGS,
    MIN_STRINGS,
    MeasuredTable,
    NeckTable,
    PartialFretTable,
    StringTable,
    WorkedTable,
)
from fretcheck.neck.unneeded_keys import REASONS

TABLES: dict[str, type[BaseModel]] = {
    "": NeckTable,
    "strings": StringTable,
    "measured": MeasuredTable,
    "worked": WorkedTable,
    "partial_frets": PartialFretTable,
}
_UNITS = {"_mm": " mm", "_hz": " Hz", "_cents": " cents", "_n": " N", "_g_m": " g/m"}


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
        inches = f" (or {key.removesuffix('_mm')}_in)" if length_of(key) else ""
        return f'"{key}"{inches} is missing ({meaning})'
    if kind in ("too_short", "too_long"):
        return f"{limits['actual_length']} {key}: {_count_range(key)}"
    if kind in ("string_too_short", "string_too_long"):
        return f"{said} has {len(str(value))} letters: allowed are 1 to {_limits(table, key)[1]:g}"
    if kind in ("greater_than_equal", "less_than_equal", "greater_than", "less_than"):
        return f"{said} lies outside the allowed {range_of(table, key)}"
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
    wanted |= {"int_from_float": "a whole number", "list_type": _list_form(key)}
    wanted |= {"model_type": f"a table, begun with [[{table}]]", "model_attributes_type": f"a table, begun with [[{table}]]"}
    expected = wanted.get(kind, details["msg"])
    unquoted = ", without quotes" if isinstance(value, str) and kind in ("float_type", "int_type", "bool_type") else ""
    return f"{said} must be {expected}{unquoted}"


def _list_form(key: str) -> str:
    return f"a list of tables, each begun with [[{key}]]" if key in TABLES else "a list in [ ]"


def _count_range(key: str) -> str:
    if key in ("strings", "gauges_mm", "gauges_in"):
        return f"{MIN_STRINGS} to {MAX_STRINGS} strings are allowed"
    return f"1 to {MAX_FRETS} are allowed" if key.startswith("fret") else "that is too many"


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


def one_of(key: str, value: str, known: Iterable[str]) -> str:
    """That `value` is none of the `known` words, the nearest of them first."""
    names = list(known)
    close = difflib.get_close_matches(value.lower().replace(" ", "_").replace("-", "_"), names, n=1, cutoff=0.6)
    meant = f' (did you mean "{close[0]}"?)' if close else ""
    return f'{key} = "{value}" is not one of {", ".join(names)}{meant}'


def nearest_key(key: str, *, table: str) -> str:
    """The known key that was probably meant, the reason why it is not needed, or all of them."""
    known = [alias for name, info in TABLES[table].model_fields.items() for alias in _spellings(info.alias or name)]
    if key.lower() in REASONS:
        return f": {REASONS[key.lower()]}"
    close = difflib.get_close_matches(key.lower(), known, n=1, cutoff=0.6)
    if close:
        return f': did you mean "{close[0]}"?'
    starts = [name for name in known if name.startswith(key.lower())]
    if starts:
        return f': did you mean "{starts[0]}"?'
    for other, model in TABLES.items():
        if key in model.model_fields or key.replace("_in", "_mm") in model.model_fields:
            return f": it belongs {f'inside [[{other}]]' if other else 'at the top of the file, before the first [[…]]'}"
    long_form = [name for name in known if not name.startswith(("u_", "perpendicular")) and not name.endswith("_in")]
    return f": known are {', '.join(long_form)}; lengths also as …_in"


def _spellings(key: str) -> list[str]:
    """A key, and the same in inches where it is a length."""
    split = length_of(key)
    return [key] if split is None or split[0] == "gauges" else [key, f"{split[0]}_in"]
