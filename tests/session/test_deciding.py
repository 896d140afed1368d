"""A session that asks only what decides, to its end: in readings made up from a design, and by sound alone."""

from __future__ import annotations

import itertools
import re
from types import SimpleNamespace

import numpy as np
import pytest

from fretcheck.cli.live.live_plan import Earlier
from fretcheck.diagnosis.conclude.verdict import doubtful_unheard
from fretcheck.diagnosis.model.as_designed import expected_cents
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.errors import UsageError
from fretcheck.inspection.assemble import judge
from fretcheck.inspection.next_asks import chooser
from fretcheck.neck.starts import start
from fretcheck.report.pages.inspection_page import inspection_page
from fretcheck.report.words.verdict_words import headline, looked_for
from fretcheck.session import events
from fretcheck.session.journal.journal import Journal
from fretcheck.session.journal.outcome import inspection_of
from fretcheck.session.journal.story import read_story
from fretcheck.session.live.runner import Runner
from fretcheck.session.plan import deciding_plan, make_plan, until_the_verdict
from tests.live.strings import three_string_neck
from tests.session.bench import Player

STEEL = start("guitar-6-steel").neck
HAND_CENTS = 0.4


def plan_for(neck, **how):
    return deciding_plan(neck, **{"look_for_mm": 0.3, "most_plucks": 130, **how})


def session(neck, plan, root, *, limit, taken=(), skipped=()):
    journal = Journal.create(root, neck, plan) if not root.joinpath("journal.jsonl").exists() else Journal.open(root)
    settings = DiagnosisSettings(limit_cents=limit)
    choose = None if plan.growth is None else chooser(neck, plan.growth, strings=plan.strings, settings=settings)
    plan = journal.story.plan
    runner = Runner(
        neck,
        plan,
        keep=journal.keep,
        clock=itertools.count().__next__,
        step_back=False,
        choose=choose,
        taken=taken,
        skipped=skipped,
    )
    return runner, journal


class Fretting(Player):
    """Plays a neck that reads as designed but for one fret, and writes down what the session writes down."""

    def __init__(self, runner, journal, *, fret=0, cents=0.0):
        self.expected, self.chance = expected_cents(runner.neck), np.random.default_rng(5)
        self.bad, self.cents, self.journal = fret, cents, journal
        super().__init__(runner)

    def play(self, limit=200):
        for _ in range(limit):
            ask = self.runner.ask
            if ask is None:
                return self
            off = float(self.expected[ask.string - 1, ask.fret]) if ask.fret else 0.0
            off += self.cents * (ask.fret == self.bad and ask.fret > 0) + HAND_CENTS * self.chance.standard_normal() * (
                ask.fret > 0
            )
            for event in self.pluck(ask.string, ask.fret, cents=off, inharmonicity=False):
                if isinstance(event, events.Grown):
                    self.journal.grow(event.asks)
        return self

    def grown(self):
        return [event for event in self.events if isinstance(event, events.Grown)]


def test_the_first_round_of_a_guitar_is_52_plucks_each_string_begun_and_ended_open():
    plan = plan_for(STEEL)
    assert len(plan.asks) == 52
    for string in plan.strings:
        own = [ask.fret for ask in plan.asks if ask.string == string]
        assert own[0] == own[-1] == 0
        assert own[1:-1] == sorted(own[1:-1])
    assert len(plan.growth.judged) == 120


def test_fret_by_fret_the_same_notes_are_asked():
    by_fret, by_string = plan_for(STEEL, order="fret"), plan_for(STEEL)
    frets = [ask.fret for ask in by_fret.asks if ask.fret]
    assert frets == sorted(frets)
    assert set(by_fret.notes) == set(by_string.notes)


def test_of_paired_strings_one_of_each_pair_is_judged():
    neck = start("mandolin").neck
    plan = plan_for(neck, one_of_each_pair=True)
    assert len(plan.strings) == len(neck.strings) // 2
    assert {string for string, _ in plan.growth.judged} == set(plan.strings)


@pytest.mark.parametrize(
    ("how", "told_why"), [({"look_for_mm": 0.01}, "look-for"), ({"most_plucks": 20}, "first round alone takes 52")]
)
def test_sizes_out_of_range_are_refused(how, told_why):
    with pytest.raises(UsageError, match=told_why):
        plan_for(STEEL, **how)


@pytest.fixture(scope="module")
def decided(tmp_path_factory):
    runner, journal = session(STEEL, plan_for(STEEL), tmp_path_factory.mktemp("decided"), limit=12.0)
    return Fretting(runner, journal, fret=7, cents=2.4).play()


def test_a_fret_out_is_asked_about_and_found(decided):
    document = judge(inspection_of(decided.journal.story), settings=DiagnosisSettings(limit_cents=12.0))
    assert decided.events[-1] == events.Finished(complete=True)
    assert (document.findings[0].cause, document.findings[0].fret) == ("fret_position", 7)
    assert document.verdict.decision == "pass"
    assert document.coverage.asked == 120
    assert document.coverage.heard < 120
    assert document.conditions.look_for_mm == 0.3
    assert document.missing == []


def test_each_batch_says_why_and_is_grouped_by_string(decided):
    assert any("fret 7" in event.why for event in decided.grown())
    for event in decided.grown()[:-1]:
        assert "of at most 130 plucks" in event.why
        strings = [ask.string for ask in event.asks]
        assert [string for string, _ in itertools.groupby(strings)] == sorted(set(strings), reverse=True)
        assert all(own.fret == 0 for own in (next(a for a in event.asks if a.string == s) for s in set(strings)))


def test_when_decided_it_offers_to_hear_the_rest(decided):
    last = decided.grown()[-1]
    assert not last.asks
    assert "Decided" in last.why
    assert "--every-note" in last.why


def test_with_every_note_all_are_heard_once(tmp_path):
    runner, journal = session(STEEL, plan_for(STEEL, every_note=True), tmp_path, limit=12.0)
    Fretting(runner, journal).play(400)
    assert {(one.ask.string, one.ask.fret) for one in runner.taken} >= set(runner.plan.growth.judged)


def test_what_was_grown_is_in_the_journal(decided):
    again, _ = read_story(decided.journal.folder)
    assert again.plan == decided.runner.plan
    assert len(again.plan.asks) > 52


def test_after_work_the_notes_of_the_inspection_before_are_asked_for(decided):
    document = judge(inspection_of(decided.journal.story), settings=DiagnosisSettings(limit_cents=12.0))
    heard = {(one.string, one.fret): one.plucks for one in document.frets if one.plucks}
    plan = Earlier(document=document, plucks={place: n for place, n in heard.items() if place[1]}, after_work=True).plan(
        STEEL, order="low-first"
    )
    fretted = [(ask.string, ask.fret) for ask in plan.asks if ask.fret]
    assert {place: fretted.count(place) for place in set(fretted)} == {place: n for place, n in heard.items() if place[1]}
    assert plan.name == "deciding"
    assert set(plan.growth.judged) == {(one.string, one.fret) for one in document.frets if one.fret}


def test_notes_of_another_neck_are_not_asked_for(decided):
    document = judge(inspection_of(decided.journal.story))
    with pytest.raises(UsageError, match="another neck"):
        Earlier(document=document, plucks={(6, 3): 1}, after_work=True).plan(three_string_neck(), order="low-first")


def test_the_result_says_how_many_notes_were_heard_and_what_was_looked_for(decided):
    document = judge(inspection_of(decided.journal.story), settings=DiagnosisSettings(limit_cents=12.0))
    coverage = document.coverage
    assert headline(document) == f"Within tolerance, {coverage.heard} of {coverage.asked} notes heard"
    assert "0.30 mm" in looked_for(document)
    for text in (looked_for(document), headline(document)):
        assert text in re.sub(r"\s+", " ", inspection_page(document))


def test_an_unheard_note_that_may_be_out_keeps_a_neck_from_passing(decided):
    """`UNHEARD_OUT` is one in a hundred; by hand: two per cent has to be heard, half a per cent not."""
    notes = [SimpleNamespace(string=1, fret=fret, plucks=plucks, probability_out=out) for fret, plucks, out in
             ((1, 0, 0.02), (2, 0, 0.005), (3, 1, 0.02))]  # fmt: skip
    assert doubtful_unheard(SimpleNamespace(notes=notes)) == {(1, 1)}


@pytest.mark.parametrize(("beyond", "more"), [(6.0, False), (0.3, True)])
def test_a_spot_check_stops_at_the_verdict_and_asks_its_own_notes_again_until_then(beyond, more, tmp_path):
    """Limits so far beyond the furthest of its notes as designed: 6 cents need no second pluck of a hand of 0.4, 0.3 cents do."""
    spot = until_the_verdict(make_plan(STEEL, name="spot"), most_plucks=60)
    limit = max(abs(expected_cents(STEEL)[string - 1, fret]) for string, fret in spot.notes) + beyond
    runner, journal = session(STEEL, spot, tmp_path, limit=limit)
    played = Fretting(runner, journal).play()
    document = judge(inspection_of(journal.story), settings=DiagnosisSettings(limit_cents=limit))
    assert (len(runner.taken) > 30) == more
    assert len(runner.taken) <= 60
    assert {(one.ask.string, one.ask.fret) for one in runner.taken} == set(spot.notes)
    decided = "Decided" in played.grown()[-1].why
    assert decided == (document.verdict.decision != "undecided")
    assert decided or more
