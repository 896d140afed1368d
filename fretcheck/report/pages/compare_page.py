"""The page of a comparison: what became of the corrections, the parts and the notes."""

from collections.abc import Sequence

from markupsafe import Markup

from fretcheck.inspection.comparison import Comparison, NoteChange
from fretcheck.inspection.document import InspectionDocument
from fretcheck.plain_text import signed
from fretcheck.report.figures import drawing
from fretcheck.report.figures.panel import Panel, canvas
from fretcheck.report.pages.cells_on_page import CellOnPage
from fretcheck.report.pages.inspection_page import open_note, running_line
from fretcheck.report.pages.page import render
from fretcheck.report.words.comparison_words import corrected_part, finding_then, headline, part_name, summary

WIDTH, HEIGHT = 360.0, 206.0


def compare_page(comparison: Comparison, before: InspectionDocument, after: InspectionDocument) -> str:
    strings, limit = sorted({one.string for one in comparison.notes}), after.verdict.limit_cents
    reach = 1.12 * max(2.0 * limit, *(max(abs(one.before_cents), abs(one.after_cents)) for one in comparison.notes))
    notes_of = {string: [one for one in comparison.notes if one.string == string] for string in strings}
    return render(
        "comparison.html",
        running=running_line(before, after),
        comparison=comparison,
        before=before,
        after=after,
        headline=headline(comparison, before, after),
        summary=summary(comparison, before, after),
        corrections=[(corrected_part(one), one) for one in comparison.corrections],
        parts_moved=[(part_name(one.kind, fret=one.fret, string=one.string), one) for one in comparison.parts],
        findings=[finding_then(one) for one in comparison.findings],
        cells={(one.string, one.fret): _cell(one) for one in comparison.notes},
        curves=[
            change_figure(notes, string=string, note=open_note(after, string), limit_cents=limit, reach_cents=reach)
            for string, notes in notes_of.items()
        ],
    )


def _cell(one: NoteChange) -> CellOnPage:
    """How much a note changed."""
    sharper = one.change_cents > 0
    words = f"{abs(one.change_cents):.0f} cents {'sharper' if sharper else 'flatter'}"
    if not one.changed:
        return CellOnPage("unheard", signed(one.change_cents, 0), f"{words}, not surely changed")
    return CellOnPage("sharp" if sharper else "flat", f"{'▲' if sharper else '▼'}{abs(one.change_cents):.0f}", words)


def change_figure(notes: Sequence[NoteChange], *, string: int, note: str, limit_cents: float, reach_cents: float) -> Markup:
    """One string before (hollow) and after (filled)."""
    frets = [one.fret for one in notes]
    with drawing.style():
        figure = drawing.new_figure(WIDTH, HEIGHT)
        axes, ends = canvas(figure, width=WIDTH, height=HEIGHT), (min(frets) - 0.7, max(frets) + 0.7)
        edges = {"left": 42.0, "right": WIDTH - 4.0, "bottom": 33.0, "top": HEIGHT - 22.0}
        panel = Panel(axes=axes, **edges, frets=ends, reach_cents=reach_cents)
        panel.tolerance(limit_cents)
        panel.scale_of_cents()
        panel.scale_of_frets()
        panel.heading(f"String {string}  {note}")
        panel.bars([(one.fret, one.before_cents, one.after_cents) for one in notes], color=drawing.LINE, linewidth=1.4)
        hollow, filled = ([one.before_cents for one in notes], [one.after_cents for one in notes])
        points = {"linestyle": "none", "marker": "o", "markersize": 5.5}
        panel.line(frets, hollow, color=drawing.SOFT, markerfacecolor=drawing.PAPER, **points)
        panel.line(frets, filled, color=drawing.INK, **points)
        words = f"Before: at most {max(map(abs, hollow)):.1f} cents off; after: {max(map(abs, filled)):.1f} cents. "
        words += f"Tolerance ±{limit_cents:g} cents."
        title = f"String {string}, {note}, before and after"
        return drawing.as_svg(figure, name=f"string-{string}", title=title, description=words)
