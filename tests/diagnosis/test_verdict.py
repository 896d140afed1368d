"""The verdict against published examples of conformity assessment.

Sources and status (READ, MEMORY, CALC) stand with each entry of tests/reference/diagnosis_examples.json.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from fretcheck.diagnosis.result import NoteExplained
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.diagnosis.verdict import conformity, decide, global_risks, guard_band, judge
from fretcheck.errors import UsageError

EXAMPLES = json.loads((Path(__file__).parent.parent / "reference" / "diagnosis_examples.json").read_text(encoding="utf-8"))


def note(string: int, fret: int, heard: float, *, u: float = 0.5, limit: float = 3.0) -> NoteExplained:
    decision, probability = decide(heard, u, limit=limit)
    return NoteExplained(
        string=string, fret=fret, heard_cents=heard, expected_cents=0.0, caused_cents=0.0, unexplained_cents=heard,
        u_cents=u, probability_conforming=probability, decision=decision,
    )  # fmt: skip


def test_conformity_of_the_motor_oil_example() -> None:
    # JCGM 106:2012, 7.4: inputs READ, result MEMORY and recomputed; printed to four digits.
    case = EXAMPLES["jcgm106_oil"]
    assert conformity(case["y"], case["u"], lower=case["TL"], upper=case["TU"]) == pytest.approx(case["pc"], abs=5e-5)


def test_conformity_of_the_zener_diode_example() -> None:
    # JCGM 106:2012, one-sided limit: MEMORY, recomputed; four digits.
    case = EXAMPLES["jcgm106_zener"]
    assert conformity(case["y"], case["u"], upper=case["TU"]) == pytest.approx(case["pc"], abs=5e-5)


@pytest.mark.parametrize(("limits", "consumer", "producer"), [("A", "RC", "RP"), ("T", "simple_RC", "simple_RP")])
def test_global_risks_of_the_resistor_example(limits: str, consumer: str, producer: str) -> None:
    # JCGM 106:2012, 9.5.4: inputs READ, risks 1 % and 7 % MEMORY, six digits recomputed; half a unit of the last digit.
    case = EXAMPLES["jcgm106_resistor"]
    risks = global_risks(
        target=case["y0"],
        u_process=case["u0"],
        u_measurement=case["um"],
        tolerance=tuple(case["T"]),
        acceptance=tuple(case[limits]),
    )
    assert risks == pytest.approx((case[consumer], case[producer]), abs=2e-6)
    conforming = conformity(case["y0"], case["u0"], lower=case["T"][0], upper=case["T"][1])
    assert conforming == pytest.approx(case["conf"], abs=1e-6)


@pytest.mark.parametrize(("name", "ratio", "band"), [("SL2_TUR4", 4.0, 1.0), ("SL2_TUR2_GB0.91", 2.0, 0.91)])
def test_false_accept_and_reject_rates(name: str, ratio: float, band: float) -> None:
    # Specification at two standard deviations of the process, uncertainty ratio 4 and 2 (READ, printed to three digits).
    case = EXAMPLES["deaver"][name]
    accepted, rejected = global_risks(
        target=0.0, u_process=0.5, u_measurement=0.5 / ratio, tolerance=(-1.0, 1.0), acceptance=(-band, band)
    )
    assert accepted == pytest.approx(case["PFA"], abs=5e-4)
    assert rejected == pytest.approx(case["PFR"], abs=5e-4)


@pytest.mark.parametrize("ratio", ["1.5", "1", "0.83"])
def test_risk_left_by_a_guard_band(ratio: str) -> None:
    # A value on the acceptance limit of a one-sided limit (READ, ILAC-G8 table; exact values CALC to five digits).
    u, limit = 0.4, 3.0
    acceptance = limit - guard_band(u, ratio=float(ratio))
    outside = 1.0 - conformity(acceptance, u, upper=limit)
    assert outside == pytest.approx(EXAMPLES["guard_table"]["exact_Phi(-2r)"][ratio], abs=5e-6)


def test_exact_values_are_judged_without_division_by_zero() -> None:
    assert conformity([2.9, 3.1, 3.0], 0.0, lower=-3.0, upper=3.0).tolist() == [1.0, 0.0, 1.0]


@pytest.mark.parametrize(("u", "lower", "upper", "match"), [(-0.1, -1, 1, "must be 0 or more"), (0.1, 1, -1, "wrong way round")])
def test_impossible_arguments_are_refused(u: float, lower: float, upper: float, match: str) -> None:
    with pytest.raises(UsageError, match=match):
        conformity(0.0, u, lower=lower, upper=upper)


@pytest.mark.parametrize(
    ("value", "band", "decision"),
    [
        (1.0, None, "pass"),
        (2.5, None, "undecided"),
        (4.5, None, "fail"),
        (2.5, 0.4, "pass"),
        (2.7, 0.4, "undecided"),
        (-3.5, 0.4, "fail"),
    ],
)
def test_decision_of_one_note(value: float, band: float | None, decision: str) -> None:
    # u = 0.5, limit 3: 2.5 lies one u inside (84 %), 4.5 three u outside.
    assert decide(value, 0.5, limit=3.0, guard_band_cents=band)[0] == decision


def test_neck_fails_by_its_worst_note() -> None:
    verdict = judge([note(1, 1, 0.2), note(2, 7, 8.0)], limit_cents=3.0)
    assert verdict.decision == "fail"
    assert verdict.worst is not None
    assert (verdict.worst.string, verdict.worst.fret) == (2, 7)
    assert "1 note is outside ±3 cents" in verdict.reason


def test_neck_passes_only_when_all_notes_together_do() -> None:
    assert judge([note(1, k, 1.0) for k in range(1, 13)], limit_cents=3.0).decision == "pass"
    # Each of 40 notes at 2.1 ± 0.5 passes alone (96 %); that all conform is 0.964^40 = 23 % probable.
    many = [note(1, k, 2.1) for k in range(1, 41)]
    assert all(one.decision == "pass" for one in many)
    assert judge(many, limit_cents=3.0).decision == "undecided"


def test_open_note_off_pitch_is_not_the_necks_fault() -> None:
    notes = [note(1, 0, 12.0), note(1, 1, 0.1)]
    assert judge(notes, limit_cents=3.0).decision == "pass"
    assert judge(notes, limit_cents=3.0, settings=DiagnosisSettings(judge_open_notes=True)).decision == "fail"


def test_nothing_to_judge_is_undecided() -> None:
    verdict = judge([], limit_cents=3.0)
    assert (verdict.decision, verdict.worst) == ("undecided", None)


@pytest.mark.parametrize(
    ("option", "match"),
    [({"risk": 0.7}, "risk = 0.7"), ({"fret_position_mm": 0.0}, "fret_position_mm"), ({"guard_band_cents": -1.0}, "0 or more")],
)
def test_settings_out_of_range_are_refused(option: dict[str, float], match: str) -> None:
    with pytest.raises(UsageError, match=match):
        DiagnosisSettings(**option)


def test_guard_band_of_zero_is_simple_acceptance() -> None:
    assert decide(2.99, 0.5, limit=3.0, guard_band_cents=0.0)[0] == "pass"
    assert np.isclose(guard_band(0.5, ratio=1.0), 1.0)
