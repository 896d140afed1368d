"""The options that tell what was measured by hand for an inspection, and what was worked on before it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated

import typer

from fretcheck.inspection.assemble import Circumstances
from fretcheck.neck.description import Neck
from fretcheck.neck.on_the_day import given, worked_parts
from fretcheck.neck.reading import read_neck

MeasuredOption = Annotated[
    list[str] | None,
    typer.Option("--measured", metavar="WHAT=MM", help="By hand, for this time: first_fret_clearance=0.62, nut_to_fret@7=215.4."),
]
WorkedOption = Annotated[
    list[str] | None,
    typer.Option(
        "--worked", metavar="PART", help="nut, saddle, frets, neck or strings: its measurements in the description are not used."
    ),
]


@dataclass(frozen=True, kw_only=True)
class ByHand:
    """The options as typed."""

    measured: list[str]
    worked: list[str]

    def beside(self, circumstances: Circumstances, neck: Neck) -> Circumstances:
        """The circumstances with these.

        Raises
        ------
        UsageError
            For one that is none; one line with the cure.
        """
        return replace(circumstances, measured=given(self.measured, neck), worked=worked_parts(self.worked))

    def of_file(self, circumstances: Circumstances, neck: Path) -> Circumstances:
        """The same for a description in a file, which is read only where there is anything to check."""
        if not self.measured and not self.worked:
            return circumstances
        return self.beside(circumstances, read_neck(neck))
