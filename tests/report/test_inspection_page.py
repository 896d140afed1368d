"""The page of an inspection: what it says, how it is built, and what a browser makes of it."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from fretcheck.diagnosis.result import Move, Rival
from fretcheck.inspection.document import InspectionDocument, JobPart, ShopPart
from fretcheck.plain_text import plain_line
from fretcheck.report.pages.inspection_page import inspection_page
from fretcheck.report.pages.report_file import report_page, usual_name, write_report
from tests.report import browser, documents
from tests.report.reading_html import Page, read

pytestmark = pytest.mark.xdist_group("report pages")  # they share documents that take seconds to make

HOSTILE = "<script>alert('x')</script>\"'&amp;\n\u202e😀 $x^2$ {{ 7 * 7 }} javascript:"


def hostile() -> InspectionDocument:
    """The demo's neck, with every text that a user or a file can bring as bad as can be."""
    document = documents.before()
    return document.model_copy(
        update={
            "id": HOSTILE,
            "taken_at": HOSTILE,
            "neck": document.neck.model_copy(
                update={
                    "name": HOSTILE,
                    "serial": HOSTILE * 3,
                    "description": {**document.neck.description, "name": HOSTILE, "measured": [{"what": HOSTILE, "mm": HOSTILE}]},
                }
            ),
            "findings": [replace(one, text=HOSTILE, cause=HOSTILE) for one in document.findings],
            "corrections": [replace(one, text=HOSTILE, moves=(Move(part=HOSTILE),)) for one in document.corrections],
            "warnings": [HOSTILE],
            "verdict": replace(document.verdict, reason=HOSTILE),
            "conditions": document.conditions.model_copy(update={"operator": HOSTILE, "source": HOSTILE, "plan": HOSTILE}),
            "readings": [
                replace(one, flags=[HOSTILE], why_not_used=HOSTILE if one.fret == 3 else None) for one in document.readings
            ],
        }
    )


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """One file each of the report, the intake's sheet and the hostile document."""
    folder = tmp_path_factory.mktemp("pages")
    return {
        "report": write_report(documents.before(), folder / "report.html"),
        "intake": write_report(documents.intake(), folder / "intake.html"),
        "hostile": write_report(hostile(), folder / "hostile.html", sheet=True, technical=True),
    }


@pytest.fixture(scope="module")
def read_pages(pages: dict[str, Path]) -> dict[str, Page]:
    """The same, read."""
    return {name: read(path.read_text(encoding="utf-8")) for name, path in pages.items()}


@pytest.mark.parametrize("name", ["report", "intake", "hostile"])
def test_page_is_whole(read_pages: dict[str, Page], name: str) -> None:
    page = read_pages[name]
    assert page.faults == []
    assert [len(page.all(tag)) for tag in ("header", "main", "footer", "title")][:3] == [1, 1, 1]
    assert page.all("html")[0].attributes["lang"] == "en"


@pytest.mark.parametrize("name", ["report", "intake", "hostile"])
def test_page_asks_for_nothing_and_runs_nothing(pages: dict[str, Path], read_pages: dict[str, Page], name: str) -> None:
    page, text = read_pages[name], pages[name].read_text(encoding="utf-8")
    assert page.all("script") == []
    for one in page.elements:
        for attribute, value in one.attributes.items():
            assert not attribute.startswith("on"), (one.name, attribute)
            if attribute in ("src", "href", "srcset", "data", "action", "poster", "xlink:href"):
                assert value.startswith("#"), (one.name, value)
            if attribute == "style":
                assert all(inner.startswith("#") for inner in re.findall(r"url\(([^)]*)", value))
    style = page.all("style")
    assert len(style) == 1
    assert "@import" not in style[0].text
    assert "url(" not in style[0].text
    assert re.findall(r"https?://[^\s\"'<]*", text) == []
    policy = next(one for one in page.all("meta") if one.attributes.get("http-equiv") == "Content-Security-Policy")
    assert policy.attributes["content"] == "default-src 'none'; style-src 'unsafe-inline'"


@pytest.mark.parametrize("name", ["report", "intake"])
def test_page_can_be_heard_as_well_as_seen(read_pages: dict[str, Page], name: str) -> None:
    page = read_pages[name]
    for svg in page.all("svg"):
        assert svg.attributes["role"] == "img"
        title, description = svg.attributes["aria-labelledby"].split()
        by_id = {one.attributes["id"]: one for one in page.elements if "id" in one.attributes}
        assert by_id[title].text.strip()
        assert len(by_id[description].text) > 20
    assert all("scope" in one.attributes for one in page.all("th"))
    assert len(page.all("caption")) == len(page.all("table"))
    for section in page.all("section"):
        assert "aria-labelledby" in section.attributes
    levels = [int(one.name[1]) for one in page.elements if re.fullmatch("h[1-6]", one.name)]
    assert all(second - first <= 1 for first, second in pairwise(levels)), levels


def test_cells_say_in_words_what_colour_shows(read_pages: dict[str, Page]) -> None:
    document = documents.before()
    cells = [one for one in read_pages["report"].all("td") if one.attributes.get("role") == "cell"]
    assert len(cells) == len(document.frets) == 126
    worst = document.verdict.worst
    assert worst is not None
    flat = [one for one in document.frets if one.fret > 0 and one.decision == "fail" and (one.deviation_cents or 0) < 0]
    assert sum(one.attributes["class"] == "flat" for one in cells) == len(flat) > 0
    assert all("▼" in one.text and "out of tolerance" in one.text for one in cells if one.attributes["class"] == "flat")
    inside = [one.text for one in cells if one.attributes["class"] == "within"]
    assert all(("sharp" in text) == text.startswith("+") for text in inside if not text.startswith("0"))
    assert any(text.startswith("−") for text in inside)


def test_hostile_texts_are_text_everywhere(read_pages: dict[str, Page]) -> None:
    page = read_pages["hostile"]
    sheet, technical = [one.text for one in page.all("h1")]
    assert technical == plain_line(HOSTILE)
    assert technical.startswith(sheet.removesuffix("…"))  # the sheet's is clipped
    assert len(sheet) == 60
    assert all("49" not in one.text for one in page.all("h1"))  # nothing of a name is worked out
    everything = page.all("html")[0].text
    assert everything.count("<script>alert('x')</script>") > 20
    assert "\u202e" not in everything


def test_heights_that_were_assumed_are_named() -> None:
    document = documents.before()
    bare = {key: value for key, value in document.neck.description.items() if "action" not in key and "relief" not in key}
    for description, assumed in ((bare, True), ({**bare, "action_12_mm": 2.0}, False)):
        page = inspection_page(
            document.model_copy(update={"neck": document.neck.model_copy(update={"description": description})})
        )
        assert "Heights as described" in page
        assert ("Assumed, since not described: over fret 12 (action_12_mm)" in page) is assumed


def test_same_document_gives_same_bytes(pages: dict[str, Path]) -> None:
    assert inspection_page(documents.before()) == pages["report"].read_text(encoding="utf-8")


def test_intake_gets_the_sheet_unless_told_otherwise() -> None:
    assert "Condition sheet" in report_page(documents.intake())
    assert "Condition sheet" not in report_page(documents.intake(), sheet=False)
    assert "Technical page" not in report_page(documents.intake())
    assert "Condition sheet" not in report_page(documents.before())
    assert "Condition sheet" in report_page(documents.before(), sheet=True)


def test_little_known_makes_a_page_too() -> None:
    document = documents.before()
    bare = InspectionDocument(
        neck=document.neck.model_copy(update={"description": {}, "serial": None}),
        readings=[],
        frets=[],
        findings=[],
        corrections=[],
        predicted_after=document.predicted_after,
        verdict=replace(document.verdict, worst=None, decision="undecided"),
        warnings=[],
    )
    page = read(report_page(bare, sheet=True, technical=True))
    assert page.faults == []
    assert "not told" in page.all("main")[0].text


@pytest.mark.parametrize(
    ("told", "name"),
    [("260314-2", "report-260314-2.html"), ("../../etc/passwd", "report-etc-passwd.html"), ("😀", "report-inspection.html")],
)
def test_file_name_is_plain(told: str, name: str) -> None:
    assert usual_name(documents.before().model_copy(update={"id": told})) == name


@pytest.mark.browser
def test_nothing_lies_beyond_the_edge_on_desk_or_phone(pages: dict[str, Path], tmp_path: Path) -> None:
    asked = [(pages[name], width) for name in ("report", "intake", "hostile") for width in (1280, 390)]
    for (path, width), found in zip(asked, browser.measured(tmp_path, asked), strict=True):
        assert found["width"] == width
        assert found["scroll"] == width, (path.name, width)
        assert found["beyond"] == [], (path.name, width)
        assert found["clipped"] == [], (path.name, width)
        assert found["scripts"] == 0
        if path == pages["hostile"]:
            assert plain_line(HOSTILE).startswith(str(found["h1"]).removesuffix("…"))


@pytest.mark.browser
def test_sheet_one_says_which_fret_and_which_way(pages: dict[str, Path], tmp_path: Path) -> None:
    sheets = browser.printed(tmp_path, pages["report"])
    first = " ".join(sheets[0].split())
    assert "Out of tolerance" in first
    # which part, which way (truth: 0.40 mm toward the bridge), how sure; in the table and in the drawing
    assert len(re.findall(r"Fret 7: 0\.\d\d mm too near the bridge", first)) == 2
    assert re.search(r"Fret 7: 0\.\d\d mm too near the bridge → bridge > 99 %", first.replace("\xa0", " "))
    assert "Saddle of string 3: 2." in first  # truth: 2.2 mm
    assert "Do first:" in first
    assert "120 of 120 notes heard" in first
    assert "drawn" in first
    assert "times as far off" in first  # the exaggeration is stated
    order = [re.sub(r"\s+", " ", " ".join(sheets)).find(heading) for heading in (
        "Out of tolerance", "The neck", "Every note", "What is wrong", "What to do, in this order", "String by string",
        "What would make this surer", "How it was measured", "Uncertainty budget after the GUM", "Every pluck in the order heard",
    )]  # fmt: skip
    assert order == sorted(order)
    assert order[0] >= 0


@pytest.mark.browser
def test_every_sheet_names_its_neck_and_its_number_and_no_table_is_cut(tmp_path: Path) -> None:
    document = documents.before()
    long = [replace(one, start_s=one.start_s + 2000.0 * turn) for turn in range(3) for one in document.readings]
    path = write_report(document.model_copy(update={"readings": long, "id": "261129-7"}), tmp_path / "long.html")
    sheets = browser.printed(tmp_path, path)
    for number, sheet in enumerate(sheets, start=1):
        foot = " ".join(sheet.strip().splitlines()[-1].split())
        assert foot.startswith("TW-014 · ")
        assert "inspection 261129-7" in foot
        assert foot.endswith(f"page {number} of {len(sheets)}")
    for sheet in sheets:
        assert sheet.count("at s") == len(re.findall(r"String \d [A-G]\d", sheet)) or "String by string" in sheet  # none goes on


def crowded() -> InspectionDocument:
    """An intake with more findings, work and notes than a sheet has room for."""
    document = documents.intake()
    saddle, nut, fret = document.findings[:3]
    rival = Rival(cause="finger_pressure", fret=None, string=None, share=0.3, text="The finger pressed hard.")
    return document.model_copy(
        update={
            "id": "261129-7",
            "findings": [
                *document.findings,
                *(replace(fret, fret=number, probability=0.95) for number in (3, 9, 11)),
                replace(nut, probability=0.6, rivals=(rival,)),
                replace(saddle, string=5, probability=0.7),
            ],
            "job": JobPart(
                customer="Anneliese Rosenthal-Fernandez, Upper Mill Lane", instrument="Walnut six-string, built in 1987 " * 3,
                job="J-2026-1187", string_set="light, fitted in October", notes="Comes with a cracked tuner button. " * 20,
                price="80 EUR", shop=ShopPart(name="Reed & Daughter", address="Quay Street 3", phone="01 234"),
            ),
        }
    )  # fmt: skip


@pytest.mark.browser
def test_condition_sheet_is_one_sheet_in_plain_words(pages: dict[str, Path], tmp_path: Path) -> None:
    (sheet,) = browser.printed(tmp_path, pages["intake"])
    first = " ".join(sheet.split())
    assert "Your instrument does not play in tune everywhere" in first
    assert "We did not listen to frets 2, 4, 6, 8, 10, 11, 13, 14, 16 to 19" in first
    for field in ("Customer", "Job number", "Inspection", "Strings", "Action at fret 12", "Relief", "Humidity", "Notes", "Price",
                  "Signature, customer"):  # fmt: skip
        assert field in first
    assert not re.search(r"posterior|sigma|standard uncertainty|intonation|temperament", first)


@pytest.mark.browser
def test_crowded_sheet_is_one_sheet_too_and_parts_what_is_sure(tmp_path: Path) -> None:
    (sheet,) = browser.printed(tmp_path, write_report(crowded(), tmp_path / "crowded.html"))
    text = " ".join(sheet.split())
    assert "Reed & Daughter" in text
    assert "261129-7" in text
    assert "2 more matters are on the technical page" in text
    found, checked = text.split("To be checked")
    assert "Fret 3 is not where it should be (95\N{NO-BREAK SPACE}% sure)" in found.replace("95 %", "95\N{NO-BREAK SPACE}%")
    assert "The bridge end of string 5" not in found
    assert "it may as well be the touch of the hand that played" in checked


@pytest.mark.browser
def test_technical_pages_follow_the_sheet_on_request(tmp_path: Path) -> None:
    sheets = browser.printed(tmp_path, write_report(documents.intake(), tmp_path / "both.html", technical=True))
    assert "Condition sheet" in sheets[0]
    assert "Technical page" in sheets[1]
    assert "Uncertainty budget" in " ".join(sheets[2:])
