"""Lots and studies in a real register, on SQLite and on PostgreSQL."""

from __future__ import annotations

import pytest

from fretcheck.errors import UsageError
from fretcheck.lots import lot_register as store
from fretcheck.lots.acceptance.lot_record import Lot, PlanPart, ReadPart
from fretcheck.lots.acceptance.lot_steps import add_inspections, draw_sample, open_lot
from fretcheck.lots.gauge.study import GaugeStudy, add_inspection, compute_study, open_study
from tests.lots.shop import MORNING, inspection

PLAN = PlanPart(sample=2, accept=0, source="test")


def lot(name="March", **changes):
    return open_lot(**{"name": name, "serials": ["A", "B", "C"], "plan": PLAN, "template": "T1", "now": MORNING, **changes})


def test_a_lot_comes_back_as_it_was_kept(register):
    store.keep_new(register, lot())
    kept = store.change(register, Lot, "March", lambda one: draw_sample(one, seed=5))
    assert store.load(register, Lot, "March") == kept
    first = register.keep(inspection("A"))
    again = register.keep(inspection("A", hours=1))
    for number in (first.id, again.id):
        read = {"A": [ReadPart(id=number, decision="pass")]}
        store.change(register, Lot, "March", lambda one, read=read: add_inspections(one, read))
    changed = store.load(register, Lot, "March")
    assert changed.inspections == {"A": first.id}
    assert [one.id for one in changed.reads["A"]] == [first.id, again.id]
    assert store.inspections_of(register, changed) == {"A": first}


def test_a_failed_step_changes_nothing(register):
    store.keep_new(register, lot())
    with pytest.raises(UsageError, match="no sample yet"):
        store.change(register, Lot, "March", lambda one: add_inspections(one, {"A": [ReadPart(id="260302-1", decision="pass")]}))
    assert store.load(register, Lot, "March") == lot()


def test_names_are_unique_and_unknown_ones_are_told(register):
    with pytest.raises(UsageError, match="none has been opened"):
        store.load(register, Lot, "March")
    store.keep_new(register, lot())
    with pytest.raises(UsageError, match="already"):
        store.keep_new(register, lot())
    with pytest.raises(UsageError, match="the newest are 'March'"):
        store.load(register, Lot, "April")
    with pytest.raises(UsageError, match="no study 'Spring': none"):
        store.load(register, GaugeStudy, "Spring")


def test_lots_by_template_in_their_order(register):
    for name, template in (("one", "T1"), ("two", "T2"), ("three", "T1")):
        store.keep_new(register, lot(name, template=template))
    assert [one.name for one in store.list_kept(register, Lot)] == ["one", "two", "three"]
    assert [one.name for one in store.list_kept(register, Lot, template="T1")] == ["one", "three"]


def test_inspections_since_the_lot_was_opened(register):
    opened = lot()
    register.keep(inspection("A", hours=-5))  # before the lot
    first = register.keep(inspection("b", hours=1))  # however the serial was typed
    second = register.keep(inspection("B", hours=2))
    register.keep(inspection("Z", hours=2))  # not of the lot
    found = store.inspections_since_opening(register, opened)
    assert {serial: [one.id for one in reads] for serial, reads in found.items()} == {"B": [first.id, second.id]}


def test_a_lot_opened_by_mistake_is_taken_away_and_a_drawn_one_is_not(register):
    store.keep_new(register, lot())
    store.remove_lot(register, "March")
    assert store.list_kept(register, Lot) == []
    store.keep_new(register, lot())
    store.change(register, Lot, "March", lambda one: draw_sample(one, seed=5))
    with pytest.raises(UsageError, match="close it with --note"):
        store.remove_lot(register, "March")


def test_a_study_feeds_later_verdicts(register):
    assert store.latest_repeatability(register, operator="Ann", bench=None) is None
    study = open_study(name="Spring", necks=["A", "B"], operators=["Ann"], repeats=2, seed=1, now=MORNING)
    store.keep_new(register, study)
    with pytest.raises(UsageError, match="already"):
        store.keep_new(register, study)
    for number, step in enumerate(study.steps):
        # fret 1 on string 1 alone is 4 cents higher the second time, on both necks
        document = inspection(step.neck, operator="Ann", hours=number, u_cents=0.1)
        frets = [f.model_copy(update={"plucked_cents": 0.5 + 4.0 * (step.repeat - 1)}) for f in document.frets[:1]]
        kept = register.keep(document.model_copy(update={"frets": frets}))
        store.change(register, GaugeStudy, "Spring", lambda one, kept=kept: add_inspection(one, kept)[0])
    assert store.latest_repeatability(register, operator="Ann", bench=None) is None
    documents = store.documents_of(register, store.load(register, GaugeStudy, "Spring"))
    done = store.change(register, GaugeStudy, "Spring", lambda one: compute_study(one, documents, now=MORNING))
    assert store.list_kept(register, GaugeStudy) == [done]
    # two readings 4 cents apart scatter by 4/√2; their own u of 0.1 taken off
    assert store.latest_repeatability(register, operator="Ben", bench=None) is None
    assert store.latest_repeatability(register, operator="Ann", bench=None) == pytest.approx((8 - 0.01) ** 0.5, rel=1e-9)
