"""Where a saddle is best set, on intervals that can be worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from fretcheck.diagnosis.conclude.saddle_places import Moves, best_straight, moves_within


def test_moves_that_bring_notes_within() -> None:
    # A note 3 cents sharp, falling by 5 cents a mm, is within ±2 from 0.2 to 1.0 mm; one 1 cent flat, falling by 2, to 0.5 mm.
    moves = moves_within(np.array([[3.0, -1.0]]), np.array([-5.0, -2.0]), limit=2.0)
    assert moves.low[0] == pytest.approx(0.2)
    assert moves.high[0] == pytest.approx(0.5)
    assert moves.inside(0.3)[0]
    assert not moves.inside(0.6)[0]


def test_notes_that_no_move_brings_within_together_leave_an_empty_interval() -> None:
    moves = moves_within(np.array([[6.0, -6.0]]), np.array([-5.0, -2.0]), limit=2.0)
    assert moves.low[0] > moves.high[0]


def test_the_best_place_lies_inside_most_intervals() -> None:
    moves = Moves(low=np.array([0.0, 0.5, 0.8, 3.0]), high=np.array([1.0, 2.0, 0.95, 3.5]))
    assert 0.8 <= moves.best(bound=4.0) <= 0.95  # three of the four
    assert moves.best(bound=0.4) <= 0.4  # as far as the part goes


def test_of_equally_good_places_the_middle_is_taken() -> None:
    moves = Moves(low=np.full(10, -1.0), high=np.full(10, 2.0))
    assert moves.best(bound=4.0) == pytest.approx(0.5, abs=0.051)  # steps of 0.05 mm


def test_where_no_place_serves_the_error_is_shared() -> None:
    moves = Moves(low=np.full(50, 1.4), high=np.full(50, 1.0))
    assert moves.best(bound=4.0) == pytest.approx(1.2)


@pytest.mark.parametrize("slant", [False, True])
def test_a_straight_saddle_slants_where_it_may(slant: bool) -> None:
    # The treble end needs 1 mm, the bass end 2 mm, each ±0.2 mm: only a slanted move serves both.
    wanted, sides = np.array([1.0, 1.5, 2.0]), np.array([1.0, 0.0, -1.0])
    strings = [Moves(low=np.full(20, mm - 0.2), high=np.full(20, mm + 0.2)) for mm in wanted]
    treble, bass = best_straight(strings, sides, bound=4.0, slant=slant)
    if slant:
        assert treble == pytest.approx(1.0, abs=0.2)
        assert bass == pytest.approx(2.0, abs=0.2)
    else:
        assert treble == bass == pytest.approx(1.5, abs=0.1)
