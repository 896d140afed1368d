"""The limits that an inspection is judged by."""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Any

import typer

from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.diagnosis.settings_file import read_settings
from fretcheck.errors import FretcheckError
from fretcheck.lots.lot_register import latest_repeatability
from fretcheck.register.store import open_register

LimitsOption = Annotated[
    Path | None, typer.Option(metavar="FILE", help="TOML file with limits of your own: fret_position_mm, risk …")
]


@dataclass(frozen=True, kw_only=True)
class LimitOptions:
    """The options as given."""

    tolerance: Annotated[
        float | None, typer.Option(metavar="CENTS", help="Limit on a note, instead of the neck's tolerance_cents.")
    ] = None
    risk: Annotated[
        float | None, typer.Option(metavar="SHARE", help="Largest risk of a wrong pass or fail.  [default: 0.05]")
    ] = None
    guard_band: Annotated[
        float | None, typer.Option(metavar="CENTS", help="Pass only this far inside the limit, fail only this far outside.")
    ] = None
    limits: LimitsOption = None

    def settings(self) -> DiagnosisSettings:
        """The options as settings; an option on the command line wins over the file.

        Raises UsageError for a value out of range, or a file that cannot be used.
        """
        settings = DiagnosisSettings() if self.limits is None else read_settings(self.limits)
        given: dict[str, Any] = {"limit_cents": self.tolerance, "risk": self.risk, "guard_band_cents": self.guard_band}
        return replace(settings, **{name: value for name, value in given.items() if value is not None})


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
