"""Standard plans cell by cell against the standards' tables for small lots."""

from __future__ import annotations

import pytest

from fretcheck.errors import UsageError
from fretcheck.lots.attribute_plans import LEVELS, QUALITY_LIMITS, attribute_plan, code_letter
from fretcheck.lots.risks import StatedRisks
from fretcheck.lots.variable_plans import (
    VariablePlan,
    decide_by_variables,
    fraction_outside,
    variable_plan,
    variable_plan_for_risks,
)
from tests.lots.reference import EXAMPLES, rows

SUPPORTED = ("Normal", "Tightened")  # reduced inspection is not offered


def lots_of(row: dict[str, str]) -> tuple[int, int]:
    smallest, largest = row["lot"].split("-")
    return int(smallest), int(largest)


def test_code_letters_cell_by_cell():
    for row in rows("attribute_code_letters.csv"):
        smallest, largest = (int(end) for end in row[""].split("-"))
        for level in LEVELS:
            assert code_letter(lot=smallest, level=level) == row[level]
            assert code_letter(lot=largest, level=level) == row[level]


def test_attribute_plans_cell_by_cell():
    cells = [row for row in rows("attribute_plans_small_lots.csv") if row["severity"] in SUPPORTED]
    assert len(cells) == 504  # 7 levels × 6 rows of lots × 6 quality limits × 2 severities
    for row in cells:
        for lot in range(lots_of(row)[0], lots_of(row)[1] + 1):
            plan = attribute_plan(lot=lot, aql=float(row["aql"]), level=row["level"], severity=row["severity"].lower())
            assert (plan.sample, plan.accept, plan.refuse) == (min(lot, int(row["n"])), int(row["ac"]), int(row["re"])), row
            assert f"letter {row['code']}" in plan.source


# Rows F to K of MIL-STD-105E tables II-A and II-B: refusal numbers at AQL 0.65, 1.0, 1.5, 2.5, 4.0, 6.5; < and > stand for the
# first plan above or below (READ: a building agency's guide that reprints both, "AC-TABLE.ASC", tables 1-A and 1-B)
PRINTED_SAMPLES = {"F": 20, "G": 32, "H": 50, "J": 80, "K": 125}
PRINTED = {
    "normal": {"F": "1 < > 2 3 4", "G": "< > 2 3 4 6", "H": "> 2 3 4 6 8", "J": "2 3 4 6 8 11", "K": "3 4 6 8 11 15"},
    "tightened": {"F": "> 1 > > 2 3", "G": "1 > > 2 3 4", "H": "> > 2 3 4 6", "J": "> 2 3 4 6 9", "K": "2 3 4 6 9 13"},
}
LARGE_LOTS = [(151, "II", "G"), (280, "II", "G"), (280, "III", "H"), (281, "II", "H"), (500, "II", "H"), (500, "III", "J")]


@pytest.mark.parametrize("severity", PRINTED)
@pytest.mark.parametrize(("lot", "level", "letter"), LARGE_LOTS)
def test_attribute_plans_of_larger_lots(severity, lot, level, letter):
    letters = list(PRINTED_SAMPLES)
    for column, aql in enumerate(QUALITY_LIMITS):
        row = letters.index(letter)
        while (printed := PRINTED[severity][letters[row]].split()[column]) in "<>":
            row += 1 if printed == ">" else -1
        plan = attribute_plan(lot=lot, aql=aql, level=level, severity=severity)
        assert (plan.sample, plan.refuse) == (PRINTED_SAMPLES[letters[row]], int(printed)), aql
        assert f"letter {letter}" in plan.source


def test_variable_plans_cell_by_cell():
    cells = [row for row in rows("variable_plans_small_lots.csv") if row["severity"] in SUPPORTED]
    assert len(cells) == 360  # 5 levels × 6 rows of lots × 6 quality limits × 2 severities
    for row in cells:
        for lot in lots_of(row):
            plan = variable_plan(lot=lot, aql=float(row["aql"]), level=row["level"], severity=row["severity"].lower())
            assert (plan.sample, plan.k) == (int(row["n"]), float(row["k"])), row
            # M is not kept in the code but follows from k; the table prints 2 (one cell 3) decimals
            assert plan.most_outside_pct == pytest.approx(float(row["M_pct"]), abs=0.006)


def test_s_method_example_with_two_limits():
    example = EXAMPLES["milstd414_B1"]
    plan = VariablePlan(sample=5, k=1.53, source="example B-1")
    found = decide_by_variables(example["x"], plan=plan, lower=example["L"], upper=example["U"])
    assert found.mean == example["mean"]
    assert found.scatter == pytest.approx(example["s"], abs=5e-5)
    assert (found.index_high, found.index_low) == pytest.approx((example["QU"], example["QL"]), abs=5e-5)
    assert found.outside_high_pct == pytest.approx(example["pU_pct"], abs=5e-4)
    assert found.outside_low_pct == pytest.approx(example["pL_pct"], abs=5e-4)
    assert found.accepted is example["accept"]


def test_s_method_example_with_one_limit():
    example = EXAMPLES["iso3951_s"]
    plan = VariablePlan(sample=13, k=example["k_F_2.5"], source="example")
    found = decide_by_variables(example["x13"], plan=plan, upper=example["U"])
    assert found.mean == pytest.approx(example["mean"], abs=5e-4)
    assert found.scatter == pytest.approx(example["s"], abs=5e-3)
    assert found.index_high == pytest.approx(example["Q"], abs=1e-3)
    assert found.accepted == (example["Q"] >= example["k_F_2.5"])


def test_methods_k_and_m_agree_for_one_limit():
    plan = variable_plan(lot=60, aql=1.5)
    for index in (plan.k - 0.001, plan.k + 0.001):
        assert (100 * fraction_outside(index, sample=plan.sample) <= plan.most_outside_pct) == (index >= plan.k)


def test_variable_plan_for_two_risks():
    example = EXAMPLES["two_risks_kiermeier"]
    risks = StatedRisks(
        good=example["PRP"][0], makers_risk=1 - example["PRP"][1], bad=example["CRP"][0], buyers_risk=example["CRP"][1]
    )
    known = variable_plan_for_risks(risks=risks, scatter_known=True)
    assert known.sample == example["normal_known"][0]
    assert known.k == pytest.approx(example["normal_known"][1], abs=5e-7)
    unknown = variable_plan_for_risks(risks=risks)
    assert unknown.sample == example["normal_unknown"][0]
    assert unknown.k == pytest.approx(example["normal_unknown"][1], abs=2e-5)  # any k from 1.32496 up to ours keeps the risks


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: attribute_plan(lot=60, aql=2.0), "nearest is"),
        (lambda: attribute_plan(lot=501, aql=2.5), "2 to 500"),
        (lambda: attribute_plan(lot=60, aql=2.5, level="IV"), "one of S-1"),
        (lambda: attribute_plan(lot=60, aql=2.5, severity="reduced"), "normal or tightened"),
        (lambda: variable_plan(lot=151, aql=2.5), "state your risks"),
        (lambda: variable_plan(lot=60, aql=2.0), "series"),
        (lambda: variable_plan(lot=60, aql=2.5, level="S-1"), "variables"),
        (lambda: variable_plan(lot=60, aql=2.5, severity="reduced"), "normal or tightened"),
        (lambda: variable_plan_for_risks(risks=StatedRisks(good=0.1, bad=0.05)), "must obey"),
        (lambda: variable_plan_for_risks(risks=StatedRisks(good=0.05, bad=0.0501)), "widen the gap"),
        (lambda: fraction_outside(1.0, sample=2), "at least 3"),
    ],
)
def test_plans_outside_the_tables_are_refused(call, message):
    with pytest.raises(UsageError, match=message):
        call()


@pytest.mark.parametrize(
    ("values", "limits", "message"),
    [
        ([1.0, 2.0, 3.0], {}, "needs a lower limit"),
        ([1.0, 2.0, 3.0], {"lower": 2, "upper": 1}, "not below"),
        ([1.0, 2.0], {"upper": 5}, "do not fit a plan of 3"),
        ([1.0, 1.0, 1.0], {"upper": 5}, "all values are equal"),
    ],
)
def test_samples_that_cannot_be_judged_by_variables(values, limits, message):
    with pytest.raises(UsageError, match=message):
        decide_by_variables(values, plan=VariablePlan(sample=3, k=1.0, source="test"), **limits)
