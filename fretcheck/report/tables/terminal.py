"""The result of an inspection on an 80-column screen, in the order in which it is wanted at the bench:

verdict, the neck, findings, what to do, what would sharpen the result, what to bear in mind.
"""

from rich.console import Console, Group, RenderableType
from rich.table import Table
from rich.text import Text

from fretcheck.inspection.document import InspectionDocument
from fretcheck.plain_text import IN_ASCII, plain_line
from fretcheck.report.tables.neck_cells import ASCII, Cell, Glyphs, glyphs_for, legend, neck_picture
from fretcheck.report.tables.plain_table import plain_table
from fretcheck.report.words import verdict_words as words

DECISION_WORDS = {decision: word.upper() for decision, word in words.DECISION_WORDS.items()}
DECISION_STYLES: dict[str | None, str] = {
    "pass": "bold black on green", "fail": "bold white on red", "undecided": "bold black on yellow", None: "bold",
}  # fmt: skip


def print_result(document: InspectionDocument, console: Console) -> None:
    console.print(result(document, glyphs=glyphs_for(console), width=min(console.width, 100)))


def result(document: InspectionDocument, *, glyphs: Glyphs, width: int = 80) -> RenderableType:
    show = Shown(glyphs)
    parts: list[RenderableType] = [_headline(document, show), Text()]
    parts += [_neck(document, glyphs, width), legend(glyphs), Text()]
    parts += [section("What is wrong"), _findings(document, show), Text()]
    if document.corrections or document.advice:
        parts += [section("What to do, in this order" if len(document.corrections) > 1 else "What to do")]
        parts += [show.text(line) for line in document.advice]
        parts += [_corrections(document, show)] if document.corrections else []
        parts += [show.text(words.predicted_sentence(document)), Text()]
    elif words.first_step(document):
        parts += [section("What to do"), show.text(words.first_step(document)), Text()]
    if document.rests_on:
        parts += [section("Measured by hand"), show.bullets(document.rests_on), Text()]
    if document.sharpeners:
        parts += [section("What would make this surer"), show.bullets([one.text for one in document.sharpeners]), Text()]
    aside = [f"Set aside: {reason} ({places})." for reason, places in words.set_aside_by_reason(document)]
    if document.warnings or aside:
        parts += [section("To be borne in mind"), show.bullets([*document.warnings, *aside]), Text()]
    return Group(*parts[:-1])


class Shown:
    """Texts as a console's character set can show them."""

    def __init__(self, glyphs: Glyphs) -> None:
        self._ascii = glyphs is ASCII

    def text(self, line: str, style: str = "") -> Text:
        """One text, without control characters."""
        return Text(self.signs(plain_line(line)), style=style)

    def signs(self, text: str) -> str:
        """A text of our own, its signs replaced where the console lacks them."""
        return text.translate(IN_ASCII) if self._ascii else text

    def title(self, document: InspectionDocument) -> Text:
        """The neck's name, and its serial."""
        name, serial = document.neck.name, document.neck.serial
        return self.text(name, style="bold").append_text(self.text(f"  ({serial})" if serial else "", style="dim"))

    def bullets(self, lines: list[str]) -> Table:
        """Lines with a hanging indent."""
        table = Table.grid(padding=(0, 1))
        table.add_column(no_wrap=True)
        table.add_column(overflow="fold")
        for line in lines:
            table.add_row(" -", self.text(line))
        return table


def section(title: str) -> Text:
    """Heading of a part."""
    return Text(title, style="bold underline")


def _headline(document: InspectionDocument, show: Shown) -> RenderableType:
    verdict = document.verdict
    word = DECISION_WORDS[verdict.decision]
    badge = Text(f" {word}{words.headline(document)[len(word) :]} ", style=DECISION_STYLES[verdict.decision])
    line = Text.assemble(badge, "  ", show.text(words.reason_of(document)))
    heard = (f"{words.heard_words(document)}.", words.looked_for(document), words.not_listened_to(document))
    rest = [show.text(words.in_short(document), style="bold"), show.text(words.worst_sentence(document))]
    rest.append(show.text(" ".join(one for one in heard if one)))
    return Group(show.title(document), line, *(one for one in rest if one.plain))


def _neck(document: InspectionDocument, glyphs: Glyphs, width: int) -> Text:
    """All notes, missing ones included."""
    described = document.neck.description
    cells = dict.fromkeys(document.missing, Cell(None, None))
    cells |= {(one.string, one.fret): Cell(one.deviation_cents if one.plucks else None, one.decision) for one in document.frets}
    names = [plain_line(str(string["note"])) for string in described.get("strings", [])]
    names = names or [""] * max((one.string for one in document.frets), default=0)
    frets = int(described.get("frets", max((one.fret for one in document.frets), default=0)))
    return neck_picture(cells, string_names=names, frets=frets, glyphs=glyphs, width=width)


def _findings(document: InspectionDocument, show: Shown) -> RenderableType:
    if not document.findings:
        return show.bullets(["Nothing beyond what the readings can show."])
    table = plain_table(padding=(0, 1), show_header=False)
    table.add_column(justify="right", style="bold", no_wrap=True)
    table.add_column(overflow="fold", ratio=1)
    table.add_column(justify="right", no_wrap=True, style="dim")
    for number, finding in enumerate(document.findings, start=1):
        table.add_row(f"{number}.", show.text(finding.text), show.text(f"{words.sureness(finding.probability)} sure"))
        for rival in finding.rivals:
            table.add_row("", show.text(f"May as well be: {rival.text}"), show.text(words.sureness(rival.share)))
        if finding.rivals and finding.decided_by:
            table.add_row("", show.text(f"What would decide: {finding.decided_by}"), "")
    return table


def _corrections(document: InspectionDocument, show: Shown) -> RenderableType:
    table = plain_table(padding=(0, 1))
    table.add_column("", justify="right", style="bold", no_wrap=True)
    table.add_column("", overflow="fold", ratio=1)
    table.add_column("after it: worst\nnote, all within", justify="right", no_wrap=True)
    for number, correction in enumerate(document.corrections, start=1):
        worst = correction.predicted.worst_cents
        after = "" if worst is None else f"{worst:.1f} c"
        within = correction.predicted.probability_within
        after += "" if within is None else f", {words.sureness(within)}"
        table.add_row(f"{number}.", show.text(correction.text), show.text(after))
    return table
