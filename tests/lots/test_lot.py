"""A lot from opening to closing: serials, the draw, the decision with undecided necks, variables, refusals."""

from __future__ import annotations

from hashlib import sha256
from itertools import pairwise

import pytest

from fretcheck.errors import UsageError
from fretcheck.lots.acceptance.lot_decision import decide_lot, next_step, plan_risks_in_words
from fretcheck.lots.acceptance.lot_record import PlanPart, ReadPart
from fretcheck.lots.acceptance.lot_steps import add_inspections, close_lot, draw_sample, open_lot, serials_from, spoil
from fretcheck.lots.acceptance.plans import proposed_severity
from tests.lots.shop import MORNING, inspection

FIVE_OF_TWENTY = PlanPart(sample=5, accept=0, source="test")


def drawn(plan: PlanPart = FIVE_OF_TWENTY, *, serials: str = "WT-001..WT-020"):
    return draw_sample(open_lot(name="March", serials=serials_from([serials]), plan=plan, now=MORNING), seed=7)


def results(lot, *decisions: str):
    return {s: inspection(s, decision=d) for s, d in zip(lot.sample, decisions, strict=False)}


def test_the_draw_follows_from_its_seed_alone():
    lot = drawn()
    ranks = {s: sha256(f"7/{s}".encode()).hexdigest() for s in lot.serials}  # the rule as documented, written again
    assert set(lot.sample) == set(sorted(lot.serials, key=ranks.__getitem__)[:5])
    assert (lot.seed, lot.state) == (7, "drawn")
    reordered = open_lot(name="March", serials=lot.serials[::-1], plan=FIVE_OF_TWENTY, now=MORNING)
    assert set(draw_sample(reordered, seed=7).sample) == set(lot.sample)


def test_every_neck_is_drawn_equally_often():
    counts = dict.fromkeys(serials_from(["N1..N8"]), 0)
    for seed in range(4000):
        lot = open_lot(name="x", serials=list(counts), plan=PlanPart(sample=2, accept=0, source="t"), now=MORNING)
        for serial in draw_sample(lot, seed=seed).sample:
            counts[serial] += 1
    # 1,000 expected, standard deviation 27; 4.5 of them
    assert all(880 <= count <= 1120 for count in counts.values())


def test_a_seed_is_chosen_and_recorded_when_none_is_given():
    lot = draw_sample(open_lot(name="x", serials=["a", "b", "c", "d", "e"], plan=FIVE_OF_TWENTY, now=MORNING))
    assert lot.seed is not None
    assert lot.sample == ("a", "b", "c", "d", "e")


def test_a_second_draw_is_refused():
    with pytest.raises(UsageError, match="would be picking"):
        draw_sample(drawn(), seed=8)


def test_accepted_with_its_risks_in_words():
    lot = drawn()
    decision = decide_lot(lot, results(lot, *["pass"] * 5), now=MORNING)
    assert (decision.outcome, decision.bad, decision.undecided, decision.unread) == ("accept", 0, 0, 0)
    assert "if 2 of 20 were bad you would still accept 55 % of the time" in decision.risks  # C(18,5)/C(20,5)
    assert any(words.startswith("after this sample up to") for words in decision.risks)


def test_refused_as_soon_as_the_bad_are_too_many():
    lot = drawn()
    decision = decide_lot(lot, results(lot, "fail"), now=MORNING)
    assert (decision.outcome, decision.unread) == ("refuse", 4)


def test_undecided_necks_keep_the_lot_open_until_told_to_count_as_bad():
    lot = drawn()
    read = results(lot, "pass", "undecided", "pass", "pass", "pass")
    decision = decide_lot(lot, read, now=MORNING)
    assert decision.outcome == "open"
    undecided = lot.model_copy(update={"decision": decision, "inspections": {lot.sample[1]: "260302-2"}})
    doubtful = {**read, lot.sample[1]: read[lot.sample[1]].model_copy(update={"pluck_again": [(4, 2), (4, 3)]})}
    step = next_step(undecided, doubtful)
    assert f"pluck again what decides {lot.sample[1]} (string/fret 4/2, 4/3): fretcheck inspect NECK --more 260302-2" in step
    strict = decide_lot(lot, read, undecided_as_bad=True, now=MORNING)
    assert strict.outcome == "refuse"
    assert strict.text == "0 bad and 1 undecided of 5 read, 0 allowed; undecided counts as bad"
    # 1 of 5 undecided, so 4 of 20 would count as bad: C(16,5)/C(20,5) = 0.2817 accepted (CALC)
    assert "would be refused 72 % of the time, not 0 %" in strict.risks[0]
    # after 1 bad in 5 of 20 the lot holds at most 10 (exact hypergeometric limit, 90 %: 10 bad would show at most 1 in 15.2 % of
    # samples of 5, 11 in 9.8 %; CALC)
    assert any("up to 10 of the 20" in words for words in strict.risks)


def test_accepted_when_even_bad_undecided_necks_would_do():
    lot = drawn(PlanPart(sample=5, accept=1, source="test"))
    decision = decide_lot(lot, results(lot, "pass", "undecided", "pass", "pass", "pass"), now=MORNING)
    assert decision.outcome == "accept"
    assert "even if the one neck left undecided were bad" in decision.text


def test_unread_necks_are_named():
    lot = drawn()
    decision = decide_lot(lot, results(lot, "pass", "pass"), now=MORNING)
    assert decision.outcome == "open"
    assert all(serial in next_step(lot, results(lot, "pass", "pass")) for serial in lot.sample[2:])


def test_checking_every_neck_leaves_nothing_to_chance():
    lot = drawn(PlanPart(sample=4, accept=0, source="test"), serials="A1..A4")
    assert plan_risks_in_words(lot) == ("every neck is checked: nothing is left to chance",)


def test_a_plan_by_variables_of_version_0_1_is_no_longer_judged():
    lot = drawn(PlanPart(basis="variables", sample=5, k=1.53, source="s-method"))
    with pytest.raises(UsageError, match="close it with --note"):
        decide_lot(lot, results(lot, *["pass"] * 5), now=MORNING)


def read(*pairs):
    return [ReadPart(id=number, decision=decision) for number, decision in pairs]


def test_the_first_inspection_counts_and_rework_changes_nothing():
    lot = add_inspections(drawn(), {"WT-001": read(("1", "fail"))})
    lot = add_inspections(lot, {"WT-001": read(("1", "fail"), ("9", "pass")), "WT-002": read(("2", "pass"))})
    assert lot.inspections == {"WT-001": "1", "WT-002": "2"}
    assert [one.id for one in lot.reads["WT-001"]] == ["1", "9"]


def test_an_undecided_or_spoiled_inspection_gives_way_to_the_next():
    lot = add_inspections(drawn(), {"WT-001": read(("1", "undecided"), ("2", "fail"), ("3", "pass"))})
    assert lot.inspections["WT-001"] == "2"
    lot = spoil(lot, "2", why="a string had slipped")
    assert lot.inspections["WT-001"] == "3"
    assert lot.reads["WT-001"][1].spoiled == "a string had slipped"
    with pytest.raises(UsageError, match="say why"):
        spoil(lot, "3", why=" ")
    with pytest.raises(UsageError, match="not on the record"):
        spoil(lot, "7", why="a reason")


def test_a_decided_lot_stays_as_it_is():
    lot = drawn()
    decided = lot.model_copy(update={"decision": decide_lot(lot, results(lot, "fail"), now=MORNING)})
    assert decided.state == "decided"
    with pytest.raises(UsageError, match="cannot be judged a second time"):
        decide_lot(decided, {}, now=MORNING)
    with pytest.raises(UsageError, match="cannot change its sample"):
        add_inspections(decided, {"WT-003": read(("3", "pass"))})
    closed = close_lot(decided, now=MORNING)
    assert closed.state == "closed"
    with pytest.raises(UsageError, match="was closed at"):
        close_lot(closed, now=MORNING)


def test_every_state_ends_with_its_next_step():
    plan = PlanPart(sample=5, accept=1, source="test")
    opened = open_lot(name="March lot", serials=serials_from(["WT-001..WT-020"]), plan=plan, now=MORNING)
    assert "fretcheck lot draw 'March lot'" in next_step(opened, {})
    lot = draw_sample(opened, seed=7)
    assert next_step(lot, {}).startswith(f"inspect {lot.sample[0]}")
    all_read = results(lot, "fail", *["pass"] * 4)
    assert "fretcheck lot decide" in next_step(lot, all_read)
    decision = decide_lot(lot, all_read, now=MORNING)
    assert f"take out {lot.sample[0]}" in decision.text
    accepted = lot.model_copy(update={"decision": decision})
    assert next_step(accepted, all_read).startswith(f"take out {lot.sample[0]}; then: fretcheck lot close")
    assert "nothing is left" in next_step(close_lot(accepted, now=MORNING), all_read)
    bad = results(lot, "fail", "fail", "pass", "pass", "pass")
    refused = lot.model_copy(update={"decision": decide_lot(lot, bad, now=MORNING)})
    assert "check every neck" in next_step(refused, bad)


def test_the_switch_between_normal_and_tightened_is_proposed_with_its_reason():
    def decided(name: str, outcome: str, *, source: str = "normal"):
        lot = drawn(PlanPart(sample=5, accept=0, source=source)).model_copy(update={"name": name})
        found = decide_lot(lot, results(lot, *["pass"] * 5), now=MORNING).model_copy(update={"outcome": outcome})
        return lot.model_copy(update={"decision": found})

    lots = [decided("a", "accept"), decided("b", "refuse"), decided("c", "accept"), decided("d", "refuse")]
    assert "2 of the last 4 lots were refused (b, d)" in proposed_severity(lots, now_tightened=False)
    assert proposed_severity(lots[:3], now_tightened=False) is None
    tight = [decided(str(n), "accept", source="letter F, tightened") for n in range(5)]
    assert "normal plan will do again" in proposed_severity(tight, now_tightened=True)
    assert proposed_severity(tight[:4], now_tightened=True) is None


def test_serials_from_ranges():
    assert serials_from(["WT-098..WT-101"]) == ("WT-098", "WT-099", "WT-100", "WT-101")
    assert serials_from(["9..11", "X"]) == ("9", "10", "11", "X")
    for before, after in pairwise(serials_from(["A1..A12"])):
        assert int(after[1:]) == int(before[1:]) + 1


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: serials_from(["A5..A3"]), "no range"),
        (lambda: serials_from(["A1..B9"]), "no range"),
        (lambda: open_lot(name="x", serials=[], plan=FIVE_OF_TWENTY, now=MORNING), "needs the serials"),
        (lambda: open_lot(name="x", serials=["a", "a"], plan=FIVE_OF_TWENTY, now=MORNING), "given twice"),
        (lambda: open_lot(name="x", serials=["a"], plan=FIVE_OF_TWENTY, now=MORNING), "has only 1"),
        (lambda: open_lot(name="\n", serials=["a"], plan=FIVE_OF_TWENTY, now=MORNING), "will not do"),
        (lambda: add_inspections(drawn(), {"nobody": read(("1", "pass"))}), "is not in lot"),
        (lambda: close_lot(drawn(), now=MORNING), "decide it first"),
        (lambda: add_inspections(drawn().model_copy(update={"sample": ()}), {"WT-001": read(("1", "pass"))}), "no sample yet"),
        (lambda: decide_lot(drawn().model_copy(update={"sample": ()}), {}, now=MORNING), "draw it first"),
    ],
)
def test_steps_that_make_no_sense_are_refused(call, message):
    with pytest.raises(UsageError, match=message):
        call()


def test_a_lot_of_two_tells_its_one_risk_once():
    lot = drawn(PlanPart(sample=1, accept=0, source="test"), serials="WT-001..WT-002")
    risk, worst = plan_risks_in_words(lot)
    assert risk == "if 1 of 2 were bad you would still accept 50 % of the time"  # one of two is drawn
    # outgoing p·(1 − p)·(2 − 1)/2 of lots with a share p of bad necks, at most 1/8 (CALC)
    assert "12.5 %" in worst
