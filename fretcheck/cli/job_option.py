"""The options that tell what a shop's paper needs besides the measurement: customer, job, price …; and the shop itself."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer
from pydantic import ValidationError

from fretcheck.diagnosis.settings_file import read_toml
from fretcheck.errors import UsageError
from fretcheck.inspection.document import JobPart, ShopPart

CustomerOption = Annotated[str | None, typer.Option("--customer", metavar="NAME", help="For the sheet: whose instrument it is.")]
InstrumentOption = Annotated[str | None, typer.Option("--instrument", metavar="TEXT", help="For the sheet: make, model, year.")]
JobOption = Annotated[str | None, typer.Option("--job", metavar="NUMBER", help="For the sheet: the shop's own number.")]
StringSetOption = Annotated[str | None, typer.Option("--string-set", metavar="TEXT", help="For the sheet: the strings on it.")]
NotesOption = Annotated[str | None, typer.Option("--notes", metavar="TEXT", help="For the sheet: what else is to be said.")]
PriceOption = Annotated[str | None, typer.Option("--price", metavar="TEXT", help="For the sheet: as agreed, such as '80 EUR'.")]


def job_of(
    *,
    customer: str | None = None,
    instrument: str | None = None,
    job: str | None = None,
    string_set: str | None = None,
    notes: str | None = None,
    price: str | None = None,
    limits: Path | None = None,
) -> JobPart:
    """The options as they are kept, with the shop of the limits file.

    Raises
    ------
    UsageError
        For a text that is too long, or a ``[shop]`` that is none.
    """
    told = {
        "customer": customer, "instrument": instrument, "job": job, "string_set": string_set, "notes": notes, "price": price
    }  # fmt: skip
    try:
        return JobPart(**told, shop=None if limits is None else shop_of(limits))
    except ValidationError as error:
        name = str(error.errors()[0]["loc"][0])
        raise UsageError(
            f"--{name.replace('_', '-')} has {len(told[name] or '')} characters; a sheet has room for 1000"
        ) from None


def shop_of(limits: Path) -> ShopPart | None:
    """The shop that a limits file names in its table ``[shop]``; None where it has none.

    Raises
    ------
    UsageError
        For a table with an unknown or missing name, or a value that is no text; one line with file and name.
    """
    table = read_toml(limits).get("shop")
    if table is None:
        return None
    known = ", ".join(ShopPart.model_fields)
    if not isinstance(table, dict):
        raise UsageError(f"{limits}: shop = {table!r}: must be a table, [shop], with {known}")
    try:
        return ShopPart.model_validate(table)
    except ValidationError as error:
        first = error.errors()[0]
        what = {"missing": "is missing", "extra_forbidden": "is unknown"}.get(
            first["type"], "must be a text of at most 1000 characters"
        )
        raise UsageError(f"{limits}: [shop] {'.'.join(map(str, first['loc']))} {what}; it takes {known}") from None
