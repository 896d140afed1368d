"""Standard plans cell by cell against the standards' tables for small lots."""

from __future__ import annotations

import pytest

from fretcheck.errors import UsageError
from fretcheck.lots.acceptance.plans import LEVELS, QUALITY_LIMITS, attribute_plan
from tests.lots.reference import rows

SUPPORTED = ("Normal", "Tightened")  # reduced inspection is not offered


def lots_of(row: dict[str, str]) -> tuple[int, int]:
    smallest, largest = row["lot"].split("-")
    return int(smallest), int(largest)


def test_code_letters_cell_by_cell():
    for row in rows("attribute_code_letters.csv"):
        smallest, largest = (int(end) for end in row[""].split("-"))
        for level in LEVELS:
            for lot in (smallest, largest):
                assert f"letter {row[level]}," in attribute_plan(lot=lot, aql=1.0, level=level).source


def test_attribute_plans_cell_by_cell():
    cells = [row for row in rows("attribute_plans_small_lots.csv") if row["severity"] in SUPPORTED]
    assert len(cells) == 504  # 7 levels × 6 rows of lots × 6 quality limits × 2 severities
    for row in cells:
        for lot in range(lots_of(row)[0], lots_of(row)[1] + 1):
            plan = attribute_plan(lot=lot, aql=float(row["aql"]), level=row["level"], severity=row["severity"].lower())
            assert (plan.sample, plan.accept, plan.accept + 1) == (min(lot, int(row["n"])), int(row["ac"]), int(row["re"])), row
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
        assert (plan.sample, plan.accept + 1) == (PRINTED_SAMPLES[letters[row]], int(printed)), aql
        assert f"letter {letter}" in plan.source


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: attribute_plan(lot=60, aql=2.0), "nearest is"),
        (lambda: attribute_plan(lot=501, aql=2.5), "2 to 500"),
        (lambda: attribute_plan(lot=60, aql=2.5, level="IV"), "one of S-1"),
        (lambda: attribute_plan(lot=60, aql=2.5, severity="reduced"), "normal or tightened"),
    ],
)
def test_plans_outside_the_tables_are_refused(call, message):
    with pytest.raises(UsageError, match=message):
        call()
