"""The customer's sheet: its sentences for the plain cases."""

from __future__ import annotations

import pytest

from fretcheck.report.condition_sheet import after_work, counted, nothing_found
from tests.report import documents

pytestmark = pytest.mark.xdist_group("report")  # they share documents that take seconds to make


@pytest.mark.parametrize(
    ("outside", "judged", "words"),
    [
        (0, 0, "No fretted note could be judged."),
        (0, 48, "None of the 48 notes we listened to is surely out of tune."),
        (1, 48, "1 of the 48 notes we listened to is out of tune."),
        (14, 48, "14 of the 48 notes we listened to are out of tune."),
    ],
)
def test_counted(outside: int, judged: int, words: str) -> None:
    assert counted(outside, judged) == words


def test_what_the_work_brings() -> None:
    document = documents.before()
    left = document.model_copy(update={"predicted_after": document.predicted_after.model_copy(update={"worst_cents": 4.9})})
    none = document.model_copy(update={"corrections": []})
    good = document.model_copy(update={"predicted_after": document.predicted_after.model_copy(update={"worst_cents": 2.2})})
    fine = document.model_copy(update={"predicted_after": document.predicted_after.model_copy(update={"worst_cents": 0.8})})
    assert "within 3 hundredths" in after_work(good)  # not within 2
    assert "within 1 hundredth of" in after_work(fine)
    assert "not perfect: the worst note should then lie 5 hundredths" in after_work(left)  # beyond the tolerance of 3
    assert after_work(none) == ""
    passed = good.model_copy(update={"verdict": good.verdict.model_copy(update={"decision": "pass"})})
    assert "Once the work is done" in after_work(passed)  # something was found all the same
    assert after_work(passed.model_copy(update={"findings": []})) == ""  # though small moves could bring it closer still


def test_nothing_found() -> None:
    document = documents.before()
    passed = document.model_copy(update={"verdict": document.verdict.model_copy(update={"decision": "pass"})})
    assert nothing_found(passed) == "Nothing that needs work."
    assert "the nut, the saddle" in nothing_found(document)
    assert "technical page" in nothing_found(document.model_copy(update={"corrections": []}))
