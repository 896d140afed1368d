"""One clear line out of whatever is wrong with a neck description.

Conventions: a line reads ``file: place: key = value is wrong, allowed range: cure``. The cure is a guess and is offered only
where exactly the mistake's own arithmetic leads back into the allowed range.
"""

import difflib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from fretcheck.errors import NeckError
from fretcheck.neck.description import MAX_FRETS, MAX_STRINGS, MIN_STRINGS
from fretcheck.neck.lengths import length_of, shown
from fretcheck.neck.tables import table as data_of

Tables = Mapping[str, type[BaseModel]]  # By the key of their list in the file; "" is the file itself

_UNNEEDED = {key: why for why, keys in data_of("unneeded_keys").items() for key in keys}
_UNITS = {"_mm": " mm", "_hz": " Hz", "_cents": " cents", "_n": " N", "_g_m": " g/m"}
_PLACES = {"strings": "string", "measured": "measurement", "partial_frets": "partial fret", "worked": "work"}
_WANTED = {
    "float_type": "a number",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "bool_type": "true or false",
    "string_type": "text in quotes",
}


def complaint(message: str, *, key: str | None = None, value: object = None) -> NeckError:
    """A `NeckError` of one line."""
    return NeckError(" ".join(message.split()), key=key, value=value)


def require(right: bool, message: str, *, key: str | None = None, value: object = None) -> None:
    """Complain unless `right`."""
    if not right:
        raise complaint(message, key=key, value=value)


@contextmanager
def at(place: str | Path | None, *, key: str | None = None) -> Iterator[None]:
    """Complaints within start with the place in the description, or with its file; `key` is theirs where they name none."""
    try:
        yield
    except NeckError as error:
        if place is None:
            raise
        file = place if isinstance(place, Path) else None
        raise NeckError(f"{place}: {error}", file=file, key=error.key or key, value=error.value) from None


def one_of(key: str, value: str, known: Iterable[str]) -> str:
    """That `value` is none of the `known` words, the nearest of them first."""
    names = list(known)
    close = difflib.get_close_matches(value.lower().replace(" ", "_").replace("-", "_"), names, n=1, cutoff=0.6)
    meant = f' (did you mean "{close[0]}"?)' if close else ""
    return f'{key} = "{value}" is not one of {", ".join(names)}{meant}'


def first_complaint(error: ValidationError, tables: Tables) -> NeckError:
    """The most telling of pydantic's errors as one line: an unknown key before a wrong value before a missing key."""
    rank = {"extra_forbidden": 0, "missing": 2}
    details = min(error.errors(include_url=False), key=lambda detail: rank.get(detail["type"], 1))
    table, place, key = "", "", str(next(iter(details["loc"]), ""))
    match details["loc"]:
        case (str(table), int(index), *rest) if table in _PLACES:
            place, key = f"{_PLACES[table]} {index + 1}: ", str(rest[0]) if rest else table
    own = details.get("ctx", {}).get("error")
    if isinstance(own, NeckError):
        return complaint(f"{place}{own}", key=own.key or key, value=own.value)
    value = None if details["type"] == "missing" else details["input"]
    return complaint(f"{place}{_sentence(details, table=table, key=key, tables=tables)}", key=key, value=value)


def _sentence(details: ErrorDetails, *, table: str, key: str, tables: Tables) -> str:
    kind, value, limits = details["type"], details["input"], details.get("ctx", {})
    said = f"{key} = {shown(value)}"
    match kind:
        case "extra_forbidden":
            return f'unknown key "{key}"{_nearest_key(key, table=table, tables=tables)}'
        case "missing":
            inches = f" (or {key.removesuffix('_mm')}_in)" if length_of(key) else ""
            return f'"{key}"{inches} is missing ({tables[table].model_fields[key].description})'
        case "too_short" | "too_long":
            most = f"1 to {MAX_FRETS} are allowed" if key.startswith("fret") else "that is too many"
            strings = f"{MIN_STRINGS} to {MAX_STRINGS} strings are allowed"
            return f"{limits['actual_length']} {key}: {strings if key in ('strings', 'gauges_mm', 'gauges_in') else most}"
        case "string_too_short" | "string_too_long":
            return f"{said} has {len(str(value))} letters: allowed are 1 to {_limits(tables[table], key)[1]:g}"
        case "greater_than_equal" | "less_than_equal" | "greater_than" | "less_than":
            return f"{said} lies outside the allowed {_range_of(tables[table], key)}"
        case "finite_number":
            return f"{said} is not a finite number: allowed is {_range_of(tables[table], key)}"
        case "literal_error":
            return f"{said} is not one of {limits['expected']}"
        case "model_type" | "model_attributes_type":
            expected = f"a table, begun with [[{table}]]"
        case "list_type":
            expected = f"a list of tables, each begun with [[{key}]]" if key in tables else "a list in [ ]"
        case _:
            expected = _WANTED.get(kind, details["msg"])
    unquoted = ", without quotes" if isinstance(value, str) and kind in ("float_type", "int_type", "bool_type") else ""
    return f"{said} must be {expected}{unquoted}"


def _limits(model: type[BaseModel], key: str) -> tuple[float | None, float | None]:
    """Lowest and highest allowed value of a key."""
    low: float | None = None
    high: float | None = None
    for item in model.model_fields[key].metadata:
        low = next((x for name in ("ge", "gt", "min_length") if (x := getattr(item, name, None)) is not None), low)
        high = next((x for name in ("le", "lt", "max_length") if (x := getattr(item, name, None)) is not None), high)
    return low, high


def _range_of(model: type[BaseModel], key: str) -> str:
    """Allowed range of a key in words, with its unit."""
    low, high = _limits(model, key)
    unit = next((unit for ending, unit in _UNITS.items() if key.endswith(ending)), "")
    return f"{low:g} to {high:g}{unit}" if low is not None and high is not None else f"any number{unit}"


def _nearest_key(key: str, *, table: str, tables: Tables) -> str:
    """The known key that was probably meant, the reason why it is not needed, or all of them."""
    if key.lower() in _UNNEEDED:
        return f": {_UNNEEDED[key.lower()]}"
    known: list[str] = []
    for name, info in tables[table].model_fields.items():
        split = length_of(info.alias or name)
        known += [info.alias or name] if split is None or split[0] == "gauges" else [name, f"{split[0]}_in"]
    close = difflib.get_close_matches(key.lower(), known, n=1, cutoff=0.6)
    close += [name for name in known if name.startswith(key.lower())]
    if close:
        return f': did you mean "{close[0]}"?'
    for other, model in tables.items():
        if key in model.model_fields or key.replace("_in", "_mm") in model.model_fields:
            return f": it belongs {f'inside [[{other}]]' if other else 'at the top of the file, before the first [[…]]'}"
    long_form = [name for name in known if not name.startswith(("u_", "perpendicular")) and not name.endswith("_in")]
    return f": known are {', '.join(long_form)}; lengths also as …_in"
