"""The register on an 80-column screen: lists of inspections, and how one was measured.

Conventions
-----------
Whatever a user typed is shown as text: control characters as escapes, no markup. Moments are shown with the bench's own clock.
The worst note is string/fret and its deviation in cents, positive sharp.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from fretcheck.plain_text import plain_line
from fretcheck.register.selection import InspectionSummary

if TYPE_CHECKING:
    from fretcheck.register.document import InspectionDocument
    from fretcheck.register.store import KeptSound

_DECISION_STYLES = {"pass": "green", "fail": "bold red", "undecided": "yellow"}


def summary_table(found: Sequence[InspectionSummary]) -> Table:
    """Inspections as a table, one line each unless a serial is long; `found` must not be empty."""
    table = Table(box=None, pad_edge=False, show_edge=False, header_style="bold")
    table.add_column("Id", no_wrap=True, min_width=max(len(one.id) for one in found))
    table.add_column("Taken", no_wrap=True, min_width=16)
    table.add_column("Serial", overflow="fold", max_width=14)
    table.add_column("Neck", no_wrap=True, overflow="ellipsis", ratio=1)
    table.add_column("Verdict", no_wrap=True, min_width=9)
    table.add_column("Worst, cents", no_wrap=True, justify="right", min_width=12)
    for one in found:
        table.add_row(
            Text(one.id),
            Text(_when(one.taken_at)),
            Text(plain_line(one.serial or "")),
            Text(plain_line(one.name)),
            Text(one.decision, style=_DECISION_STYLES[one.decision]),
            Text(_worst(one)),
        )
    return table


def circumstances(document: InspectionDocument, *, sounds: Sequence[KeptSound]) -> RenderableType:
    """How an inspection was measured, and what became of its sound files."""
    how = document.conditions
    table = Table(box=None, pad_edge=False, show_header=False, show_edge=False)
    table.add_column(style="dim", no_wrap=True)
    table.add_column(overflow="fold", ratio=1)
    rows = [
        ("Inspection", document.id),
        ("Taken", _when(document.taken_at)),
        ("Plan", how.plan),
        ("Heard through", how.source),
        ("Sample rate", None if how.sample_rate_hz is None else f"{how.sample_rate_hz:g} Hz"),
        ("Reference A4", None if how.reference_hz is None else f"{how.reference_hz:g} Hz"),
        ("Operator", how.operator),
        ("Room", _room(how.temperature_c, how.humidity_pct)),
        ("Software", None if document.software_version is None else f"fretcheck {document.software_version}"),
        ("Readings", f"{len(document.readings)}, of which {sum(one.used for one in document.readings)} used"),
    ]
    for label, value in rows:
        table.add_row(label, Text(plain_line(value) if value else "not told"))
    for number, sound in enumerate(sounds):
        table.add_row("" if number else "Sound files", Text(f"{plain_line(sound.path)}  {sound.state}"))
    return Group(Text(), Text("How it was measured", style="bold"), table)


def _when(taken_at: str | None) -> str:
    return "not told" if taken_at is None else f"{datetime.fromisoformat(taken_at):%Y-%m-%d %H:%M}"


def _worst(one: InspectionSummary) -> str:
    if one.worst_cents is None:
        return "unknown"
    return f"{one.worst_string}/{one.worst_fret} {one.worst_cents:+.1f}"


def _room(temperature_c: float | None, humidity_pct: float | None) -> str | None:
    parts = [
        None if temperature_c is None else f"{temperature_c:g} °C",
        None if humidity_pct is None else f"{humidity_pct:g} % humidity",
    ]
    return ", ".join(part for part in parts if part) or None
