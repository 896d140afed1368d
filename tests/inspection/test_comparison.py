"""Before and after: what is said when all was done, when nothing was, and when it is another neck."""

from __future__ import annotations

import json
from functools import cache

import pytest

from fretcheck.errors import UsageError
from fretcheck.inspection.comparison import compare, judged_move, threshold, to_json
from fretcheck.inspection.document import InspectionDocument
from fretcheck.report.compare_page import compare_page
from fretcheck.report.comparison_words import headline
from tests.report import documents
from tests.report.reading_html import read
from tests.synth.demo import demo_built

pytestmark = pytest.mark.xdist_group("report")  # they share documents that take seconds to make


@cache
def untouched() -> InspectionDocument:
    """The same neck heard again, nothing done to it."""
    return documents.heard(demo_built(), seed=14)


def test_all_corrections_made() -> None:
    found = compare(documents.before(), documents.after())
    by_part = {(one.part, one.string, one.fret): one for one in found.corrections}
    # truth: the second neck was built with these moves exactly
    for key in (("nut_height", None, None), ("saddle", 3, None), ("fret", None, 7)):
        one = by_part[key]
        assert one.outcome == "done as advised", key
        assert one.asked_mm is not None
        assert one.moved_mm == pytest.approx(one.asked_mm, abs=3 * (one.u_mm or 0.0))  # three standard uncertainties
    assert not {one.outcome for one in found.corrections} & {"not done", "moved the other way"}
    assert found.prediction == "came true"
    assert found.outside_before > 20 > found.outside_after == 0
    assert len(found.changed_notes) > 40


def test_nothing_done() -> None:
    found = compare(documents.before(), untouched())
    by_part = {(one.part, one.string, one.fret): one.outcome for one in found.corrections}
    for key in (("nut_height", None, None), ("saddle", 3, None), ("fret", None, 7)):
        assert by_part[key] == "not done", key
    assert found.prediction == "did not come true"
    assert "not made" in found.prediction_text
    assert len(found.changed_notes) <= 1  # 1 of 20 such comparisons has one by chance
    assert headline(documents.before(), untouched()) == "Still out of tolerance"


def test_threshold_is_the_normal_quantile() -> None:
    assert threshold(1) == pytest.approx(1.9600, abs=1e-4)  # tables of the normal distribution, two-sided 5 %
    assert threshold(50) == pytest.approx(3.2905, abs=1e-4)  # two-sided 0.1 %
    assert threshold(5) == pytest.approx(2.5758, abs=1e-4)  # two-sided 1 %


@pytest.mark.parametrize(
    ("asked", "moved", "u", "outcome"),
    [
        (-0.40, -0.41, 0.04, "done as advised"),
        (-0.40, 0.02, 0.04, "not done"),
        (-0.40, -0.20, 0.04, "partly done"),
        (-0.40, -0.70, 0.04, "gone too far"),
        (-0.40, 0.40, 0.04, "moved the other way"),
        (-0.40, -0.30, 0.40, "cannot be told"),
        (-3.00, -2.80, 0.02, "done as advised"),  # within workmanship
    ],
)
def test_moves(asked: float, moved: float, u: float, outcome: str) -> None:
    assert judged_move(asked=asked, moved=moved, u=u, workmanship=0.05 if abs(asked) < 1 else 0.25)[0] == outcome


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
    compare(before, other(serial="tw-014", name="Walnut, renamed"))  # capitals of a serial do not matter


def test_no_note_in_common_is_refused() -> None:
    empty = documents.after().model_copy(update={"frets": []})
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


def test_swapped_order_and_other_strings_are_remarked() -> None:
    before, after = documents.before(), documents.after()
    strings = [{**one, "gauge_mm": 0.3} for one in after.neck.description["strings"]]
    later = before.model_copy(update={"taken_at": "2031-01-01T00:00:00+00:00"})
    changed = other(description={**after.neck.description, "strings": strings})
    remarks = " ".join(compare(later, changed).remarks)
    assert "swapped" in remarks
    assert "strings are described differently" in remarks


def test_json_is_one_document() -> None:
    before, after = documents.before(), documents.after()
    data = json.loads(to_json(compare(before, after), before, after))
    assert data["schema"] == "fretcheck/comparison/1"
    assert data["before"]["decision"] == "fail"
    assert len(data["notes"]) == 120
    assert {"asked_mm", "moved_mm", "u_mm", "outcome"} <= data["corrections"][0].keys()


def test_page_is_whole_and_takes_hostile_names() -> None:
    name = "<script>x</script>\"'\n😀"
    before, after = documents.before(), other(name=name)
    page = read(compare_page(compare(before, after), before, after))
    assert page.faults == []
    assert page.all("script") == []
    assert page.all("h1")[0].text == "<script>x</script>\"'\\n😀"
    assert "What was predicted came true" in page.all("main")[0].text
