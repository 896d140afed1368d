"""Before and after: what is said when all was done, when nothing was, and when it is another neck."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from fretcheck.errors import UsageError
from fretcheck.inspection.changes import Amount
from fretcheck.inspection.comparison import Comparison, check_same_neck, compare, to_json
from fretcheck.inspection.document import InspectionDocument
from fretcheck.inspection.work_done import judged_move
from fretcheck.report.pages.compare_page import compare_page
from fretcheck.report.pages.compare_sheet import compare_sheet
from fretcheck.report.words.comparison_words import headline
from tests.report import documents
from tests.report.reading_html import read
from tests.synth.demo import demo_built

pytestmark = pytest.mark.xdist_group("report")  # they share documents that take seconds to make


@cache
def untouched() -> InspectionDocument:
    """The same neck heard again, nothing done to it."""
    return documents.heard(demo_built(), seed=14)


@cache
def all_done() -> Comparison:
    return compare(documents.before(), documents.after())


@cache
def nothing_done() -> Comparison:
    return compare(documents.before(), untouched())


def test_all_corrections_made() -> None:
    found = all_done()
    # truth: the second neck was built with these moves exactly
    assert {one.outcome for one in found.corrections} == {"done as advised"}
    for one in found.corrections:
        assert one.asked_mm is not None
        assert one.moved_mm == pytest.approx(one.asked_mm, abs=3 * (one.u_mm or 0.0))  # three standard uncertainties
    assert found.prediction == "came true"
    assert found.outside_before > 5 > found.outside_after == 0
    assert len(found.changed_notes) > 40
    assert headline(found, documents.before(), documents.after()) == ("pass", "Out of tolerance before, within tolerance now")


def test_nothing_done_is_judged_as_nothing() -> None:
    found = nothing_done()
    assert {one.outcome for one in found.corrections} <= {"not done", "cannot be told"}
    assert found.prediction == "cannot be told"  # a prediction is of its work
    assert found.changed_notes == ()
    assert found.parts == ()
    assert headline(found, documents.before(), untouched())[1] in ("Still out of tolerance", "Better, not within tolerance yet")


def test_one_saddle_moved_is_one_saddle() -> None:
    built = demo_built()
    moved = replace(built, saddle_mm={**built.saddle_mm, 4: built.saddle_mm.get(4, 0.0) + 2.15})
    found = compare(documents.heard(built, seed=15), documents.heard(moved, seed=16))
    (part,) = [one for one in found.parts if one.kind != "string"]
    assert (part.kind, part.string) == ("saddle", 4)
    assert part.change == pytest.approx(2.15, abs=3 * part.u)  # three standard uncertainties
    assert part.u < 0.2
    assert {one.string for one in found.changed_notes} == {4}
    away = next((one for one in found.corrections if one.string == 4), None)
    assert away is None or away.outcome in ("not done", "moved the other way", "cannot be told")


def test_part_of_the_work_is_judged_for_itself() -> None:
    before = documents.before()
    first = before.model_copy(update={"corrections": before.corrections[:1]})
    half = documents.heard(documents.corrected(demo_built(), first), seed=17)
    found = compare(before, half)
    assert {one.outcome for one in found.corrections if one.step == 1} == {"done as advised"}
    assert "done as advised" not in {one.outcome for one in found.corrections if one.step > 1}
    assert found.prediction == "came true"
    assert "With the work done" in found.prediction_text


def amount(change: float, u: float) -> Amount:
    one = np.ones(1)
    return Amount(means=change * one, spreads=u * one, weights=one)


@pytest.mark.parametrize(
    ("asked", "moved", "u", "outcome"),
    [
        (-0.40, -0.41, 0.04, "done as advised"),
        (-0.40, 0.02, 0.04, "not done"),
        (-0.40, -0.25, 0.04, "partly done"),
        (-0.40, -0.70, 0.04, "gone too far"),
        (-0.40, 0.40, 0.04, "moved the other way"),
        (-0.40, -0.30, 0.40, "cannot be told"),
        (-3.00, -2.92, 0.02, "done as advised"),  # within workmanship
    ],
)
def test_moves(asked: float, moved: float, u: float, outcome: str) -> None:
    assert judged_move(amount(moved, u), asked=asked)[0] == outcome


def test_probability_of_an_amount_is_normal() -> None:
    assert amount(0.0, 1.0).between(-1.96, 1.96) == pytest.approx(0.95, abs=1e-3)  # tables of the normal distribution


def other(**changes: object) -> InspectionDocument:
    document = documents.after()
    return document.model_copy(update={"neck": document.neck.model_copy(update=changes)})


def test_other_neck_is_refused_in_a_line() -> None:
    before = documents.before()
    description = before.neck.description
    with pytest.raises(UsageError, match="different necks: serial 'TW-014' and 'TW-015'"):
        compare(before, other(serial="TW-015"))
    with pytest.raises(UsageError, match="different necks: 'Walnut six-string, neck 14' and 'Oak'"):
        compare(before, other(serial=None, name="Oak"))
    with pytest.raises(UsageError, match=r"scale length in mm 645\.0 and 628\.0"):
        compare(before, other(description={**description, "scale_length_mm": 628.0}))
    with pytest.raises(UsageError, match="6 and 5 strings"):
        compare(before, other(description={**description, "strings": description["strings"][:5]}))
    check_same_neck(before, other(serial="tw-014", name="Walnut, renamed"))  # capitals of a serial do not matter


def test_no_note_in_common_is_refused() -> None:
    empty = documents.after().model_copy(update={"readings": []})
    with pytest.raises(UsageError, match="no fretted note in common"):
        compare(documents.before(), empty)


def test_one_inspection_twice_is_refused() -> None:
    with pytest.raises(UsageError, match="the same inspection"):
        compare(documents.before(), documents.before())


def test_only_notes_heard_in_both_are_counted() -> None:
    before, intake = documents.before(), documents.intake()
    found = compare(before, intake)
    asked = {(one.string, one.fret) for one in intake.frets}
    fails = [one for one in before.frets if one.decision == "fail" and one.fret > 0]
    assert found.outside_before == sum((one.string, one.fret) in asked for one in fails) < len(fails)
    assert any("are left out" in remark for remark in found.remarks)


def test_what_differs_besides_the_neck_is_said() -> None:
    before, after = documents.before(), documents.after()
    strings = [{**after.neck.description["strings"][0], "gauge_mm": 0.28}, *after.neck.description["strings"][1:]]
    measured = [{"what": "relief", "mm": 0.1, "u_mm": 0.05}]
    later = before.model_copy(update={"taken_at": "2031-01-01T00:00:00+00:00", "coverage": None})
    changed = other(description={**after.neck.description, "strings": strings, "action_12_mm": 1.9, "measured": measured})
    changed = changed.model_copy(update={"conditions": changed.conditions.model_copy(update={"operator": "P. Lind"})})
    remarks = " ".join(compare(later, changed).remarks)
    for said in (
        "swapped", "others now: string 1.", "otherwise now: the action at fret 12", "anew since: relief", "Another person",
        "of version 0.1",
    ):  # fmt: skip
        assert said in remarks


def test_json_is_one_document() -> None:
    before, after = documents.before(), documents.after()
    data = json.loads(to_json(all_done(), before, after))
    assert data["schema"] == "fretcheck/comparison/2"
    assert data["before"]["decision"] == "fail"
    assert len(data["notes"]) == 120
    assert {"asked_mm", "moved_mm", "u_mm", "outcome"} <= data["corrections"][0].keys()


def test_page_is_whole_and_takes_hostile_names() -> None:
    name = "<script>x</script>\"'\n😀"
    before, after = documents.before(), other(name=name)
    page = read(compare_page(all_done(), before, after))
    assert page.faults == []
    assert page.all("script") == []
    assert page.all("h1")[0].text == "<script>x</script>\"'\\n😀"
    assert "What was predicted came true" in page.all("main")[0].text


def test_customers_page_is_plain() -> None:
    before, after = documents.before(), documents.after()
    page = read(compare_sheet(all_done(), before, after))
    assert page.faults == []
    text = " ".join(page.all("main")[0].text.split())
    assert "Your instrument plays in tune now." in text
    assert "as good as we expected" in text
    assert "not found any more" in text
    still = " ".join(read(compare_sheet(nothing_done(), before, untouched())).all("main")[0].text.split())
    assert "No work that we can find by listening" in still
    assert "expected" not in still
    for words in (text, still):
        assert not re.search(r"posterior|sigma|standard uncertainty|intonation|temperament|cents", words)
