"""What a shop's paper needs besides the measurement: customer, job, price …; and the shop itself."""

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Annotated

import typer
from pydantic import ValidationError

from fretcheck.diagnosis.settings_file import read_toml
from fretcheck.errors import UsageError
from fretcheck.inspection.document import JobPart, ShopPart


@dataclass(frozen=True, kw_only=True)
class JobOptions:
    """The options as given."""

    customer: Annotated[str | None, typer.Option(metavar="NAME", help="For the sheet: whose instrument it is.")] = None
    instrument: Annotated[str | None, typer.Option(metavar="TEXT", help="For the sheet: make, model, year.")] = None
    job: Annotated[str | None, typer.Option(metavar="NUMBER", help="For the sheet: the shop's own number.")] = None
    string_set: Annotated[str | None, typer.Option(metavar="TEXT", help="For the sheet: the strings on it.")] = None
    notes: Annotated[str | None, typer.Option(metavar="TEXT", help="For the sheet: what else is to be said.")] = None
    price: Annotated[str | None, typer.Option(metavar="TEXT", help="For the sheet: as agreed, such as '80 EUR'.")] = None

    def part(self, *, limits: Path | None) -> JobPart:
        """The options as they are kept, with the shop of the limits file.

        Raises UsageError for a text that is too long, or a ``[shop]`` that is none.
        """
        given = asdict(self)
        try:
            return JobPart(**given, shop=None if limits is None else shop_of(limits))
        except ValidationError as error:
            name = str(error.errors()[0]["loc"][0])
            count = len(given[name] or "")
            raise UsageError(f"--{name.replace('_', '-')} has {count} characters; a sheet has room for 1000") from None


def shop_of(limits: Path) -> ShopPart | None:
    """The shop that a limits file names in its table ``[shop]``; None where it has none.

    Raises UsageError for a table with an unknown or missing name, or a value that is no text; one line with file and name.
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
