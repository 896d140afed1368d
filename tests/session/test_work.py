"""Live work on one place, as a state machine: readings are made up from the neck's design, nothing is heard or drawn."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fretcheck.session import events
from fretcheck.session.live.work_session import PAUSE_S, WorkRunner
from tests.session.bench import make_neck, note_at, pluck_of

NECK = make_neck()


class Guide:
    """Knows nothing of parts: remembers what it is told, and wants string 3 at fret 12."""

    strings = (3,)

    def __init__(self):
        self.heard, self.moves, self.parts = [], 0, 1

    def opened(self, string):
        self.heard.append((string, 0))

    def moved(self):
        self.moves += 1

    def away(self, string, fret, cents):
        return cents, 1.0  # every note is expected to read as designed, give or take a cent

    def hear(self, string, fret, cents, u_cents):
        self.heard.append((string, fret, round(cents, 3)))

    def next_note(self):
        return 3, 12

    def to_go(self):
        return None

    def next_part(self):
        self.parts -= 1
        return self.parts > 0

    def copy(self):
        twin = Guide()
        twin.heard, twin.moves, twin.parts = list(self.heard), self.moves, self.parts
        return twin


class Player:
    """Plucks one note every three seconds."""

    def __init__(self, **known):
        self.kept = []
        self.runner = WorkRunner(NECK, keep=self.keep, clock=lambda: 0.0, guide=Guide(), **known)
        self.now_s = 0.0
        self.runner.start()

    def keep(self, taken, pluck):
        self.kept.append(replace(taken, number=len(self.kept) + 1, sound_file="sounds/1.flac"))
        return self.kept[-1]

    @property
    def wanted(self):
        return self.runner.ask.string, self.runner.ask.fret

    def pluck(self, string, fret, *, after_s=3.0, **how):
        self.now_s += after_s
        note = note_at(NECK, string, fret, **how)
        return [*self.runner.onset(self.now_s), *self.runner.pluck(pluck_of(note.f1_hz), note, start_s=self.now_s)]


def worked(happened):
    return [(one.place.string, one.place.fret, round(one.deviation_cents, 2), round(one.change_cents, 2))
            for one in happened if isinstance(one, events.Worked)]  # fmt: skip


def test_any_note_is_recognised_and_laid_against_its_own_open_note():
    player = Player()
    assert player.wanted == (3, 0)
    assert worked(player.pluck(3, 0, cents=6.0)) == [(3, 0, 6.0, 0.0)]
    assert player.wanted == (3, 12)
    assert worked(player.pluck(3, 5, cents=7.5)) == [(3, 5, 1.5, 0.0)]
    assert worked(player.pluck(5, 0, cents=-3.0)) == [(5, 0, -3.0, 0.0)]
    assert worked(player.pluck(5, 9, cents=-4.0)) == [(5, 9, -1.0, 0.0)]
    assert worked(player.pluck(3, 5, cents=8.0)) == [(3, 5, 2.0, 0.5)]


def test_the_change_counts_from_the_inspection_where_it_heard_the_note():
    player = Player(known_cents={(3, 12): 4.0})
    player.pluck(3, 0)
    assert worked(player.pluck(3, 12, cents=1.0)) == [(3, 12, 1.0, -3.0)]


def test_a_fretted_note_waits_for_its_open_note():
    player = Player()
    assert player.pluck(3, 12, cents=11.0)[-2].short == "OPEN FIRST"
    assert player.wanted == (3, 0)
    assert worked(player.pluck(3, 0, cents=10.0)) == [(3, 0, 10.0, 0.0)]
    assert worked(player.pluck(3, 12, cents=11.0)) == [(3, 12, 1.0, 0.0)]


def test_after_a_pause_the_string_is_heard_open_and_what_was_before_is_no_part_of_the_end():
    player = Player()
    player.pluck(3, 0), player.pluck(3, 12, cents=1.0)
    assert player.pluck(3, 12, cents=-1.0, after_s=PAUSE_S + 1.0)[-2].short == "OPEN FIRST"
    assert player.runner.guide.moves == 1
    happened = player.pluck(3, 0, cents=0.5)
    assert worked(happened) == [(3, 0, 0.5, 0.5)]
    assert next(one for one in happened if isinstance(one, events.Worked)).withdrawn == (1, 2)
    assert [one.number for one in player.runner.taken] == [3]
    assert worked(player.pluck(3, 12, cents=-1.0)) == [(3, 12, -1.5, -2.5)]


@pytest.mark.parametrize("slip", [-60.0, -12.0, 12.0, 60.0])
def test_no_note_of_a_string_that_slipped_is_kept(slip):
    """Forty slips of each size at random moments, hand 0.8 cents: what is kept in the end is of the tuning then, all of it."""
    clean = 0
    for seed in range(40):
        chance = np.random.default_rng(seed)
        player = Player()
        plucked = []
        before = int(chance.integers(2, 9))
        for number in range(before + 8):
            string, fret = player.wanted if player.wanted[1] == 0 else (3, int(chance.integers(1, 20)))
            off = slip if number >= before else 0.0
            plucked += [off] * len(worked(player.pluck(string, fret, cents=off + float(chance.normal(0.0, 0.8)))))
        left = {plucked[one.number - 1] for one in player.runner.taken}
        wrong = [one for one in player.runner.guide.heard if len(one) == 3 and abs(one[2]) > 6.0]
        clean += left == {slip} and not wrong
    assert clean >= 38  # of 40: 95 %


def test_back_takes_the_last_pluck_back_and_the_keys_do_what_they_say():
    player = Player()
    player.pluck(3, 0), player.pluck(3, 12, cents=1.0)
    (back, _) = player.runner.back()
    assert (back.withdrawn, player.runner.guide.heard) == ((2,), [(3, 0)])
    assert [one.number for one in player.runner.taken] == [1]
    player.runner.again()
    assert player.runner.guide.moves == 1
    assert player.wanted == (3, 0)
    assert isinstance(player.runner.pause()[0], events.Paused)
    assert player.runner.skip() == []
    player.runner.pause()
    assert player.runner.skip() == [events.Finished(complete=True)]  # there is no further correction
    assert player.runner.ask is None


def test_a_sound_of_no_note_and_a_knock_are_said_and_not_kept():
    player = Player()
    player.pluck(3, 0)
    assert player.pluck(6, 0, cents=-400.0)[-2].short == "NO SUCH NOTE"
    player.now_s += 1.0
    player.runner.onset(player.now_s)
    assert player.runner.unusable("A knock.", start_s=player.now_s)[0].reason == "A knock."
    assert len(player.kept) == 1
