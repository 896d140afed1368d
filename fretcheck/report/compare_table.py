"""A comparison of two inspections on an 80-column screen."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.console import Console, Group, RenderableType
from rich.table import Table
from rich.text import Text

from fretcheck.plain_text import plain_line, signed
from fretcheck.report.comparison_words import corrected_part, headline, part_name, summary, worth_showing
from fretcheck.report.neck_cells import glyphs_for
from fretcheck.report.page import moment
from fretcheck.report.terminal import DECISION_STYLES, Shown, section

if TYPE_CHECKING:
    from fretcheck.inspection.comparison import Comparison
    from fretcheck.inspection.document import InspectionDocument

MOST_NOTES = 12


def print_comparison(comparison: Comparison, before: InspectionDocument, after: InspectionDocument, console: Console) -> None:
    """Print the comparison."""
    console.print(comparison_text(comparison, before, after, Shown(glyphs_for(console))))


def comparison_text(comparison: Comparison, before: InspectionDocument, after: InspectionDocument, show: Shown) -> RenderableType:
    """The comparison as one renderable."""
    title = show.text(after.neck.name, style="bold")
    if after.neck.serial:
        title.append_text(show.text(f"  ({after.neck.serial})", style="dim"))
    badge = Text(f" {headline(before, after).upper()} ", style=DECISION_STYLES[after.verdict.decision])
    parts: list[RenderableType] = [title, badge]
    parts += [show.text(f"{_which(before)}  →  {_which(after)}", style="dim"), show.text(summary(comparison)), Text()]
    if comparison.corrections:
        parts += [section("What came of each correction"), _corrections(comparison, show)]
    parts += [show.text(comparison.prediction_text), Text()]
    parts += [section("Parts, before and after"), _causes(comparison, before, after, show), Text()]
    parts += [section("Notes that changed most, in cents"), _notes(comparison, show)]
    if comparison.remarks:
        parts += [Text(), section("To be borne in mind"), show.bullets(list(comparison.remarks))]
    return Group(*parts)


def _which(document: InspectionDocument) -> str:
    return f"{plain_line(document.id or 'not kept')}, {moment(document.taken_at)}"


def _table(show: Shown, *columns: str) -> Table:
    table = Table(box=None, padding=(0, 1), pad_edge=False, header_style="dim")
    for number, name in enumerate(columns):
        table.add_column(show.signs(name), justify="left" if number == 0 else "right", no_wrap=True)
    return table


def _corrections(comparison: Comparison, show: Shown) -> Table:
    table = _table(show, "", "asked, mm", "found, mm", "±")
    table.add_column("")
    for one in comparison.corrections:
        numbers = [
            None if one.asked_mm is None else signed(one.asked_mm, 2),
            None if one.moved_mm is None else signed(one.moved_mm, 2),
        ]
        u = "" if one.u_mm is None else f"{one.u_mm:.2f}"
        outcome = Text(one.outcome, style="green" if one.outcome == "done as advised" else "bold")
        table.add_row(corrected_part(one), *(show.text(number or "–") for number in numbers), u, outcome)
    return table


def _causes(comparison: Comparison, before: InspectionDocument, after: InspectionDocument, show: Shown) -> RenderableType:
    rows = worth_showing(comparison, before, after)
    if not rows:
        return show.bullets(["No part changed beyond chance, and none was a finding."])
    table = _table(show, "", "before", "after", "change", "±", "")
    table.add_column("")
    for one in rows:
        numbers = [show.text(signed(value, 2)) for value in (one.before, one.after, one.change)]
        said = Text("changed", style="bold") if one.changed else Text("as before", style="dim")
        table.add_row(part_name(one.cause, fret=one.fret, string=one.string), *numbers, f"{one.u:.2f}", one.unit, said)
    return table


def _notes(comparison: Comparison, show: Shown) -> RenderableType:
    changed = sorted(comparison.changed_notes, key=lambda one: -abs(one.change_cents))
    if not changed:
        return show.bullets(["None beyond chance."])
    table = _table(show, "string", "fret", "before", "after", "change", "±")
    for one in changed[:MOST_NOTES]:
        numbers = [show.text(signed(value)) for value in (one.before_cents, one.after_cents, one.change_cents)]
        table.add_row(str(one.string), str(one.fret), *numbers, f"{one.u_cents:.1f}")
    if len(changed) <= MOST_NOTES:
        return table
    return Group(table, show.text(f"… and {len(changed) - MOST_NOTES} more.", style="dim"))
