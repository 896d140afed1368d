"""The runner, driven by scripted readings: no sound, no screen, no disk."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fretcheck.errors import StorageError
from fretcheck.pitch.remarks import Remark
from fretcheck.session import events
from fretcheck.session.deviation import read_deviations
from fretcheck.session.live.runner import Runner
from fretcheck.session.plan import Ask, make_plan
from tests.benchmarks import slips
from tests.session.bench import Player, make_neck, note_at, pluck_of


class Shelf:
    """Keeps what is accepted, as the journal would."""

    def __init__(self):
        self.kept = []
        self.full = False

    def __call__(self, taken, pluck):
        if self.full:
            raise StorageError("no room")
        kept = replace(taken, number=len(self.kept) + 1, sound_file=f"{len(self.kept) + 1}.flac")
        self.kept.append(kept)
        return kept


class Clock:
    def __init__(self):
        self.now = 0.0

    def __call__(self):
        return self.now


def bench(*, neck=None, shelf=None, clock=None, **options):
    neck = neck or make_neck()
    chosen = {key: options.pop(key) for key in ("name", "frets", "strings", "repeats") if key in options}
    default = {"strings": [3]} | ({} if "frets" in chosen else {"name": "spot"})
    plan = make_plan(neck, **(default | chosen))
    return Player(Runner(neck, plan, keep=shelf or Shelf(), clock=clock or Clock(), **options))


def only(happened, kind):
    return [event for event in happened if isinstance(event, kind)]


def test_a_whole_plan_is_played_through_untouched():
    player = bench(strings=[1, 2, 3])
    happened = player.through()
    assert len(only(happened, events.Accepted)) == 15
    assert [event.string for event in only(happened, events.StringFinished)] == [3, 2, 1]
    assert happened[-1] == events.Finished(complete=True)
    assert player.runner.notes_left == 0
    assert [t.ask for t in player.runner.taken] == list(player.runner.plan.asks)


def test_a_pluck_is_kept_before_it_is_told_and_before_the_next_is_asked_for():
    shelf = Shelf()
    player = bench(shelf=shelf)
    happened = player.as_asked()
    assert [type(event) for event in happened] == [events.Begun, events.Running, events.Accepted, events.Asked]
    assert happened[2].taken is shelf.kept[0]


def test_nothing_moves_when_a_pluck_cannot_be_kept():
    shelf = Shelf()
    player = bench(shelf=shelf)
    player.as_asked()
    asked = player.runner.ask
    shelf.full = True
    with pytest.raises(StorageError, match="no room"):
        player.as_asked()
    assert player.runner.ask == asked
    assert len(player.runner.taken) == 1


@pytest.mark.parametrize("cents", [-45.0, -20.0, 0.0, 30.0, 45.0])
def test_a_note_within_half_a_semitone_is_the_one_asked_for(cents):
    player = bench()
    player.as_asked()
    happened = player.as_asked(cents=cents)
    (accepted,) = only(happened, events.Accepted)
    assert accepted.deviation_cents == pytest.approx(cents, abs=1e-9)  # exact pitches went in; rounding only


def test_fretted_notes_are_judged_from_the_open_string_as_it_is_tuned():
    player = bench()
    player.as_asked(cents=30.0)
    (accepted,) = only(player.as_asked(cents=32.0), events.Accepted)
    assert accepted.deviation_cents == pytest.approx(2.0, abs=1e-9)


@pytest.mark.parametrize("slip", [-1, 1, 2])
def test_a_wrong_fret_is_noticed_and_named(slip):
    player = bench(frets=[5])
    player.as_asked()
    happened = player.pluck(3, 5 + slip)
    (wrong,) = only(happened, events.WrongNote)
    assert wrong.heard[0] == (3, 5 + slip)
    assert f"fret {5 + slip}" in wrong.text
    assert only(happened, events.Asked)[-1] == events.Asked(ask=Ask(string=3, fret=5), again=True)
    assert only(player.as_asked(), events.Accepted)


@pytest.mark.parametrize("other", [2, 4])
def test_the_same_fret_of_a_neighbour_string_is_noticed_and_named(other):
    player = bench(frets=[5])
    player.as_asked()
    (wrong,) = only(player.pluck(other, 5), events.WrongNote)
    assert wrong.heard[0] == (other, 5)


def test_the_open_neighbour_string_is_noticed_when_an_open_string_is_asked_for():
    player = bench()
    (wrong,) = only(player.pluck(2, 0), events.WrongNote)
    assert (2, 0) in wrong.heard


def test_the_right_pitch_on_the_wrong_string_is_noticed_once_both_open_strings_are_known():
    # D#4 at fret 8 of string 3 has B = 1.1e-4·2^(8/6) = 2.8e-4, at fret 4 of string 2 it has 4e-5·2^(4/6) = 6.3e-5
    player = bench(strings=[2, 3], frets=[4])
    for _ in range(4):  # string 3: open, 4, open; string 2: open
        player.as_asked()
    (wrong,) = only(player.pluck(3, 8), events.WrongNote)
    assert wrong.heard == ((3, 8),)
    assert only(player.pluck(2, 4), events.Accepted)


def test_without_inharmonicity_the_right_pitch_is_taken_as_played():
    player = bench(strings=[2, 3], frets=[4])
    for _ in range(4):
        player.as_asked()
    assert only(player.pluck(3, 8, inharmonicity=False), events.Accepted)


def test_a_string_out_of_tune_is_said_to_be():
    player = bench()
    (wrong,) = only(player.pluck(3, 0, cents=-80.0), events.WrongNote)
    assert "in tune?" in wrong.text or "out of tune" in wrong.text


def test_a_pitch_that_belongs_nowhere_is_asked_for_again():
    player = bench(strings=[6])
    player.as_asked()
    (wrong,) = only(player.pluck(6, 0, cents=-3000.0), events.WrongNote)
    assert wrong.heard == ()


@pytest.mark.parametrize("flag", [Remark.TOO_QUIET, Remark.TWO_STRINGS, Remark.TOO_SHORT, Remark.UNREADABLE])
def test_a_flagged_pluck_is_asked_for_again_with_the_reason(flag):
    player = bench()
    (again,) = only(player.as_asked(flags=[flag]), events.Again)
    assert again.reason.endswith(".")
    assert again.short.isupper()  # to be read from afar
    assert not player.runner.taken
    assert only(player.as_asked(), events.Accepted)


def test_a_harmless_flag_does_not_stop_a_reading():
    assert only(bench().as_asked(flags=[Remark.BEATING, Remark.CLIPPED]), events.Accepted)


def test_two_strings_of_a_pair_sounding_together_are_told_apart_from_others():
    player = bench(neck=make_neck(courses={3: 1, 4: 1}))
    (again,) = only(player.as_asked(flags=[Remark.TWO_STRINGS]), events.Again)
    assert "pair" in again.reason


def test_the_unison_partner_of_a_pair_is_not_called_a_wrong_string():
    neck = make_neck(notes=("E4", "E4", "B3", "B3", "G3", "G3"), courses={1: 1, 2: 1, 3: 2, 4: 2, 5: 3, 6: 3})
    player = bench(neck=neck, strings=[1, 2])
    assert not only(player.through(), events.WrongNote)


def test_lost_samples_discard_the_pluck_and_ask_again():
    player = bench()
    (again,) = only(player.as_asked(end="lost_samples"), events.Again)
    assert "lost" in again.reason
    assert not player.runner.taken


def test_lost_samples_between_plucks_are_no_reason_to_ask_again():
    player = bench()
    assert player.runner.lost() == []


def test_drift_of_the_open_string_is_warned_of():
    player = bench()
    for _ in range(4):
        player.as_asked()
    (drifted,) = only(player.as_asked(cents=-4.0), events.Drifted)
    assert drifted.cents == pytest.approx(-4.0, abs=1e-9)
    assert "String 3" in drifted.text


def test_small_drift_is_not_worth_a_word():
    player = bench()
    for _ in range(4):
        player.as_asked()
    assert not only(player.as_asked(cents=1.5), events.Drifted)


def test_an_open_string_plucked_twice_goes_back_to_the_fretted_note_before():
    player = bench()
    for _ in range(2):
        player.as_asked()  # open, 1
    assert player.runner.ask.fret == 5
    assert only(player.pluck(3, 0), events.WrongNote)
    (back,) = only(player.pluck(3, 0), events.SteppedBack)
    assert (back.ask.fret, back.withdrawn) == (1, (2,))
    assert player.runner.ask.fret == 1
    player.as_asked()
    assert player.runner.ask.fret == 5
    player.through()
    assert sorted(t.ask.fret for t in player.runner.taken) == [0, 0, 1, 5, 12]


def test_the_open_note_that_was_asked_for_does_not_count_toward_going_back():
    player = bench()
    player.as_asked()  # the open note, as asked
    assert only(player.pluck(3, 0), events.WrongNote)  # one too many: a slip, not a sign
    assert player.runner.ask.fret == 1


def test_before_the_first_fret_two_open_plucks_ask_for_the_open_note_again():
    player = bench()
    player.as_asked()
    player.pluck(3, 0)
    (back,) = only(player.pluck(3, 0), events.SteppedBack)
    assert back.ask == Ask(string=3, fret=0)
    player.as_asked(cents=10.0)
    assert player.runner.ask.fret == 1
    assert len(player.runner.taken) == 1


def test_a_fretted_pluck_between_two_open_ones_breaks_the_sign():
    player = bench()
    for _ in range(2):
        player.as_asked()
    player.pluck(3, 0)
    player.pluck(3, 6)
    assert not only(player.pluck(3, 0), events.SteppedBack)


def test_going_back_by_the_open_string_can_be_turned_off():
    player = bench(step_back=False)
    for _ in range(2):
        player.as_asked()
    for _ in range(4):
        assert not only(player.pluck(3, 0), events.SteppedBack)
    assert player.runner.ask.fret == 5


def test_going_back_steps_over_an_open_check():
    player = bench(frets=list(range(1, 13)))  # open, 1–6, open, 7–12, open
    for _ in range(8):
        player.as_asked()
    assert player.runner.ask.fret == 7
    player.pluck(3, 0)
    (back,) = only(player.pluck(3, 0), events.SteppedBack)
    assert back.ask.fret == 6
    player.as_asked()
    assert player.runner.ask.fret == 7


def test_nothing_is_taken_while_a_cue_sounds():
    player = bench()
    player.runner.mute(4.0)
    (again,) = only(player.as_asked(), events.Again)  # begins at 3 s
    assert again.silent
    assert "cue" in again.reason
    assert player.runner.taken == ()
    assert only(player.as_asked(), events.Accepted)  # begins at 6 s


def test_a_cue_that_is_heard_itself_is_passed_over():
    player = bench()
    player.runner.mute(4.0)
    assert player.as_asked(flags=[Remark.NOT_A_STRING]) == []


def test_a_pluck_that_still_rings_is_not_heard_twice():
    player = bench()
    player.as_asked()
    note = note_at(player.runner.neck, 3, 1)
    assert player.runner.running(note, settled=1.0) == []
    assert player.runner.pluck(pluck_of(), note, start_s=3.0) == []


def test_keys_again_drops_the_pluck_under_way():
    player = bench()
    player.runner.onset(3.0)
    assert player.runner.again() == [events.Asked(ask=Ask(string=3, fret=0), again=True)]
    assert player.runner.pluck(pluck_of(), note_at(player.runner.neck, 3, 0), start_s=3.0) == []


def test_keys_back_and_skip():
    player = bench()
    assert only(player.runner.back(), events.Asked)  # nothing before: the same again
    player.as_asked()
    (back,) = only(player.runner.back(), events.SteppedBack)
    assert back.withdrawn == (1,)
    player.as_asked()
    (skipped,) = only(player.runner.skip(), events.Skipped)
    assert (skipped.step, skipped.ask.fret) == (1, 1)
    player.through()
    assert player.runner.skipped == {1}
    assert sorted(t.ask.fret for t in player.runner.taken) == [0, 0, 5, 12]


def test_paused_takes_nothing_until_resumed():
    player = bench()
    assert player.runner.pause() == [events.Paused()]
    assert player.as_asked() == []
    assert [type(event) for event in player.runner.pause()] == [events.Resumed, events.Asked]
    assert only(player.as_asked(), events.Accepted)


def test_stop_keeps_what_is_taken():
    player = bench()
    player.as_asked()
    assert player.runner.stop() == [events.Finished(complete=False)]
    assert player.as_asked() == []
    assert len(player.runner.taken) == 1


def test_time_left_follows_the_players_own_pace():
    clock = Clock()
    player = bench(clock=clock)
    assert player.runner.seconds_left is None
    for _ in range(3):
        clock.now += 4.0
        player.as_asked()
    assert player.runner.seconds_left == pytest.approx(2 * 4.0)  # two notes left at four seconds each


def interrupted_after(count):
    player = bench(strings=[3, 2])
    for _ in range(count):
        player.as_asked()
    return player.runner.taken


def test_a_resumed_session_asks_for_the_open_string_first_and_then_goes_on():
    player = bench(strings=[3, 2], taken=interrupted_after(2))
    assert player.runner.ask == Ask(string=3, fret=0, check=True)
    assert player.runner.step is None
    player.as_asked()
    assert player.runner.ask == Ask(string=3, fret=5)
    player.through()
    assert player.runner.notes_left == 0


def test_a_string_retuned_while_the_session_lay_still_is_played_afresh():
    player = bench(strings=[3, 2], taken=interrupted_after(2))
    assert only(player.as_asked(cents=-25.0), events.Again)  # one odd pluck is no retuning
    (drifted,) = only(player.as_asked(cents=-25.0), events.Drifted)
    assert drifted.withdrawn == (1, 2)
    assert player.runner.ask == Ask(string=3, fret=1)
    for _ in range(4):
        player.as_asked(cents=-25.0)
    assert player.runner.ask.string == 2
    player.through()
    assert player.runner.notes_left == 0


def test_a_session_interrupted_between_strings_just_goes_on():
    player = bench(strings=[3, 2], taken=interrupted_after(5))
    assert player.runner.ask == Ask(string=2, fret=0)


def test_a_finished_session_has_nothing_to_ask():
    player = bench(strings=[3, 2], taken=interrupted_after(10))
    assert player.events == [events.Finished(complete=True)]


def test_a_faint_note_is_told_while_a_pluck_is_waited_for_and_moves_nothing():
    player = bench()
    player.as_asked()
    asked = player.runner.ask
    (event,) = player.runner.faint(-52.4, -50.0)
    assert event.ask == asked
    assert "-52 dB" in event.text
    assert "(-50 dB)" in event.text
    assert player.runner.ask == asked
    player.runner.onset(100.0)
    assert player.runner.faint(-52.4, -50.0) == []  # a pluck is under way
    player.runner.pause()
    assert player.runner.faint(-52.4, -50.0) == []


def test_the_pitch_waited_for_follows_the_open_string_and_is_none_while_a_pluck_is_under_way():
    player = bench(frets=[12])
    player.as_asked(cents=10.0)
    assert player.runner.expected_hz == pytest.approx(note_at(player.runner.neck, 3, 12, cents=10.0).f1_hz, rel=1e-9)
    player.runner.onset(100.0)
    assert player.runner.expected_hz is None


def test_an_uncertain_note_is_asked_for_once_more_and_then_taken_as_it_is():
    player = bench()
    player.as_asked()
    (again,) = only(player.as_asked(u_cents=3.0, flags=[Remark.BEATING]), events.Again)
    assert "±6 cents" in again.reason
    assert "beats" in again.reason
    assert only(player.as_asked(u_cents=4.0), events.Accepted)
    assert only(player.as_asked(u_cents=2.0), events.Accepted)  # not above two: taken at once
    assert only(player.as_asked(u_cents=3.0), events.Again)  # another note gets its own second pluck


def test_an_open_string_is_never_called_bent_or_slid():
    player = bench()
    (again,) = only(player.as_asked(u_cents=3.0, flags=[Remark.UNSTABLE]), events.Again)
    assert "press" not in again.reason
    assert "bent" not in again.reason


@pytest.mark.parametrize("cents", [-12.0, 12.0, -40.0])
def test_a_string_that_slipped_is_heard_at_its_open_check_and_what_cannot_be_trusted_is_asked_again(cents):
    player = bench(frets=list(range(1, 13)))  # open, 1–6, open, 7–12, open
    for _ in range(10):
        player.as_asked()
    assert player.runner.ask.fret == 9  # here it slips
    for _ in range(4):
        player.as_asked(cents=cents)
    assert player.runner.ask.fret == 0
    assert only(player.as_asked(cents=cents), events.Again)
    (drifted,) = only(player.as_asked(cents=cents), events.Drifted)
    assert drifted.cents == pytest.approx(cents, abs=1e-6)
    assert drifted.withdrawn == (9, 10, 11, 12, 13, 14)  # 7 to 12; what came before the open check before is kept
    assert player.runner.ask.fret == 7
    for _ in range(6):
        player.as_asked(cents=cents)
    assert player.runner.ask == Ask(string=3, fret=0, check=True)
    player.as_asked(cents=cents)
    assert player.runner.ask is None
    readings = [reading for reading in read_deviations(player.runner.neck, player.runner.taken)[0] if reading.fret > 0]
    assert sorted(reading.fret for reading in readings) == list(range(1, 13))
    assert [reading.deviation_cents for reading in readings] == pytest.approx([0.0] * 12, abs=1e-6)  # exact pitches went in


@pytest.mark.parametrize("cents", [-60.0, 60.0, -100.0])
def test_a_slip_of_half_a_semitone_and_more_is_told_from_a_wrong_fret(cents):
    player = bench(frets=list(range(1, 13)))
    for _ in range(4):
        player.as_asked()
    for _ in range(4):
        happened = player.as_asked(cents=cents)
        if not only(happened, events.WrongNote):
            break
    (drifted,) = only(happened, events.Drifted)
    assert "slipped" in drifted.text
    assert player.runner.ask == Ask(string=3, fret=0, check=True)
    assert not [t for t in player.runner.taken if t.start_s > 12.0]  # nothing taken since it slipped
    player.as_asked()  # tuned again
    assert player.runner.ask.fret == 4


@pytest.mark.parametrize("cents", slips.SLIPS_CENTS)
def test_slips_at_random_moments_under_a_hand_are_noticed_and_nothing_wrong_is_kept(cents):
    """Three of the benchmark's sessions of each size; it plays hundreds."""
    outcomes = [slips.play(cents, seed) for seed in range(3)]
    assert all(one.noticed and not one.wrong and one.finished for one in outcomes)


def test_a_wrong_fret_twice_is_no_slip():
    player = bench(frets=list(range(1, 13)))
    for _ in range(4):
        player.as_asked()
    for _ in range(2):
        assert only(player.pluck(3, 5), events.WrongNote)
    assert only(player.as_asked(), events.Accepted)


def test_a_string_is_tuned_up_first_and_the_session_goes_on_by_itself_once_it_holds_still():
    player = bench(tune_within_cents=5.0)
    for cents, way in ((-40.0, "tighten"), (12.0, "slacken"), (3.0, "holds still"), (6.0, "slacken"), (1.0, "holds still")):
        (off,) = only(player.as_asked(cents=cents), events.OutOfTune)
        assert off.cents == pytest.approx(cents, abs=1e-6)
        assert way in off.text
        assert player.runner.ask == Ask(string=3, fret=0)
    assert not player.runner.taken
    assert only(player.as_asked(cents=0.5), events.Accepted)
    assert player.runner.ask.fret == 1


def test_a_string_in_tune_costs_no_further_pluck():
    player = bench(tune_within_cents=5.0, strings=[1, 2, 3])
    assert len(only(player.through(), events.Accepted)) == 15
    assert sum(isinstance(event, events.Begun) for event in player.events) == 15


def test_another_string_is_not_taken_for_one_that_is_out_of_tune():
    player = bench(tune_within_cents=5.0)
    assert only(player.pluck(2, 0), events.WrongNote)


def test_two_open_plucks_later_on_are_a_tuning_check():
    player = bench()
    for _ in range(2):
        player.as_asked()  # open, 1
    player.pluck(3, 7)  # a wrong fret: nothing was just taken
    player.pluck(3, 0)
    happened = player.pluck(3, 0, cents=1.0)
    assert not only(happened, events.SteppedBack)
    (check,) = only(happened, events.Accepted)
    assert (check.taken.step, check.taken.ask) == (None, Ask(string=3, fret=0, check=True))
    assert player.runner.ask.fret == 5


def test_a_voice_before_the_first_pluck_is_no_reason_to_ask_again():
    player = bench()
    player.runner.onset(1.0)
    assert player.runner.unusable("Set aside: a voice.", start_s=1.0) == [events.Asked(ask=Ask(string=3, fret=0), again=True)]
    player.as_asked()
    player.runner.onset(10.0)
    assert only(player.runner.unusable("Set aside: a voice.", start_s=10.0), events.Again)


def test_a_string_whose_inharmonicity_is_another_ones_is_asked_for_once_more_and_then_taken():
    player = bench(strings=[2, 3], frets=[4])
    for _ in range(4):
        player.as_asked()
    assert only(player.pluck(3, 8), events.WrongNote)
    assert only(player.pluck(3, 8), events.Accepted)  # the same pitch again: an old string, not an obstinate hand
