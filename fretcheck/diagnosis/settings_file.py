"""A shop's own limits, from a TOML file: sizes worth acting on, risk and guard band, under the names of `DiagnosisSettings`.

```toml
limit_cents = 2.0          # else each neck's own tolerance_cents
risk = 0.02
fret_position_mm = 0.05    # every length also in inches: fret_position_in = 0.002, saddle_position_in = "1/64"
saddle = "whole"           # none, whole, slant or per_string; else as each neck's description says
cost_nut = 12              # how dear a moved nut is, where setting one saddle is 1
```

A table ``[shop]`` may stand beside them; it is read where papers are made.
"""

import tomllib
from collections.abc import Container
from dataclasses import fields, replace
from difflib import get_close_matches
from pathlib import Path
from typing import Any, get_args

from fretcheck.diagnosis.settings import DiagnosisSettings, SaddleStyle
from fretcheck.errors import FretcheckError, UsageError
from fretcheck.files import read_text
from fretcheck.neck.lengths import parsed
from fretcheck.units import MM_PER_INCH

MOST_BYTES = 1_000_000

FORMER_SADDLES: dict[str, SaddleStyle | None] = {"any": None, "straight": "whole", "slanted": "slant"}  # Words of version 0.1


def read_settings(path: Path, *, base: DiagnosisSettings | None = None) -> DiagnosisSettings:
    """Settings from a file, laid over `base`.

    Raises UsageError for a file that is missing or no TOML, an unknown name, or a value out of range; one line with file and
    name.
    """
    data = read_toml(path)
    data.pop("shop", None)
    known = {field.name: field for field in fields(DiagnosisSettings)}
    _inches_in_mm(data, known, path)
    for name, value in list(data.items()):
        if name not in known:
            near = get_close_matches(name, known, n=1)
            hint = f"did you mean {near[0]}?" if near else f"known are: {', '.join(known)}"
            raise UsageError(f"{path}: {name} is not a limit; {hint}")
        if name == "saddle":
            data[name] = value = FORMER_SADDLES.get(value, value) if isinstance(value, str) else value
            if value is not None and value not in get_args(SaddleStyle):
                raise UsageError(f"{path}: saddle = {value!r}: must be one of {', '.join(get_args(SaddleStyle))}")
        elif isinstance(value, bool) != (known[name].type is bool) or not isinstance(value, int | float):
            raise UsageError(f"{path}: {name} = {value!r}: must be {'true or false' if known[name].type is bool else 'a number'}")
    try:
        return replace(base or DiagnosisSettings(), **data)
    except FretcheckError as error:
        raise UsageError(f"{path}: {error}") from None


def _inches_in_mm(data: dict[str, Any], known: Container[str], path: Path) -> None:
    """Lengths that were written as ``…_in``, fractions in quotes included, under the names in mm."""
    for name in list(data):
        length = f"{name.removesuffix('in')}mm"
        if not name.endswith("_in") or length not in known:
            continue
        if length in data:
            raise UsageError(f"{path}: give {length} or {name}, not both")
        inches = parsed(data[name], unit="in")
        if inches is None:
            raise UsageError(f'{path}: {name} = {data[name]!r}: must be a number, or a fraction in quotes, as in "1/64"')
        del data[name]
        data[length] = inches * MM_PER_INCH


def read_toml(path: Path) -> dict[str, Any]:
    """The file as data. Raises UsageError for a file that is missing or no TOML."""
    text = read_text(path, most_bytes=MOST_BYTES, refuse=lambda why: UsageError(f"{path}: {why}; name a TOML file with limits"))
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise UsageError(f"{path}: is no TOML: {str(error) or 'nested too deeply'}") from None
