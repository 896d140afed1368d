"""Real sound before a live session: a note rung clearly is taken, at the latest at its second pluck.

The plucks are those of `necks`, played as asked by `player`. Inharmonicity does not grow along such a neck, so a note may be held
for another string's of the same pitch once.
"""

from __future__ import annotations

import pytest

from fretcheck.diagnosis.model.as_designed import expected_cents
from fretcheck.session import events
from fretcheck.session.journal.outcome import inspection_of
from fretcheck.session.plan import make_plan
from tests.real.necks import STRINGS, neck_for
from tests.real.player import RealPlayer
from tests.real.plucks import missing

pytestmark = pytest.mark.skipif(missing() is not None, reason=str(missing()))


def taken_within_two(label, folder):
    """How many notes of a spot plan were taken at the first or second pluck, and of how many."""
    plan = make_plan(neck_for(label), name="spot")
    player = RealPlayer(folder, label, plan).through()
    asked = {ask: plan.asks.count(ask) for ask in plan.asks}
    assert len([event for event in player.events if isinstance(event, events.Accepted)]) == len(plan.asks) - len(
        player.runner.skipped
    )
    return sum(count for ask, count in asked.items() if player.plucks_of[ask] <= 2 * count), len(plan.asks)


@pytest.mark.slow
def test_nearly_all_notes_of_all_instruments_are_taken_at_the_first_or_second_pluck(tmp_path):
    counts = {label: taken_within_two(label, tmp_path / str(index)) for index, label in enumerate(STRINGS)}
    for label in ("clean guitar F", "picked bass F"):  # 20 and 30 notes that ring
        within, asked = counts[label]
        assert within == asked, label
    assert sum(within for within, _ in counts.values()) >= 0.98 * sum(asked for _, asked in counts.values())


@pytest.mark.parametrize("slip", [-12.0, 12.0, -60.0])
def test_a_string_that_slips_is_noticed_and_nothing_wrong_is_kept(slip, tmp_path):
    label, string = "clean guitar F", 4
    plan = make_plan(neck_for(label), name="intake", strings=[string])
    player = RealPlayer(tmp_path, label, plan)
    slipped = []

    def slip_at_the_fifth_fret(ask):
        if ask.fret == 5 and not slipped:
            player.tuning_cents[string] += slip
            slipped.append(len(player.events))
        if ask.fret == 0 and abs(player.tuning_cents[string]) > 50.0:
            player.tuning_cents[string] = 0.0  # the player has seen that it is far off, and tunes it again

    player.through(before=slip_at_the_fifth_fret)
    assert any(isinstance(event, events.Drifted) for event in player.events[slipped[0] :])
    assert player.runner.notes_left == 0
    inspection = inspection_of(player.session.journal.story)
    assert inspection.missing == ()
    expected = expected_cents(player.neck)
    off = [r.deviation_cents - expected[string - 1, r.fret] for r in inspection.readings if r.used and r.fret]
    assert len(off) == 8
    assert max(map(abs, off)) < 2.0  # the reading's own; a note kept from the other side of the slip would be 12 off


def test_strings_are_tuned_up_first(tmp_path):
    label = "clean guitar F"
    plan = make_plan(neck_for(label), frets=[12], strings=[3, 5])
    player = RealPlayer(tmp_path, label, plan, tune_within_cents=5.0)
    player.tuning_cents.update({3: -35, 5: 22})
    player.through()
    opens = [event for event in player.events if isinstance(event, events.Accepted) and event.taken.ask.fret == 0]
    assert len(opens) == 4
    assert max(abs(event.deviation_cents) for event in opens) <= 5.0
    assert {event.ask.string for event in player.events if isinstance(event, events.OutOfTune)} == {3, 5}
