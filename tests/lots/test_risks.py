"""Acceptance risks against published tables and worked examples, and against brute force."""

from __future__ import annotations

from itertools import combinations, pairwise

import pytest
from scipy.stats import binom

from fretcheck.errors import UsageError
from fretcheck.lots.acceptance.lot_record import PlanPart
from fretcheck.lots.acceptance.risks import (
    StatedRisks,
    acceptance_probability,
    most_bad_in_lot,
    operating_characteristic,
    percent_in_words,
    plan_for_risks,
    risk_in_words,
    worst_outgoing_fraction_bad,
)
from tests.lots.reference import EXAMPLES, rows


@pytest.mark.parametrize("row", rows("hypergeometric_acceptance.csv"), ids=lambda row: "-".join(row.values()))
def test_hypergeometric_table(row):
    found = acceptance_probability(
        sample=int(row["n"]), accept=int(row["Ac"]), lot=int(row["N"]), bad=int(row["D"])
    )  # the table has 6 decimals
    assert found == pytest.approx(float(row["Pa"]), abs=6e-7)


def test_acceptance_by_counting_every_sample():
    necks = [True] * 3 + [False] * 6  # 3 bad of 9
    samples = list(combinations(necks, 4))
    for accept in range(4):
        expected = sum(sum(sample) <= accept for sample in samples) / len(samples)
        assert acceptance_probability(sample=4, accept=accept, lot=9, bad=3) == pytest.approx(expected, abs=1e-12)


def test_nist_single_sampling_plan():
    example = EXAMPLES["nist_single_sampling"]
    for fraction, expected in example["Pa"].items():
        found = acceptance_probability(sample=example["n"], accept=example["c"], bad=float(fraction))
        assert found == pytest.approx(expected, abs=1.1e-3)  # printed to 3 decimals, its errata: some off by one in the last


def test_two_risks_binomial_examples():
    kiermeier = EXAMPLES["two_risks_kiermeier"]
    plan = plan_for_risks(
        lot=None,
        risks=StatedRisks(
            good=kiermeier["PRP"][0],
            makers_risk=1 - kiermeier["PRP"][1],
            bad=kiermeier["CRP"][0],
            buyers_risk=kiermeier["CRP"][1],
        ),
    )
    assert [plan.sample, plan.accept] == kiermeier["binom"]
    other = EXAMPLES["two_risks_binomial"]
    risks = StatedRisks(good=other["PRQ"], bad=other["CRQ"], makers_risk=other["alpha"], buyers_risk=other["beta"])
    plan = plan_for_risks(lot=None, risks=risks)
    assert (plan.sample, plan.accept) == (other["n"], other["c"])
    assert 1 - acceptance_probability(sample=144, accept=4, bad=0.01) == pytest.approx(other["PR"], abs=1e-8)
    assert acceptance_probability(sample=144, accept=4, bad=0.05) == pytest.approx(other["CR"], abs=1e-7)


def test_outgoing_quality_example():
    example = EXAMPLES["outgoing_quality"]
    plan = {"sample": example["n"], "accept": example["c"], "lot": example["N"]}
    assert worst_outgoing_fraction_bad(**plan) == pytest.approx(example["AOQL"], abs=5e-6)


def test_smallest_plan_keeps_both_risks_and_no_smaller_one_does():
    risks = StatedRisks(good=1, bad=12, makers_risk=0.05, buyers_risk=0.10)
    plan = plan_for_risks(lot=60, risks=risks)

    def keeps(sample: int, accept: int) -> bool:
        good = acceptance_probability(sample=sample, accept=accept, lot=60, bad=1)
        bad = acceptance_probability(sample=sample, accept=accept, lot=60, bad=12)
        return good >= 0.95 and bad <= 0.10

    assert keeps(plan.sample, plan.accept)
    assert not any(keeps(sample, accept) for sample in range(1, plan.sample) for accept in range(sample))


def test_the_bound_of_the_makers_risk_that_the_readme_tells():
    """Of 60 necks one is bad, the others are called bad one time in twenty each; 30 drawn, one allowed."""
    plan = plan_for_risks(lot=60, risks=StatedRisks(good=1, bad=6))
    assert (plan.sample, plan.accept) == (30, 1)
    drawn = plan.sample / 60  # the bad one is, or is not
    refused = drawn * binom.sf(0, 29, 0.05) + (1 - drawn) * binom.sf(1, 30, 0.05)
    assert refused == pytest.approx(0.61, abs=0.005)


def test_most_bad_in_lot_is_the_exact_limit():
    most = most_bad_in_lot(lot=40, sample=10, found_bad=1, confidence=0.90)
    assert acceptance_probability(sample=10, accept=1, lot=40, bad=most) > 0.10
    assert acceptance_probability(sample=10, accept=1, lot=40, bad=most + 1) <= 0.10
    assert most_bad_in_lot(lot=12, sample=12, found_bad=2) == 2


def test_characteristic_falls_from_certain_to_none():
    curve = operating_characteristic(sample=5, accept=0, lot=20)
    chances = [chance for _, chance in curve]
    assert chances[0] == 1
    assert chances[-1] == 0
    assert all(before >= after for before, after in pairwise(chances))


def test_words_say_the_risk():
    plan = PlanPart(sample=5, accept=0, source="test")
    assert risk_in_words(plan=plan, lot=20, bad=2) == "if 2 of 20 were bad you would still accept 55 % of the time"  # 210/380
    assert percent_in_words(0.9999) == "more than 99 %"
    assert percent_in_words(0.0001) == "less than 1 %"
    assert percent_in_words(1.0) == "100 %"
    assert percent_in_words(0.0) == "0 %"


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"sample": 5, "accept": 0, "lot": 4, "bad": 1}, "more than the 4 necks"),
        ({"sample": 5, "accept": 0, "lot": 20, "bad": 21}, "cannot be"),
        ({"sample": 5, "accept": 0, "lot": 20, "bad": 1.5}, "whole number"),
        ({"sample": 5, "accept": 0, "bad": 5}, "0.05 for 5 %"),
        ({"sample": 0, "accept": 0, "lot": 20, "bad": 1}, "no plan"),
        ({"sample": 1, "accept": 0, "lot": 10_001, "bad": 1}, "outside 1 to"),
    ],
)
def test_impossible_samples_are_refused(arguments, message):
    with pytest.raises(UsageError, match=message):
        acceptance_probability(**arguments)


def test_contradicting_risks_are_refused():
    with pytest.raises(UsageError, match="must hold more bad necks"):
        plan_for_risks(lot=50, risks=StatedRisks(good=5, bad=5))
    with pytest.raises(UsageError, match="buyer's risk"):
        plan_for_risks(lot=50, risks=StatedRisks(good=0, bad=5, buyers_risk=10))
    with pytest.raises(UsageError, match="widen the gap"):
        plan_for_risks(lot=None, risks=StatedRisks(good=0.010, bad=0.011))
