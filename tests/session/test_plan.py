"""Plans: what is asked for, in which order. The intake and spot frets are those of the issue; the rest is counted by hand."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretcheck.errors import UsageError
from fretcheck.session.plan import PLUCKS_BETWEEN_OPEN_CHECKS, Ask, make_plan, parse_numbers, press_string
from tests.session.bench import make_neck


def frets_of(plan, string):
    return [ask.fret for ask in plan.asks if ask.string == string]


def test_a_spot_plan_goes_from_low_to_high_and_checks_the_open_string_at_the_end():
    plan = make_plan(make_neck(), name="spot")
    assert plan.strings == (6, 5, 4, 3, 2, 1)
    assert frets_of(plan, 6) == [0, 1, 5, 12, 0]
    assert [ask.check for ask in plan.asks[:5]] == [False, False, False, False, True]


def test_reverse_order_begins_with_the_highest_string():
    assert make_plan(make_neck(), name="spot", order="high-first").strings == (1, 2, 3, 4, 5, 6)


def test_the_full_plan_has_every_fret_once_and_the_open_string_between():
    plan = make_plan(make_neck(frets=20), name="full", strings=[3])
    frets = frets_of(plan, 3)
    assert [fret for fret in frets if fret] == list(range(1, 21))
    # 20 frets in stretches of at most 8: three stretches, an open check after each, and the first open note
    assert frets.count(0) == 4
    assert frets[0] == frets[-1] == 0


def test_the_intake_plan_ends_with_the_last_fret():
    plan = make_plan(make_neck(frets=22), name="intake", strings=[1])
    assert sorted({*frets_of(plan, 1)}) == [0, 1, 3, 5, 7, 9, 12, 15, 22]


def test_a_short_neck_is_asked_only_for_frets_it_has():
    plan = make_plan(make_neck(frets=10), name="intake", strings=[1])
    assert sorted({*frets_of(plan, 1)}) == [0, 1, 3, 5, 7, 9, 10]


def test_a_string_that_starts_at_the_fifth_fret_is_not_asked_for_lower_ones():
    neck = make_neck(frets=17, first_frets={1: 5})
    assert frets_of(make_plan(neck, name="spot"), 1) == [0, 12, 0]
    assert [f for f in frets_of(make_plan(neck, name="full", strings=[1]), 1) if f] == list(range(6, 18))


def test_repeats_follow_each_other_and_the_first_open_note_is_repeated_too():
    plan = make_plan(make_neck(), name="spot", strings=[2], repeats=2)
    assert frets_of(plan, 2) == [0, 0, 1, 1, 5, 5, 12, 12, 0]


def test_own_frets_and_strings():
    plan = make_plan(make_neck(), frets=[3, 1], strings=[2, 4])
    assert plan.name == "own"
    assert [(ask.string, ask.fret) for ask in plan.asks] == [(4, 0), (4, 1), (4, 3), (4, 0), (2, 0), (2, 1), (2, 3), (2, 0)]


def test_the_press_test_is_light_and_firm_on_the_lowest_plain_string():
    neck = make_neck()  # strings 1 to 3 plain, 4 to 6 wound
    assert press_string(neck) == 3
    plan = make_plan(neck, name="press")
    assert [(ask.fret, ask.press) for ask in plan.asks] == [
        (0, None), (1, "light"), (1, "firm"), (5, "light"), (5, "firm"), (0, None)
    ]  # fmt: skip
    assert plan.notes == ((3, 0),)


def test_two_plans_can_follow_each_other():
    plan = make_plan(make_neck(), name="spot+press")
    assert len(plan.asks) == 6 * 5 + 6
    assert plan.asks[30:] == make_plan(make_neck(), name="press").asks


def test_both_strings_of_a_course_are_asked_for_one_after_the_other():
    neck = make_neck(courses={1: 1, 2: 1, 3: 2, 4: 2})
    assert make_plan(neck, name="spot").strings == (6, 5, 4, 3, 2, 1)


@given(frets=st.integers(1, 36), repeats=st.integers(1, 3), name=st.sampled_from(["full", "intake", "spot"]))
def test_open_checks_are_never_further_apart_than_said(frets, repeats, name):
    plan = make_plan(make_neck(frets=frets), name=name, strings=[1], repeats=repeats)
    run = 0
    for ask in plan.asks:
        run = run + 1 if ask.fret else 0
        assert run <= PLUCKS_BETWEEN_OPEN_CHECKS
    assert plan.asks[-1] == Ask(string=1, fret=0, check=True)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"name": "half"}, "plan 'half' is unknown"),
        ({"order": "middle"}, "order = 'middle' is unknown"),
        ({"repeats": 0}, "repeats = 0 is out of range"),
        ({"frets": [21]}, "fret 21 is not on this neck; it has 0 to 20"),
        ({"strings": [7]}, "string 7 is not on this neck; it has 1 to 6"),
        ({"name": "spot", "frets": [3]}, "do not go together"),
    ],
)
def test_impossible_plans_are_refused(options, message):
    with pytest.raises(UsageError, match=message):
        make_plan(make_neck(), **options)


def test_lists_of_numbers():
    assert parse_numbers("1-3, 7,12", what="--frets") == (1, 2, 3, 7, 12)


@pytest.mark.parametrize(
    ("text", "message"), [("1-", "no list of numbers"), ("a", "no list"), ("5-2", "runs backward; write 2-5")]
)
def test_bad_lists_of_numbers(text, message):
    with pytest.raises(UsageError, match=message):
        parse_numbers(text, what="--frets")


def test_fret_by_fret_all_strings_are_asked_for_at_a_fret_before_the_next():
    plan = make_plan(make_neck(frets=10), order="fret", strings=[1, 2])
    asked = [(ask.string, ask.fret) for ask in plan.asks]
    assert asked[:6] == [(2, 0), (1, 0), (2, 1), (1, 1), (2, 2), (1, 2)]
    # ten frets in two stretches of five, each followed by the open strings
    assert asked[10:14] == [(2, 5), (1, 5), (2, 0), (1, 0)]
    assert asked[-2:] == [(2, 0), (1, 0)]
    assert sorted(asked) == sorted((ask.string, ask.fret) for ask in make_plan(make_neck(frets=10), strings=[1, 2]).asks)


def test_one_of_each_pair_is_the_first_that_was_chosen():
    neck = make_neck(courses={1: 1, 2: 1, 3: 2, 4: 2})
    assert make_plan(neck, name="spot", one_of_each_pair=True).strings == (6, 5, 3, 1)
    assert make_plan(neck, name="spot", strings=[2, 4, 5], one_of_each_pair=True).strings == (5, 4, 2)
    with pytest.raises(UsageError, match="no course"):
        make_plan(make_neck(), one_of_each_pair=True)
