"""Lengths as they are written: mm or inches, decimals or fractions; one that fits the other unit better is questioned.

Conventions: a length's key ends in its unit, ``gauge_mm`` or ``gauge_in``; inches may be a fraction in quotes, ``"25 1/2"``.
Ranges stand in ``tables/lengths.toml``. Inside them lies what is usual: a value outside of that, which lies inside it when taken
in the other unit, was meant in that unit and is refused with the cure, where a person typed it. 0 is never questioned.
"""

import math
import re
from dataclasses import dataclass

from fretcheck.errors import NeckError
from fretcheck.neck.tables import table
from fretcheck.units import MM_PER_INCH

UNITS = ("mm", "in")
_FRACTION = re.compile(r"(-?)\s*(?:(\d+)[ -]+)?(\d+)\s*/\s*(\d+)")


def shown(value: object) -> str:
    """A value as it would stand in the file, on one line and cut to a readable length."""
    if isinstance(value, bool):
        return "true" if value else "false"
    text = f'"{value}"' if isinstance(value, str) else f"{value:g}" if isinstance(value, float) else str(value)
    text = " ".join(text.split())
    return text if len(text) <= 60 else text[:57] + "…"


@dataclass(frozen=True, kw_only=True)
class Length:
    """What a length may be, and what it usually is (without its sign), mm."""

    low_mm: float
    high_mm: float
    usual_mm: tuple[float, float]


def length(low_mm: float, high_mm: float, usual_low_mm: float | None = None, usual_high_mm: float | None = None) -> Length:
    """A range, and within it the usual one where that is narrower."""
    return Length(low_mm=low_mm, high_mm=high_mm, usual_mm=(usual_low_mm or low_mm, usual_high_mm or high_mm))


LENGTHS = {key: length(*row) for key, row in table("lengths").items()}  # By key, without the unit


def length_of(key: str) -> tuple[str, str] | None:
    """Stem and unit of a key that holds a length: ``gauge_in`` is ("gauge", "in"); None for any other key."""
    stem, _, unit = key.rpartition("_")
    return (stem, unit) if unit in UNITS and stem in LENGTHS else None


def parsed(value: object, *, unit: str) -> float | None:
    """The number that was written, a fraction of an inch in quotes included; None where it is none.

    >>> parsed("25 1/2", unit="in"), parsed("1/64", unit="in"), parsed("25.5", unit="mm")
    (25.5, 0.015625, None)
    """
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        return None
    if not isinstance(value, str):
        return float(value) if abs(value) < 1e300 else math.inf
    text = value.strip().removesuffix('"').strip()
    fraction = _FRACTION.fullmatch(text)
    if unit != "in" or len(text) > 20:
        return None
    if fraction is not None and int(fraction[4]):
        size = int(fraction[2] or 0) + int(fraction[3]) / int(fraction[4])
        return -size if fraction[1] else size
    try:
        return float(text)
    except ValueError:
        return None


def in_mm(value: object, *, key: str, limits: Length | None = None, question: bool) -> float:
    """A length of the description in mm.

    `value`: as the file holds it. `key`: with its unit, as the error should name it. `limits`: those of `LENGTHS` where None.
    `question`: refuse what fits the other unit better.
    Raises NeckError: no number, outside the range, or meant in the other unit; the message gives the cure.
    """
    stem, _, unit = key.rpartition("_")
    limits = limits or LENGTHS[stem]
    factor, other, to_other = (MM_PER_INCH, "mm", 1.0 / MM_PER_INCH) if unit == "in" else (1.0, "in", MM_PER_INCH)
    said, named = f"{key} = {shown(value)}", f"{stem}_{other}" if stem else other
    number = parsed(value, unit=unit)
    allowed = f"{limits.low_mm / factor:.4g} to {limits.high_mm / factor:.4g} {unit}"
    if number is None:
        form = 'a number, or a fraction in quotes, as in "25 1/2"' if unit == "in" else "a number, without quotes"
        is_fraction = isinstance(value, str) and "/" in value and parsed(value, unit="in") is not None
        fraction = f": fractions go with {stem}_in" if stem and unit == "mm" and is_fraction else ""
        raise NeckError(f"{said} must be {form}{fraction}", key=key, value=value)
    if not math.isfinite(number):
        raise NeckError(f"{said} is not a finite number: allowed is {allowed}", key=key, value=value)
    mm = number * factor
    meant_in_other = _usual(mm * to_other, limits)
    if not limits.low_mm - 1e-9 <= mm <= limits.high_mm + 1e-9:
        cure = _cure(number, stem=stem, limits=limits)
        if number > 0.0 and meant_in_other:
            cure = f": looks like {'inches' if other == 'in' else 'mm'}, use {named}"
        raise NeckError(f"{said} lies outside the allowed {allowed}{cure}", key=key, value=value)
    if question and number != 0.0 and meant_in_other and not _usual(mm, limits):
        unusual = f"is an unusual length ({mm:.3g} mm)" if unit == "in" else "is unusually little"
        doubt = f"{unusual} and looks like {'inches' if other == 'in' else 'mm'}: write {named} = {number:g}"
        raise NeckError(f"{said} {doubt}, or 0 for none at all", key=key, value=value)
    return mm


def _usual(mm: float, limits: Length) -> bool:
    return limits.usual_mm[0] - 1e-9 <= abs(mm) <= limits.usual_mm[1] + 1e-9 and limits.low_mm <= mm <= limits.high_mm


def _cure(number: float, *, stem: str, limits: Length) -> str:
    """What an impossible length was probably meant to be, if not the other unit."""
    if stem in ("gauge", "gauges", "core") and _usual(number / 1000.0 * MM_PER_INCH, limits):
        return f": looks like thousandths of an inch, use {stem}_in = {number / 1000.0:g}"
    if stem.startswith("scale_length"):
        for name, in_unit in (("centimetres", 10.0), ("metres", 1000.0), ("feet", 304.8)):
            if number > 0.0 and _usual(number * in_unit, limits):
                return f": looks like {name}, write {stem}_mm = {number * in_unit:g}"
    return ""


def lengths_in_mm(row: dict[str, object], *, question: bool) -> dict[str, object]:
    """A table of the description with each of its lengths checked and in mm; other keys as they are.

    A length may be one number, a list of them, or ``{ treble = …, bass = … }``.
    Raises NeckError as `in_mm`, or a length that is given in both units.
    """
    found: dict[str, object] = {}
    for key, value in row.items():
        split = length_of(key) if isinstance(key, str) else None
        if split is None or value is None or split[0] == "gauges":
            found[key] = value
            continue
        target = f"{split[0]}_mm"
        if target in found or (split[1] == "in" and row.get(target) is not None):
            raise NeckError(f"give {target} or {split[0]}_in, not both", key=key, value=value)
        if isinstance(value, list):
            found[target] = [in_mm(one, key=key, question=question) for one in value]
        elif isinstance(value, dict):
            found[target] = {side: in_mm(one, key=key, question=question) for side, one in value.items()}
        else:
            found[target] = in_mm(value, key=key, question=question)
    return found
