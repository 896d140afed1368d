"""The uncertainty budget of a note against the GUM's formulas worked by hand."""

from __future__ import annotations

import math

import pytest

from fretcheck.diagnosis.infer.inference import OPENS
from fretcheck.inspection.budget import note_budget
from fretcheck.inspection.document import FretPart, InspectionDocument
from fretcheck.session.placed_reading import ReadingPart
from tests.report import documents

pytestmark = pytest.mark.xdist_group("report")  # they share documents that take seconds to make


def reading(fret: int, start_s: float, cents: float, u: float | None) -> ReadingPart:
    return ReadingPart(
        string=1, fret=fret, f1_hz=440.0, target_hz=440.0, deviation_cents=cents, u_cents=u, length_expected_mm=400.0,
        length_equivalent_error_mm=0.0, start_s=start_s, used=True, flags=[],
    )  # fmt: skip


def worked(*, hand: dict[int, float], low: float = 0.0) -> InspectionDocument:
    """One string: open, fret 2 twice, open."""
    document = documents.before()
    readings = [reading(0, 0.0, 1.0, 0.03), reading(2, 5.0, 2.0, 0.06), reading(2, 15.0, 2.4, 0.08), reading(0, 20.0, 0.4, 0.05)]
    frets = [FretPart(string=1, fret=2, deviation_cents=2.0, u_cents=0.3, plucked_cents=2.2, plucks=2)]
    told = {"hand_scatter_cents": hand, "hand_wider_low": low, "open_u_cents": {1: 0.12}}
    conditions = document.conditions.model_copy(update=told)
    return document.model_copy(update={"readings": readings, "frets": frets, "conditions": conditions})


def test_worked_note() -> None:
    note = note_budget(worked(hand={1: 0.5}, low=0.8), string=1, fret=2)
    assert note is not None
    parts = {one.name.split(",")[0].split(" ")[0]: one for one in note.budget.components}
    assert parts["fit"].u == pytest.approx(math.hypot(0.06, 0.08) / 2)  # mean of two independent: GUM 5.1.2, CALC
    assert parts["open"].u == 0.12  # common to both plucks
    hand = 0.5 * (1.0 + 0.8 * 3 / 4)  # wider by 80 % at fret 1, by nothing at fret 5
    assert parts["hand"].u == pytest.approx(hand / math.sqrt(2))  # GUM 4.2.3
    assert parts["hand"].freedom == 1  # two plucks of one note
    squares, mean = (sum(share * (level**p + (p - 1) * u**p) for (level, u), share in OPENS) for p in (2, 1))
    opens = math.sqrt(squares - mean**2)  # of the mixture that the verdict goes by
    assert parts["strings"].u == pytest.approx(opens)  # alike on all notes, so two plucks tell no more of it than one
    u = math.sqrt(0.05**2 + 0.12**2 + opens**2 + hand**2 / 2)
    assert note.budget.u == pytest.approx(u)
    freedom = u**4 / ((hand**2 / 2) ** 2 / 1)  # Welch–Satterthwaite, GUM G.2b, CALC: 1.45, truncated to 1
    assert note.budget.freedom == pytest.approx(freedom)
    assert note.expanded_cents == pytest.approx(12.706 * u, rel=1e-4)  # Student's t, 95 %, 1 degree: GUM table G.2 (MEMORY)
    assert note.left_out == ()


def test_unknown_hand_is_left_out_and_named() -> None:
    note = note_budget(worked(hand={}), string=1, fret=2)
    assert note is not None
    assert any("hand" in line for line in note.left_out)
    assert all("hand" not in one.name for one in note.budget.components)


def test_gauge_study_counts_as_in_the_verdict() -> None:
    document = worked(hand={1: 0.5})
    conditions = document.conditions.model_copy(update={"gauge_repeatability_cents": 0.3})
    without = note_budget(document, string=1, fret=2)
    note = note_budget(document.model_copy(update={"conditions": conditions}), string=1, fret=2)
    assert note is not None
    assert without is not None
    assert note.budget.u == pytest.approx(math.hypot(without.budget.u, 0.3))  # independent: GUM 5.1.2


def test_note_not_heard_has_no_budget() -> None:
    assert note_budget(worked(hand={}), string=2, fret=5) is None


def test_real_note_agrees_with_the_verdicts_uncertainty() -> None:
    """What the plucks of a note alone tell is no surer than what the whole neck tells of it."""
    document = documents.before()
    for string in range(1, 7):
        note = note_budget(document, string=string, fret=7)
        assert note is not None
        assert note.u_in_verdict_cents is not None
        assert 0.9 * note.u_in_verdict_cents < note.budget.u
