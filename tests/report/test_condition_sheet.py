"""The customer's sheet: what it says in the plain cases, and that it promises no more than the work it names."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fretcheck.diagnosis.result import Correction, Finding, Move, Rival, StepPrediction
from fretcheck.inspection.document import InspectionDocument
from fretcheck.report.pages.condition_sheet import condition_sheet, counted, fields_of, is_sure, may_stay, promise
from fretcheck.report.words.condition_words import plain_work
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
    assert counted(documents.before(), outside, judged) == words


def step(worst: float, within: float | None, *moves: Move, kind: str = "repair") -> Correction:
    predicted = StepPrediction(worst_cents=worst, probability_within=within)
    return Correction(kind=kind, moves=list(moves), predicted=predicted, text="")  # type: ignore[arg-type]


def advised(decision: str, *steps: Correction) -> InspectionDocument:
    document = documents.before()
    verdict = replace(document.verdict, decision=decision, probability_within=0.98, limit_cents=3.0)
    return document.model_copy(update={"corrections": list(steps), "verdict": verdict})


SLOT = Move(part="nut_height", move_mm=-0.3)
MEASURE = step(2.2, None, kind="measure")


def test_promise_is_the_probability_of_the_work_named() -> None:
    said = promise(advised("fail", step(4.0, 0.3, SLOT), step(2.2, 0.94, SLOT)))
    assert "within 3 hundredths" in said
    assert "94\N{NO-BREAK SPACE}% sure" in said  # of the last step, not of an earlier one
    partly = promise(advised("fail", step(4.9, 0.31, SLOT)))
    assert "not perfect: the worst note should then lie about 5 hundredths" in partly
    assert "are" not in partly.split()  # nobody is sure of it
    assert "we measure before anything more is filed" in promise(advised("fail", step(4.0, 0.7, SLOT), MEASURE))


def test_without_work_nothing_is_promised_of_it() -> None:
    assert promise(advised("pass")) == "Nothing needs to be done. We are 98\N{NO-BREAK SPACE}% sure of that."
    assert "listen to them again" in promise(advised("undecided"))
    again = replace(MEASURE, notes=((6, 1),))
    assert promise(advised("undecided", again)) == promise(advised("undecided"))
    assert "no repair that we can promise" in promise(advised("fail"))
    assert "measure first" in promise(advised("fail", MEASURE))


def test_a_fault_is_sure_by_itself_and_without_a_rival() -> None:
    finding = Finding(cause="nut_height", fret=None, string=None, value_mm=0.3, u_mm=0.1, probability=0.95, text="")
    rival = Rival(cause="finger_pressure", fret=None, string=None, share=0.2, text="")
    assert is_sure(finding)
    assert not is_sure(replace(finding, probability=0.89))
    assert not is_sure(replace(finding, rivals=(rival,)))
    assert is_sure(replace(finding, rivals=(replace(rival, share=0.04),)))


def test_work_in_plain_words() -> None:
    saddles = [Move(part="saddle", string=number, move_mm=-0.4 * number) for number in (1, 2)]
    assert plain_work([SLOT, *saddles]) == [
        "Deepen the notches in the nut by 0.30 mm.",
        "Move the saddle of strings 1, 2 by 0.40 mm, 0.80 mm toward the nut.",
    ]
    others = [Move(part="string", string=3), Move(part="fret", fret=7, move_mm=0.4)]
    others += [Move(part="saddle", end="bass", move_mm=1.5), Move(part="nut", move_mm=-0.5)]
    assert plain_work(others) == [
        "Replace string 3.",
        "Reshape or set anew fret 7, by 0.40 mm toward the bridge.",
        "Move the saddle's end under the thick strings by 1.5 mm toward the bridge.",
        "Move the nut's front edge by 0.50 mm toward the nut.",
    ]


def test_worn_frets_are_shaped_anew_and_go_nowhere() -> None:
    worn = [Move(part="fret", fret=fret) for fret in (1, 2, 3)]
    assert plain_work([*worn, Move(part="fret", fret=7, move_mm=0.4), Move(part="fret", fret=9)]) == [
        "Shape the tops of frets 1 to 3 anew.",
        "Reshape or set anew fret 7, by 0.40 mm toward the bridge.",
        "Shape the top of fret 9 anew.",
    ]


def test_a_tilted_fret_moves_at_each_end_its_own_way() -> None:
    ends = [Move(part="fret", fret=9, end="treble", move_mm=-0.3), Move(part="fret", fret=9, end="bass", move_mm=0.3)]
    assert plain_work(ends) == [
        "Reshape or set anew fret 9, by 0.30 mm toward the nut under the thin strings.",
        "Reshape or set anew fret 9, by 0.30 mm toward the bridge under the thick strings.",
    ]


def test_heights_come_of_the_description_or_of_what_was_measured_last() -> None:
    document = documents.before()

    def shown(**told: object) -> dict[str, str | None]:
        silent = {key: value for key, value in document.neck.description.items() if key not in ("action_12_mm", "relief_mm")}
        neck = document.neck.model_copy(update={"description": {**silent, "measured": [], **told}})
        return dict(fields_of(document.model_copy(update={"neck": neck})))

    assert shown()["Relief"] is None  # a line to write on
    assert shown(action_12_mm={"treble": 1.8, "bass": 2.2}, relief_mm=0.15)["Action at fret 12"] == "1.8 mm treble, 2.2 mm bass"
    measured = [{"what": "action_12", "mm": 2.1, "string": 1}, {"what": "action_12", "mm": 2.4, "string": 6}]
    assert shown(action_12_mm=1.8, measured=measured)["Action at fret 12"] == "2.1 mm (string 1), 2.4 mm (string 6)"


def test_nothing_found() -> None:
    nothing = {"findings": [], "corrections": []}
    assert "<p>Nothing that needs work.</p>" in condition_sheet(advised("pass").model_copy(update=nothing))
    assert "<p>No single part is surely at fault.</p>" in condition_sheet(advised("fail").model_copy(update=nothing))


def test_a_part_may_stay_only_where_nothing_needs_it_put_right() -> None:
    document = documents.before()
    (fret,) = [one for one in document.findings if one.cause == "fret_position"]
    left = f"Left as it is, since it brings the neck no nearer to its limit: {fret.text}"
    said = (
        {"decision": "fail", "advice": [left]},
        {"decision": "fail", "advice": [f"May stay, …: {fret.text}"]},
        {"decision": "pass"},
    )
    answers = []
    for one in said:
        changed = {"verdict": replace(document.verdict, decision=one["decision"]), "advice": one.get("advice", [])}
        answers.append(may_stay(fret, document.model_copy(update=changed)))
    assert answers == [False, True, True]
