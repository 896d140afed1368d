"""The pages of a lot and of a template in a browser: nothing beyond the edge, whole on paper."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from fretcheck.lots.acceptance.lot_decision import decide_lot
from fretcheck.lots.acceptance.lot_record import CorrectionPart, PlanPart, ReadPart
from fretcheck.lots.acceptance.lot_steps import add_inspections, draw_sample, open_lot, serials_from
from fretcheck.lots.template.template_study import lot_slots, since_corrections, study_template
from fretcheck.report.pages.lot_page import lot_page
from fretcheck.report.pages.template_page import template_page
from tests.lots.shop import MORNING, STRINGS, inspection
from tests.report import browser
from tests.report.reading_html import read

FRETS = 20
SERIAL = "<script>alert('x')</script>\"'&" + "long" * 12
HOSTILE = f"\u202e{SERIAL}"  # of right-to-left text; no serial may hold such a sign


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    """A decided lot of 24 necks, its template over four lots, and a lot with nothing read and hostile words."""
    folder = tmp_path_factory.mktemp("pages")
    rng = np.random.default_rng(1)
    position = np.zeros(FRETS)
    position[6] = 0.2
    series = {
        f"Lot {number}": [
            inspection(
                f"L{number}-{neck:02d}",
                position_mm=position + rng.normal(0, 0.03, FRETS),
                noise_cents=rng.normal(0, 0.4, (STRINGS, FRETS)),
            ).model_copy(update={"id": f"2603{number:02d}-{neck}"})
            for neck in range(1, 25 if number == 1 else 5)
        ]
        for number in range(1, 5)
    }
    first = {document.neck.serial: document for document in series["Lot 1"]}
    plan = PlanPart(sample=6, accept=1, source="chosen by the user")
    lot = open_lot(name="Lot 1", serials=list(first), plan=plan, template="T1", now=MORNING)
    reads = {serial: [ReadPart(id=one.id, decision=one.verdict.decision)] for serial, one in first.items()}
    lot = add_inspections(draw_sample(lot, seed=1), reads)
    decision = decide_lot(lot, first, now=MORNING)
    lot = lot.model_copy(update={"decision": decision})
    bare = open_lot(name="bare", serials=[SERIAL, *serials_from(["A1..A9"])], plan=plan, template=HOSTILE, now=MORNING)
    bare = draw_sample(bare, seed=3).model_copy(update={"closing_note": HOSTILE, "sample": (SERIAL, "A1")})
    slots = [lot_slots(name, MORNING.isoformat(), documents) for name, documents in series.items()]
    study = study_template(slots)
    before = replace(slots[0], opened_at=(MORNING - timedelta(days=1)).isoformat())
    anew = CorrectionPart(since=MORNING.isoformat())
    texts = {
        "lot": lot_page(lot, first, series=slots),
        "template": template_page("T1", study, lots=list(series), series=since_corrections([before, *slots[1:]], [anew])),
        "bare": lot_page(bare, {}),
    }
    for name, text in texts.items():
        (folder / f"{name}.html").write_text(text, encoding="utf-8")
    return {name: folder / f"{name}.html" for name in texts}


def test_pages_are_well_formed(pages):
    for path in pages.values():
        assert read(path.read_text(encoding="utf-8")).faults == []
        assert "<script" not in path.read_text(encoding="utf-8")
        assert "\u202e" not in path.read_text(encoding="utf-8")


@pytest.mark.browser
def test_nothing_lies_beyond_the_edge_on_desk_or_phone(pages, tmp_path):
    asked = [(path, width) for path in pages.values() for width in (1280, 390)]
    for (path, width), found in zip(asked, browser.measured(tmp_path, asked), strict=True):
        assert found["scroll"] == width, (path.name, width)
        assert found["beyond"] == [], (path.name, width)
        assert found["clipped"] == [], (path.name, width)
        assert found["scripts"] == 0


@pytest.mark.browser
def test_the_first_sheet_of_a_lot_says_the_decision_and_its_risk(pages, tmp_path):
    first = " ".join(browser.printed(tmp_path, pages["lot"])[0].split())
    assert "Accepted" in first
    assert "you would still accept" in first
    assert "What this plan lets through" in first


@pytest.mark.browser
def test_the_first_sheet_of_a_template_says_what_to_correct(pages, tmp_path):
    first = " ".join(browser.printed(tmp_path, pages["template"])[0].split())
    assert "Correct the template" in first
    assert re.search(r"[Ff]ret 7 sits 0\.\d\d", first)


def test_a_chart_marks_where_it_started_anew(pages):
    page = pages["template"].read_text(encoding="utf-8")
    assert page.count("3 points, ") >= 4
    assert "started anew: corrected 2026-03-02" in page
    assert "started anew" not in pages["lot"].read_text(encoding="utf-8")
