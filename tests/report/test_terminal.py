"""The result on an 80-column screen."""

from __future__ import annotations

import io
import json

import pytest
from rich.console import Console

from fretcheck.inspection.comparison import compare
from fretcheck.inspection.document import InspectionDocument
from fretcheck.report.pages.condition_sheet import condition_sheet
from fretcheck.report.pages.inspection_page import inspection_page
from fretcheck.report.tables.compare_table import print_comparison
from fretcheck.report.tables.neck_cells import UNICODE, Cell, neck_picture
from fretcheck.report.tables.terminal import print_result
from fretcheck.report.words.verdict_words import sureness
from tests.report import documents
from tests.report.reading_html import read

pytestmark = pytest.mark.xdist_group("report")  # they share documents that take seconds to make


def screen(encoding: str = "utf-8") -> tuple[Console, io.BytesIO]:
    raw = io.BytesIO()
    return Console(file=io.TextIOWrapper(raw, encoding=encoding), width=80, legacy_windows=False, _environ={}), raw


def shown(document: InspectionDocument, encoding: str = "utf-8") -> str:
    console, raw = screen(encoding)
    print_result(document, console)
    console.file.flush()
    return raw.getvalue().decode(encoding)


def test_order_and_width() -> None:
    text = shown(documents.before())
    lines = text.splitlines()
    assert max(len(line) for line in lines) <= 80
    places = [
        text.find(part)
        for part in ("OUT OF TOLERANCE", "open 1", "What is wrong", "What to do, in this order", "What would make this surer")
    ]
    assert -1 not in places
    assert places == sorted(places)
    assert "sits 0." in text
    assert "too near the bridge" in text


def test_cells_stand_below_their_fret() -> None:
    cells = {(string, fret): Cell(0.2, "pass") for string in (1, 2) for fret in range(13)}
    cells |= {(2, 7): Cell(5.2, "fail"), (1, 12): Cell(-3.4, "undecided"), (1, 0): Cell(None, None)}
    picture = neck_picture(cells, string_names=["E4", "B3"], frets=12, glyphs=UNICODE, width=80).plain
    head, first, second = picture.splitlines()
    assert second[head.index("7")] == "▲"
    assert second[head.index("7") : head.index("8")].rstrip() == "▲5"
    assert first[head.index("12") :].rstrip() == "▼3?"
    assert first[head.index("open") : head.index("open") + 4].strip() == "–"
    assert all(second[head.index(str(fret)) : head.index(str(fret)) + 4].strip() == "·" for fret in (2, 3, 8, 9))


def test_plain_console_gets_plain_signs() -> None:
    text = shown(documents.before(), encoding="ascii")  # a sign that ASCII lacks would raise
    assert "^5" in text or "^6" in text
    assert "+/-0." in text


def test_hostile_names_stay_on_their_line() -> None:
    document = documents.before()
    neck = document.neck.model_copy(update={"name": "[bold]x[/bold]\n\x1b[31mred", "serial": "\x07\u202e"})
    text = shown(document.model_copy(update={"neck": neck}))
    assert text.splitlines()[0].rstrip() == "[bold]x[/bold]\\n\\x1b[31mred  (\\x07\\u202e)"


@pytest.mark.parametrize("encoding", ["utf-8", "ascii"])
def test_comparison_fits(encoding: str) -> None:
    console, raw = screen(encoding)
    before, after = documents.before(), documents.after()
    print_comparison(compare(before, after), before, after, console)
    console.file.flush()
    text = raw.getvalue().decode(encoding)
    assert max(len(line) for line in text.splitlines()) <= 80
    assert "done as advised" in text
    assert "work done the worst note was expected at" in text.replace("\n", " ")


def test_terminal_page_sheet_and_json_say_the_same_of_the_work() -> None:
    document = documents.before()
    kept = json.loads(document.to_json())
    texts = [
        " ".join(text.replace("\N{NO-BREAK SPACE}", " ").split())
        for text in (shown(document), read(inspection_page(document)).all("main")[0].text)
    ]
    sheet = " ".join(read(condition_sheet(document)).all("main")[0].text.replace("\N{NO-BREAK SPACE}", " ").split())
    promised = kept["predicted_after"]
    assert kept["corrections"][-1]["predicted"]["probability_within"] == promised["probability_within"]
    sure = sureness(promised["probability_within"]).replace("\N{NO-BREAK SPACE}", " ")
    assert f"{sure} sure" in sheet
    for text in texts:
        assert f"all notes within ±{document.verdict.limit_cents:g} cents with {sure}" in text
        assert f"worst note should lie at {promised['worst_cents']:.1f} cents" in text
        for step in kept["corrections"]:
            within = sureness(step["predicted"]["probability_within"]).replace("\N{NO-BREAK SPACE}", " ")
            assert f"{step['predicted']['worst_cents']:.1f} c" in text
            assert within in text
        for found in kept["findings"]:
            assert sureness(found["probability"]).replace("\N{NO-BREAK SPACE}", " ") in text


def test_frets_never_listened_to_are_named_once_on_page_and_terminal() -> None:
    document = documents.intake()
    for text in (shown(document), read(inspection_page(document)).all("main")[0].text):
        plain = " ".join(text.split())
        # an intake plays frets 1, 3, 5, 7, 9, 12, 15 and 20 of the twenty
        assert plain.count("2, 4, 6, 8, 10, 11, 13, 14, 16 to 19 were not listened to") == 1
        assert "100 %" not in plain  # nothing is that sure
