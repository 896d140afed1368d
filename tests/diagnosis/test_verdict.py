"""The verdict against published examples of conformity assessment.

Sources and status (READ, MEMORY, CALC) stand with each entry of tests/reference/diagnosis_examples.json.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fretcheck.diagnosis.notes import DrawnNotes, note_decision
from fretcheck.diagnosis.result import Note, Verdict
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.diagnosis.verdict import conformity, global_risks, guard_band, judge
from fretcheck.errors import UsageError
from tests.diagnosis.necks import steel_neck

EXAMPLES = json.loads((Path(__file__).parent.parent / "reference" / "diagnosis_examples.json").read_text(encoding="utf-8"))


NECK = steel_neck(frets=20, strings=3)


def drawn(values: list[tuple[int, int, float]], *, u: float = 0.5, plucks: int = 2, band: float | None = None) -> DrawnNotes:
    """Notes (string, fret, cents) that err independently by `u`."""
    draws = np.array([cents for _, _, cents in values]) + u * np.random.default_rng(1).standard_normal((2000, len(values)))
    settings = DiagnosisSettings(guard_band_cents=band)
    notes = []
    for string, fret, cents in values:
        out = 1.0 - float(conformity(cents, u, lower=-3.0, upper=3.0))
        notes.append(
            Note(
                string=string, fret=fret, deviation_cents=cents, expected_cents=0.0, caused_cents=0.0, unexplained_cents=cents,
                u_cents=u, plucked_cents=cents, probability_out=out, plucks=plucks,
                decision=note_decision(cents, out, limit_cents=3.0, settings=settings),
            )
        )  # fmt: skip
    return DrawnNotes(notes=tuple(notes), draws=draws)


def verdict_of(values: list[tuple[int, int, float]], *, u: float = 0.5, band: float | None = None, **options: Any) -> Verdict:
    """Verdict on all of these notes; `asked` and `must_hear` may be given."""
    places = {(string, fret) for string, fret, _ in values}
    asked = options.pop("asked", places)
    return judge(
        drawn(values, u=u, band=band), asked, options.pop("must_hear", asked), neck=NECK, limit_cents=3.0,
        settings=DiagnosisSettings(guard_band_cents=band), **options,
    )  # fmt: skip


def everywhere(cents: float, *, frets: int = 12) -> list[tuple[int, int, float]]:
    return [(string, fret, cents) for string in (1, 2, 3) for fret in range(1, frets + 1)]


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
    ("value", "out", "band", "decision"),
    [
        (1.0, 0.0, None, "pass"),
        (2.5, 0.16, None, "undecided"),
        (4.5, 0.99, None, "fail"),
        (2.5, 0.16, 0.4, "pass"),
        (2.7, 0.27, 0.4, "undecided"),
        (-3.5, 0.84, 0.4, "fail"),
    ],
)
def test_decision_of_one_note(value: float, out: float, band: float | None, decision: str) -> None:
    settings = DiagnosisSettings(guard_band_cents=band)
    assert note_decision(value, out, limit_cents=3.0, settings=settings) == decision


def test_neck_fails_by_its_worst_note() -> None:
    verdict = verdict_of([*everywhere(0.2), (2, 13, 8.0)])
    assert verdict.decision == "fail"
    assert verdict.worst is not None
    assert (verdict.worst.string, verdict.worst.fret) == (2, 13)
    assert "1 note is surely outside ±3 cents" in verdict.reason


def test_neck_passes_only_when_all_notes_together_do() -> None:
    assert verdict_of(everywhere(1.0)).decision == "pass"
    # 36 notes at 2.1 ± 0.5: each lies within with Φ(1.8) = 96.4 %, all of them with 0.9641^36 = 27 % (draws: ±1 %)
    verdict = verdict_of(everywhere(2.1))
    assert verdict.decision == "undecided"
    assert verdict.probability_within == pytest.approx(0.964**36, abs=0.03)


def test_many_notes_none_surely_out_can_fail_together() -> None:
    # each of 60 is out with 1 − Φ(1.2) = 11.5 %; that none is has 0.885^60 = 0.07 %
    verdict = verdict_of(everywhere(2.4, frets=20))
    assert verdict.decision == "fail"
    assert "only below 0.1 % probable" in verdict.reason


def test_guard_band_decides_by_values() -> None:
    assert verdict_of(everywhere(2.5), band=0.4).decision == "pass"
    assert verdict_of([*everywhere(0.0), (1, 13, 2.8)], band=0.4).decision == "undecided"
    assert verdict_of([*everywhere(0.0), (1, 13, 3.5)], band=0.4).decision == "fail"


def test_a_note_that_was_not_heard_leaves_at_best_undecided() -> None:
    asked = {(string, fret) for string, fret, _ in everywhere(0.0)} | {(1, 13), (3, 14), (3, 15)}
    verdict = verdict_of(everywhere(0.0), asked=asked)
    assert verdict.decision == "undecided"
    assert verdict.reason.startswith("String 1 fret 13; string 3 frets 14, 15 were not heard.")
    assert verdict_of(everywhere(0.0), asked=asked, must_hear=asked - {(1, 13), (3, 14), (3, 15)}).decision == "pass"


@pytest.mark.parametrize(
    ("values", "words"),
    [([(1, 1, 9.0)], "Only 1 of 3 strings read"), ([(1, 1, 0.0), (2, 1, 0.0), (3, 1, 0.0)], "Only 3 of 39 notes")],
)
def test_a_fragment_is_not_judged(values: list[tuple[int, int, float]], words: str) -> None:
    asked = {(string, fret) for string, fret, _ in everywhere(0.0, frets=13)}
    verdict = verdict_of(values, asked=asked)
    assert verdict.decision is None
    assert verdict.probability_within is None
    assert verdict.reason.startswith(words)


@pytest.mark.parametrize(
    ("option", "match"),
    [({"risk": 0.7}, "risk = 0.7"), ({"fret_position_mm": 0.0}, "fret_position_mm"), ({"guard_band_cents": -1.0}, "0 or more")],
)
def test_settings_out_of_range_are_refused(option: dict[str, float], match: str) -> None:
    with pytest.raises(UsageError, match=match):
        DiagnosisSettings(**option)


def test_guard_band_of_zero_is_simple_acceptance() -> None:
    settings = DiagnosisSettings(guard_band_cents=0.0)
    assert note_decision(2.99, 0.4, limit_cents=3.0, settings=settings) == "pass"
    assert np.isclose(guard_band(0.5, ratio=1.0), 1.0)
