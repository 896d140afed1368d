"""A guided gauge study from its order to the repeatability that later verdicts use."""

from __future__ import annotations

import numpy as np
import pytest

from fretcheck.errors import DiagnosisRefusedError, UsageError
from fretcheck.inspection.document import ConditionsPart
from fretcheck.lots.gauge.study import GaugeStudy, add_inspection, compute_study, counts_for, open_study
from tests.lots.shop import MORNING, STRINGS, inspection

NECKS, OPERATORS = ("A", "B", "C"), ("Ann", "Ben")


def opened(**changes):
    return open_study(
        **{"name": "Spring", "necks": NECKS, "operators": OPERATORS, "repeats": 2, "seed": 3, "now": MORNING, **changes}
    )


def run_study(study, *, repeat_scatter=0.8, u_cents=0.4, operator_shift=0.0, shift=0.0, seed=1):
    """Read what the study asks for, in its order, with known scatter between readings."""
    rng = np.random.default_rng(seed)
    necks = {neck: rng.normal(0, 2.0, (STRINGS, 3)) for neck in NECKS}
    documents = {}
    while (step := study.next_step) is not None:
        noise = necks[step.neck] + rng.normal(0, repeat_scatter, (STRINGS, 3)) + operator_shift * (step.operator == "Ben")
        noise = noise + shift * rng.normal()
        document = inspection(step.neck, operator=step.operator, noise_cents=noise, u_cents=u_cents, limit_cents=6.0)
        document = document.model_copy(update={"id": f"260302-{len(documents) + 1}"})
        study, done = add_inspection(study, document)
        assert done.model_copy(update={"inspection": None}) == step
        documents[document.id] = document
    return study, documents


def test_the_order_covers_every_cell_once_and_repeats_come_last():
    study = opened()
    assert len({(s.neck, s.operator, s.repeat) for s in study.steps}) == len(study.steps) == 12
    assert [s.repeat for s in study.steps] == [1] * 6 + [2] * 6
    assert {s.neck for s in study.steps[:3]} == set(NECKS)
    assert opened(seed=4).steps != study.steps


def test_repeatability_comes_back():
    study, documents = run_study(opened(repeats=6), operator_shift=0.5)
    result = compute_study(study, documents, now=MORNING).result
    assert result.notes_used == STRINGS * 3
    # 54 notes × 2 operators × 5: 540 degrees of freedom, standard error 3 %
    assert result.repeatability.cents == pytest.approx(0.8, rel=0.1)
    assert result.repeatability.interval[0] < 0.8 < result.repeatability.interval[1]
    assert result.between_parts_cents == pytest.approx(2.0, rel=0.3)  # 54 parts
    assert result.reproducibility.cents == pytest.approx(0.5 / 2**0.5, rel=0.4)
    # six scatters of about 0.9 in a tolerance of 12 cents: 45 %, and 30 % is the most
    assert result.grade == "unfit"
    assert result.sentence.startswith("unfit for ±6 cents")
    assert "pluck every note more often" in result.sentence  # nothing else scatters so much here


def test_whole_inspections_that_shift_and_a_wide_tolerance_are_told():
    study, documents = run_study(opened(repeats=4), repeat_scatter=0.1, shift=0.6)
    assert "whole inspections shift" in compute_study(study, documents, now=MORNING).result.sentence
    # one degree of freedom between two operators: an upper end of three times the scatter, which must stay below 0.2 cents
    study, documents = run_study(opened(), repeat_scatter=0.05)
    result = compute_study(study, documents, now=MORNING).result
    assert (result.grade, result.sentence.split(":")[0]) == ("fit", "fit for ±6 cents")


def test_a_study_counts_for_its_operators_at_its_bench_only():
    study = opened(bench="back room")
    assert counts_for(study, operator="Ann", bench="back room")
    assert not counts_for(study, operator="Ann", bench=None)
    assert not counts_for(study, operator="Cy", bench="back room")
    assert not counts_for(study, operator=None, bench="back room")  # one of two
    assert counts_for(opened(operators=["Ann"]), operator=None, bench=None)
    with pytest.raises(UsageError, match="bench"):
        add_inspection(study, inspection("A", operator="Ann").model_copy(update={"id": "260302-1"}))


def test_a_result_with_the_narrow_intervals_of_version_0_1_is_to_be_computed_again():
    old = {**opened().model_dump(mode="json", by_alias=True), "result": {"repeatability": {"cents": 0.5, "interval": [0.4, 0.6]}}}
    assert GaugeStudy.model_validate(old).result is None


def test_the_share_of_the_tolerance_and_what_verdicts_do_not_see():
    study, documents = run_study(opened())
    result = compute_study(study, documents, now=MORNING).result
    assert result.tolerance_cents == 12.0
    assert result.share_of_tolerance == pytest.approx(6 * result.gauge.cents / 12, rel=1e-12)
    assert result.unseen_repeatability_cents == pytest.approx((result.repeatability.cents**2 - 0.4**2) ** 0.5, rel=1e-9)


def test_what_an_earlier_study_added_is_not_counted_as_seen():
    study, documents = run_study(opened(), u_cents=0.5)
    added = ConditionsPart(operator=None, gauge_repeatability_cents=0.3)
    later = {number: document.model_copy(update={"conditions": added}) for number, document in documents.items()}
    result = compute_study(study, later, now=MORNING).result
    assert result.unseen_repeatability_cents == pytest.approx((result.repeatability.cents**2 - 0.4**2) ** 0.5, rel=1e-9)  # 3-4-5


def test_nothing_unseen_is_zero_not_imaginary():
    study, documents = run_study(opened(), repeat_scatter=0.3, u_cents=0.6)
    assert compute_study(study, documents, now=MORNING).result.unseen_repeatability_cents == 0.0


def test_notes_not_read_every_time_are_left_out_and_counted():
    study, documents = run_study(opened())
    first = next(iter(documents))
    frets = [f for f in documents[first].frets if (f.string, f.fret) != (1, 1)]
    documents[first] = documents[first].model_copy(update={"frets": frets})
    result = compute_study(study, documents, now=MORNING).result
    assert (result.notes_used, result.notes_left_out) == (STRINGS * 3 - 1, 1)
    assert any("left out" in remark for remark in result.remarks)
    empty = {number: document.model_copy(update={"frets": []}) for number, document in documents.items()}
    with pytest.raises(DiagnosisRefusedError, match="read whole necks"):
        compute_study(study, empty, now=MORNING)


def test_what_does_not_belong_is_refused():
    study = opened()
    with pytest.raises(UsageError, match="12 of 12 readings to go"):
        compute_study(study, {}, now=MORNING)
    kept = inspection("A", operator="Ann").model_copy(update={"id": "260302-1"})
    with pytest.raises(UsageError, match="not kept"):
        add_inspection(study, inspection("A", operator="Ann"))
    with pytest.raises(UsageError, match="say --operator Ann or Ben"):
        add_inspection(study, kept.model_copy(update={"conditions": inspection("A").conditions}))
    study, _ = add_inspection(study, kept)
    with pytest.raises(UsageError, match="counts for study 'Spring' already"):
        add_inspection(study, kept)
    with pytest.raises(UsageError, match="nothing open"):
        add_inspection(study, inspection("Z", operator="Ann").model_copy(update={"id": "260302-2"}))
    with pytest.raises(UsageError, match="make no study"):
        opened(repeats=1)
    with pytest.raises(UsageError, match="make no study"):
        opened(necks=["A"])


def test_one_operator_needs_not_be_named():
    study, step = add_inspection(opened(operators=["Ann"]), inspection("A").model_copy(update={"id": "260302-1"}))
    assert (step.operator, study.read) == ("Ann", 1)


def test_an_inspection_that_asked_only_what_decides_does_not_count():
    study = opened()
    step = study.next_step
    document = inspection(step.neck, operator=step.operator, limit_cents=6.0)
    conditions = document.conditions.model_copy(update={"plan": "deciding"})
    with pytest.raises(UsageError, match="--plan full"):
        add_inspection(study, document.model_copy(update={"id": "260302-1", "conditions": conditions}))
