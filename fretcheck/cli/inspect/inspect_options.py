"""Options of `inspect` alone: what the person at the bench tells of the day, and of many necks."""

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Annotated

import typer

from fretcheck.errors import UsageError


@dataclass(frozen=True, kw_only=True)
class DayOptions:
    """The options as given."""

    operator: Annotated[str | None, typer.Option(help="Who measured.")] = None
    bench: Annotated[str | None, typer.Option(help="At which bench or in which room, where there are several.")] = None
    temperature: Annotated[float | None, typer.Option(metavar="°C", help="Of the room.")] = None
    humidity: Annotated[float | None, typer.Option(metavar="%", help="Of the room.")] = None
    measured: Annotated[
        list[str] | None,
        typer.Option(metavar="WHAT=MM", help="By hand, for this time: first_fret_clearance=0.62, nut_to_fret@7=215.4."),
    ] = None
    worked: Annotated[
        list[str] | None,
        typer.Option(
            metavar="PART", help="nut, saddle, frets, neck or strings: its measurements in the description are not used."
        ),
    ] = None

    def check(self) -> None:
        """Refuse, before the work, what no room and no person is. Raises UsageError: one line with the cure."""
        if self.temperature is not None and not -10.0 <= self.temperature <= 50.0:
            raise UsageError(
                f"--temperature {self.temperature:g} is no room's: −10 to 50 °C (degrees Fahrenheit? 68 °F is 20 °C)"
            )
        if self.humidity is not None and not 0.0 <= self.humidity <= 100.0:
            raise UsageError(f"--humidity {self.humidity:g} is outside 0 to 100 %")
        for option, name in (("--operator", self.operator), ("--bench", self.bench)):
            if name is not None and not name.strip():
                raise UsageError(f"{option} is empty: give a name, or leave it out")


@dataclass(frozen=True, kw_only=True)
class ManyOptions:
    """The options as given."""

    serials_from: Annotated[Path | None, typer.Option(metavar="FILE", help="Many necks: which, one serial or range a line.")] = (
        None
    )
    processes: Annotated[int | None, typer.Option(metavar="N", min=1, help="Many necks: processes. Else: one a core.")] = None
    scheduler: Annotated[str | None, typer.Option(metavar="ADDRESS", help="Many necks: a Dask cluster's scheduler.")] = None

    def chosen(self) -> list[str]:
        """Those that were given."""
        return [f"--{name.replace('_', '-')}" for name, value in asdict(self).items() if value is not None]
