"""The result of an inspection on an 80-column screen, in the order in which it is wanted at the bench:

verdict, the neck, findings, what to do, what would sharpen the result, warnings.
"""

from __future__ import annotations

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from fretcheck.plain_text import plain_line
from fretcheck.register.document import InspectionDocument
from fretcheck.report.neck_cells import Cell, Glyphs, glyphs_for, legend, neck_picture

DECISION_WORDS = {"pass": "WITHIN TOLERANCE", "fail": "OUT OF TOLERANCE", "undecided": "UNDECIDED"}
DECISION_STYLES = {"pass": "bold black on green", "fail": "bold white on red", "undecided": "bold black on yellow"}


def print_result(document: InspectionDocument, console: Console) -> None:
    """Print the result of one inspection."""
    console.print(result(document, glyphs=glyphs_for(console), width=min(console.width, 100)))


def result(document: InspectionDocument, *, glyphs: Glyphs, width: int = 80) -> RenderableType:
    """The whole result as one renderable."""
    parts: list[RenderableType] = [_headline(document), Text()]
    parts += [_neck(document, glyphs, width), legend(glyphs), Text()]
    parts += [_section("What is wrong"), *_findings(document), Text()]
    if document.corrections:
        parts += [_section("What to do, in this order"), _corrections(document), Text()]
    if document.sharpeners:
        parts += [_section("What would make this surer"), *(_bullet(one.text) for one in document.sharpeners), Text()]
    if document.warnings or document.set_aside:
        parts += [_section("Note"), *(_bullet(line) for line in document.warnings)]
        parts += [_bullet(line) for line in _set_aside(document)]
    return Group(*parts)


def cells_of(document: InspectionDocument) -> dict[tuple[int, int], Cell]:
    """The document's notes as cells, missing ones included."""
    cells = {(one.string, one.fret): Cell(one.deviation_cents, one.decision) for one in document.frets}
    for string, fret in document.missing:
        cells.setdefault((string, fret), Cell(None, None))
    return cells


def string_names_of(document: InspectionDocument) -> list[str]:
    """Open notes of the document's strings, string 1 first."""
    strings = document.neck.description.get("strings", [])
    count = max((one.string for one in document.frets), default=0)
    return [str(string["note"]) for string in strings] or [""] * count


def _headline(document: InspectionDocument) -> RenderableType:
    verdict = document.verdict
    title = Text(plain_line(document.neck.name), style="bold")
    if document.neck.serial:
        title.append(f"  ({plain_line(document.neck.serial)})", style="dim")
    line = Text.assemble((f" {DECISION_WORDS[verdict.decision]} ", DECISION_STYLES[verdict.decision]), "  ")
    line.append(plain_line(verdict.reason) or f"against ±{verdict.limit_cents:g} cents")
    return Group(title, line)


def _neck(document: InspectionDocument, glyphs: Glyphs, width: int) -> Text:
    frets = max((one.fret for one in document.frets), default=0)
    frets = int(document.neck.description.get("frets", frets))
    return neck_picture(cells_of(document), string_names=string_names_of(document), frets=frets, glyphs=glyphs, width=width)


def _findings(document: InspectionDocument) -> list[RenderableType]:
    if not document.findings:
        return [_bullet("Nothing beyond what the data can show.")]
    table = Table(box=None, show_header=False, padding=(0, 1), pad_edge=False)
    table.add_column(justify="right", style="bold")
    table.add_column()
    table.add_column(justify="right", no_wrap=True, style="dim")
    for number, finding in enumerate(document.findings, start=1):
        table.add_row(f"{number}.", Text(plain_line(finding.text)), f"{sureness(finding.probability)} sure")
    return [table]


def _corrections(document: InspectionDocument) -> RenderableType:
    table = Table(box=None, show_header=True, header_style="dim", padding=(0, 1), pad_edge=False)
    table.add_column("")
    table.add_column("")
    table.add_column("worst note\nafter it", justify="right", no_wrap=True)
    for number, correction in enumerate(document.corrections, start=1):
        after = "" if correction.worst_after_cents is None else f"{abs(correction.worst_after_cents):.1f} c"
        table.add_row(f"{number}.", Text(plain_line(correction.text)), after)
    return table


def _set_aside(document: InspectionDocument) -> list[str]:
    lines = []
    for one in document.set_aside[:5]:
        where = f"String {one.string}, " if one.string else ""
        lines.append(f"{where}at {one.start_s:.1f} s, set aside: {one.reason}")
    if len(document.set_aside) > 5:
        lines.append(f"… and {len(document.set_aside) - 5} more sounds set aside.")
    return lines


def sureness(probability: float) -> str:
    """A probability as a person would say it, never a false 100 %."""
    percent = 100.0 * probability
    if percent > 99.0:
        return "> 99 %"
    if percent < 1.0:
        return "< 1 %"
    return f"{percent:.0f} %"


def _section(title: str) -> Text:
    return Text(title, style="bold underline")


def _bullet(text: str) -> RenderableType:
    return Padding(Text(f"- {plain_line(text)}"), (0, 0, 0, 1))
