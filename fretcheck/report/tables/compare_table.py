"""A comparison of two inspections on an 80-column screen."""

from rich.console import Console, Group, RenderableType
from rich.table import Table
from rich.text import Text

from fretcheck.inspection.comparison import Comparison
from fretcheck.inspection.document import InspectionDocument
from fretcheck.plain_text import moment, plain_line, signed
from fretcheck.report.tables.neck_cells import glyphs_for
from fretcheck.report.tables.plain_table import plain_table
from fretcheck.report.tables.terminal import DECISION_STYLES, Shown, section
from fretcheck.report.words.comparison_words import corrected_part, finding_then, headline, part_name, summary
from fretcheck.report.words.verdict_words import sureness

MOST_NOTES = 12
OUTCOME_STYLES = {"done as advised": "green", "not done": "dim", "cannot be told": "dim"}  # Only work that was done is judged


def print_comparison(comparison: Comparison, before: InspectionDocument, after: InspectionDocument, console: Console) -> None:
    console.print(comparison_text(comparison, before, after, Shown(glyphs_for(console))))


def comparison_text(comparison: Comparison, before: InspectionDocument, after: InspectionDocument, show: Shown) -> RenderableType:
    """The comparison as one renderable."""
    kind, words = headline(comparison, before, after)
    badge = Text(f" {words.upper()} ", style=DECISION_STYLES[kind])
    which = show.text(f"{_which(before)}  →  {_which(after)}", style="dim")
    parts: list[RenderableType] = [show.title(after), badge, which, show.text(summary(comparison, before, after)), Text()]
    if comparison.corrections:
        parts += [section("What came of each correction"), _corrections(comparison, show)]
    parts += [show.text(comparison.prediction_text), Text(), section("What was moved"), _parts(comparison, show), Text()]
    if comparison.findings:
        found = show.bullets([finding_then(one) for one in comparison.findings])
        parts += [section("What was found, before and now"), found, Text()]
    parts += [section("Notes that changed most, in cents"), _notes(comparison, show)]
    if comparison.remarks:
        parts += [Text(), section("To be borne in mind"), show.bullets(list(comparison.remarks))]
    return Group(*parts)


def _which(document: InspectionDocument) -> str:
    return f"{plain_line(document.id or 'not kept')}, {moment(document.taken_at)}"


def _corrections(comparison: Comparison, show: Shown) -> Table:
    table = plain_table("", ">asked, mm", ">found, mm", show.signs(">±"), "", padding=(0, 1))
    for one in comparison.corrections:
        numbers = [show.text("–" if mm is None else signed(mm, 2)) for mm in (one.asked_mm, one.moved_mm)]
        u = "" if one.u_mm is None else f"{one.u_mm:.2f}"
        outcome = Text(one.outcome, style=OUTCOME_STYLES.get(one.outcome, "bold"))
        table.add_row(corrected_part(one), *numbers, u, outcome)
    return table


def _parts(comparison: Comparison, show: Shown) -> RenderableType:
    if not comparison.parts:
        return show.bullets(["No part was surely moved."])
    table = plain_table("", ">moved by", show.signs(">±"), ">", ">sure", padding=(0, 1))
    for one in comparison.parts:
        number, sure = show.text(signed(one.change, 2)), show.text(sureness(one.probability))
        table.add_row(part_name(one.kind, fret=one.fret, string=one.string), number, f"{one.u:.2f}", one.unit, sure)
    return table


def _notes(comparison: Comparison, show: Shown) -> RenderableType:
    changed = sorted(comparison.changed_notes, key=lambda one: -abs(one.change_cents))
    if not changed:
        return show.bullets(["None surely changed."])
    table = plain_table("string", ">fret", ">before", ">after", ">change", ">sure", padding=(0, 1))
    for one in changed[:MOST_NOTES]:
        numbers = [show.text(signed(value)) for value in (one.before_cents, one.after_cents, one.change_cents)]
        table.add_row(str(one.string), str(one.fret), *numbers, show.text(sureness(one.probability)))
    if len(changed) <= MOST_NOTES:
        return table
    return Group(table, show.text(f"… and {len(changed) - MOST_NOTES} more.", style="dim"))
