"""What the options given come to: settings, circumstances, and the job a sheet is written for."""

from dataclasses import asdict, replace
from pathlib import Path

from pydantic import ValidationError

from fretcheck.cli.inspect.inspect_options import DayOptions
from fretcheck.cli.shared_options import JobOptions
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.diagnosis.settings_file import read_toml
from fretcheck.errors import FretcheckError, UsageError
from fretcheck.inspection.assemble import Circumstances
from fretcheck.inspection.document import JobPart, ShopPart
from fretcheck.lots.lot_register import latest_repeatability
from fretcheck.neck.description import Neck
from fretcheck.neck.measured import given, worked_parts
from fretcheck.register.store import open_register


def with_gauge_study(
    settings: DiagnosisSettings, register: str | None, *, operator: str | None, bench: str | None
) -> DiagnosisSettings:
    """Settings with what the newest gauge study of this operator at this bench found, unless they say it themselves.

    A register that is missing or fails changes nothing here: the result comes first, and keeping it will tell.
    """
    if settings.gauge_repeatability_cents is not None:
        return settings
    try:
        with open_register(register, create=False) as store:
            unseen = latest_repeatability(store, operator=operator, bench=bench)
            return replace(settings, gauge_repeatability_cents=unseen or None)
    except FretcheckError:
        return settings


def circumstances_of(day: DayOptions, job: JobPart, neck: Neck | None = None) -> Circumstances:
    """The options as they are kept; what was measured only with the neck it was measured on.

    Raises UsageError for a measurement or part that is none.
    """
    return Circumstances(
        operator=day.operator,
        bench=day.bench,
        temperature_c=day.temperature,
        humidity_pct=day.humidity,
        job=job,
        measured=() if neck is None else given(day.measured or [], neck),
        worked=worked_parts(day.worked or []),
    )


def job_part(options: JobOptions, *, limits: Path | None) -> JobPart:
    """The options as they are kept, with the shop of the limits file.

    Raises UsageError for a text that is too long, or a ``[shop]`` that is none.
    """
    given = asdict(options)
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
    known = ", ".join(ShopPart.model_fields)
    try:
        return None if table is None else ShopPart.model_validate(table)
    except ValidationError as error:
        first = error.errors()[0]
        if not first["loc"]:
            raise UsageError(f"{limits}: shop = {table!r}: must be a table, [shop], with {known}") from None
        kinds = {"missing": "is missing", "extra_forbidden": "is unknown"}
        what = kinds.get(first["type"], "must be a text of at most 1000 characters")
        raise UsageError(f"{limits}: [shop] {'.'.join(map(str, first['loc']))} {what}; it takes {known}") from None
