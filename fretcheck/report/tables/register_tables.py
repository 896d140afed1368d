"""The register on an 80-column screen: lists of inspections, and how one was measured.

Conventions: whatever a user typed is shown as text: control characters as escapes, no markup. Days and times are those of the
bench's own clock. The worst note is string/fret and its deviation in cents, positive sharp.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from rich.cells import cell_len
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from fretcheck.plain_text import plain_line
from fretcheck.register.selection import InspectionSummary
from fretcheck.register.store import KeptSound
from fretcheck.report.tables.plain_table import plain_table

if TYPE_CHECKING:
    from fretcheck.inspection.document import InspectionDocument

_GAP = 2
_DECISION_STYLES = {"pass": "green", "fail": "bold red", "undecided": "yellow", "none": "dim"}


def summary_table(found: Sequence[InspectionSummary], *, width: int = 80) -> Table:
    """Inspections (at least one) as a table, a line each; only a long serial is folded, for it must be readable whole.

    `found`: in the order in which to show them. `width`: of the screen, in characters.
    """
    serials = [plain_line(one.serial or "") for one in found]
    widths = {
        "Id": max(len(one.id) for one in found),
        "Taken": len("2026-03-14"),
        "Serial": min(max(cell_len("Serial"), *map(cell_len, serials)), 14),
        "Verdict": len("undecided"),
        "Worst, cents": len("Worst, cents"),
    }
    widths["Neck"] = max(8, width - sum(widths.values()) - len(widths) * _GAP)
    table = plain_table(gap=_GAP, header_style="bold")
    for title in ("Id", "Taken", "Serial", "Neck", "Verdict", "Worst, cents"):
        folds = title == "Serial"
        table.add_column(
            title, width=widths[title], no_wrap=not folds, overflow="fold" if folds else "ellipsis",
            justify="right" if title == "Worst, cents" else "left",
        )  # fmt: skip
    for one, serial in zip(found, serials, strict=True):
        table.add_row(
            Text(one.id),
            Text(_when(one.taken_at)[:10]),
            Text(serial),
            Text(plain_line(one.name)),
            Text(one.decision, style=_DECISION_STYLES[one.decision]),
            Text("unknown" if one.worst_cents is None else f"{one.worst_string}/{one.worst_fret} {one.worst_cents:+.1f}"),
        )
    return table


def circumstances(document: InspectionDocument, *, sounds: Sequence[KeptSound]) -> RenderableType:
    """How an inspection was measured, and what became of its sound files."""
    how = document.conditions
    table = plain_table(padding=(0, 1), show_header=False)
    table.add_column(style="dim", no_wrap=True)
    table.add_column(overflow="fold", ratio=1)
    rows = [
        ("Inspection", document.id),
        ("Taken", _when(document.taken_at)),
        ("Plan", how.plan),
        ("Heard through", how.source),
        ("Sample rate", _with(how.sample_rate_hz, "Hz")),
        ("Reference A4", _with(how.reference_hz, "Hz")),
        ("Operator", how.operator),
        ("Room", ", ".join(filter(None, (_with(how.temperature_c, "°C"), _with(how.humidity_pct, "% humidity"))))),
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


def _with(value: float | None, unit: str) -> str | None:
    return None if value is None else f"{value:g} {unit}"
