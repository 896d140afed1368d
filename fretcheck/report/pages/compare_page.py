"""The page of a comparison: what became of the corrections, the parts and the notes."""

from collections.abc import Sequence

from markupsafe import Markup

from fretcheck.inspection.comparison import Comparison, NoteChange
from fretcheck.inspection.document import InspectionDocument
from fretcheck.plain_text import moment, signed
from fretcheck.report.figures import drawing
from fretcheck.report.figures.panel import Panel, canvas
from fretcheck.report.pages.cells_on_page import CellOnPage, in_rows
from fretcheck.report.pages.inspection_page import open_note, running_line
from fretcheck.report.pages.page import render
from fretcheck.report.words.comparison_words import corrected_part, finding_then, headline, part_name, summary

WIDTH, HEIGHT = 360.0, 206.0


def compare_page(comparison: Comparison, before: InspectionDocument, after: InspectionDocument) -> str:
    strings = sorted({one.string for one in comparison.notes})
    reach = 1.12 * max(
        2.0 * after.verdict.limit_cents, *(max(abs(one.before_cents), abs(one.after_cents)) for one in comparison.notes)
    )
    return render(
        "comparison.html",
        running=running_line(before, after),
        comparison=comparison,
        before=before,
        after=after,
        facts=[
            ("Serial", after.neck.serial or before.neck.serial),
            ("Before", moment(before.taken_at)),
            ("After", moment(after.taken_at)),
            ("Inspections", f"{before.id} and {after.id}" if before.id and after.id else "not kept"),
            ("Tolerance before", f"±{before.verdict.limit_cents:g} cents"),
            ("Tolerance after", f"±{after.verdict.limit_cents:g} cents"),
        ],
        headline=headline(comparison, before, after),
        summary=summary(comparison, before, after),
        corrections=[(corrected_part(one), one) for one in comparison.corrections],
        parts_moved=[(part_name(one.kind, fret=one.fret, string=one.string), one) for one in comparison.parts],
        findings=[finding_then(one) for one in comparison.findings],
        cells=in_rows({(one.string, one.fret): _cell(one) for one in comparison.notes}),
        curves=[
            change_figure(
                [one for one in comparison.notes if one.string == string],
                string=string,
                note=open_note(after, string),
                limit_cents=after.verdict.limit_cents,
                reach_cents=reach,
            )
            for string in strings
        ],
        signed=signed,
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
        panel = Panel(
            axes=canvas(figure, width=WIDTH, height=HEIGHT),
            left=42.0,
            right=WIDTH - 4.0,
            bottom=33.0,
            top=HEIGHT - 22.0,
            frets=(min(frets) - 0.7, max(frets) + 0.7),
            reach_cents=reach_cents,
        )
        panel.tolerance(limit_cents)
        panel.scale_of_cents()
        panel.scale_of_frets()
        panel.heading(f"String {string}  {note}")
        panel.bars([(one.fret, one.before_cents, one.after_cents) for one in notes], color=drawing.LINE, linewidth=1.4)
        hollow, filled = ([one.before_cents for one in notes], [one.after_cents for one in notes])
        points = {"linestyle": "none", "marker": "o", "markersize": 5.5}
        panel.line(frets, hollow, color=drawing.SOFT, markerfacecolor=drawing.PAPER, **points)
        panel.line(frets, filled, color=drawing.INK, **points)
        return drawing.as_svg(
            figure,
            name=f"string-{string}",
            title=f"String {string}, {note}, before and after",
            description=f"Before: at most {max(map(abs, hollow)):.1f} cents off; after: {max(map(abs, filled)):.1f} cents. "
            f"Tolerance ±{limit_cents:g} cents.",
        )
