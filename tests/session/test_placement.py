"""The fret of a pluck, told by its pitch."""

from __future__ import annotations

import numpy as np
import pytest

from fretcheck.errors import RecordingError
from fretcheck.neck.temperament import cents_to_ratio
from fretcheck.pitch.remarks import Remark
from fretcheck.session.placement import place_notes
from tests.session.notes import note_at, three_strings
from tests.synth.nominal import note_frequency_hz

E4 = note_frequency_hz("E4")


def _scale(open_hz: float, frets: range) -> list[float]:
    return [open_hz * 2 ** (fret / 12) for fret in frets]


@pytest.mark.parametrize("tuning_cents", [-140.0, -60.0, 0.0, 45.0, 140.0])
def test_frets_are_counted_from_the_open_note_as_tuned(tuning_cents: float) -> None:
    neck = three_strings()
    open_hz = E4 * cents_to_ratio(tuning_cents)
    notes = [note_at(hz) for hz in [open_hz, *_scale(open_hz, range(1, 13)), open_hz]]
    assert place_notes(neck, 1, notes) == [0, *range(1, 13), 0]


def test_short_string_skips_the_frets_before_its_nut() -> None:
    neck = three_strings(first_frets=(5, 0, 0))
    assert place_notes(neck, 1, [note_at(hz) for hz in _scale(E4, range(8))]) == [0, 6, 7, 8, 9, 10, 11, 12]


def test_note_beyond_the_last_fret_is_set_aside_and_named() -> None:
    neck = three_strings()
    notes = [note_at(hz) for hz in [*_scale(E4, range(13)), E4 * 2 ** (14 / 12)]]
    *placed, reason = place_notes(neck, 1, notes)
    assert placed == [*range(13)]
    assert "F#5" in reason
    assert "above fret 12" in reason


def test_note_below_the_open_string_is_set_aside() -> None:
    neck = three_strings()
    *_, reason = place_notes(neck, 1, [note_at(hz) for hz in [*_scale(E4, range(13)), E4 / 2]])
    assert "below the open string" in reason


def test_unread_pluck_is_set_aside_with_its_complaint() -> None:
    neck = three_strings()
    notes = [*(note_at(hz) for hz in _scale(E4, range(13))), note_at(None, flags=(Remark.TOO_QUIET,))]
    *_, reason = place_notes(neck, 1, notes)
    assert "Too quiet" in reason


@pytest.mark.parametrize(("recorded", "taken_for"), [("B3", 1), ("G3", 1), ("E4", 2), ("E4", 3), ("B3", 3)])
def test_recording_of_another_string_is_refused_and_named(recorded: str, taken_for: int) -> None:
    neck = three_strings()
    notes = [note_at(hz) for hz in _scale(note_frequency_hz(recorded), range(13))]
    number = ["E4", "B3", "G3"].index(recorded) + 1
    with pytest.raises(RecordingError, match=f"looks like the recording of string {number}"):
        place_notes(neck, taken_for, notes)


def test_nothing_readable_is_refused() -> None:
    with pytest.raises(RecordingError, match="no pluck could be read"):
        place_notes(three_strings(), 1, [note_at(None, flags=(Remark.NOT_A_STRING,))])


# Whole strings, as a player or a reader may spoil them. The truth is how they were made; 15 cents stand for a poor neck.

FULL = [0, *range(1, 13), 0]


def _spoiled(frets: list[int], *, tuning: float = 0.0, spread: float = 15.0, seed: int = 1) -> list[float]:
    rng = np.random.default_rng(seed)
    return [E4 * cents_to_ratio(tuning + 100.0 * fret + (rng.uniform(-spread, spread) if fret else 0.0)) for fret in frets]


def _placed_frets(pitches: list[float | None], *, doubted: tuple[int, ...] = (), frets: int = 12) -> dict[int, int]:
    """Fret by index."""
    notes = [note_at(hz, flags=(Remark.NOT_A_STRING,) if i in doubted or hz is None else ()) for i, hz in enumerate(pitches)]
    places = place_notes(three_strings(frets=frets), 1, notes)
    assert len(places) == len(pitches)
    return {index: place for index, place in enumerate(places) if isinstance(place, int)}


@pytest.mark.parametrize("doubted", [(0,), (13,), (0, 13), (0, 1, 2, 13)])
@pytest.mark.parametrize("tuning", [-120.0, 0.0, 110.0])
def test_open_plucks_in_doubt_still_anchor(doubted: tuple[int, ...], tuning: float) -> None:
    assert list(_placed_frets(list(_spoiled(FULL, tuning=tuning)), doubted=doubted).values()) == FULL


@pytest.mark.parametrize("lost", [0, 13])
@pytest.mark.parametrize("tuning", [-60.0, 0.0, 100.0])
def test_one_open_pluck_is_enough(lost: int, tuning: float) -> None:
    frets = FULL[:lost] + FULL[lost + 1 :]
    assert list(_placed_frets(list(_spoiled(frets, tuning=tuning))).values()) == frets


def test_unread_open_plucks_at_both_ends_do_not_shift_the_string() -> None:
    pitches: list[float | None] = [*_spoiled(FULL)]
    pitches[0] = pitches[-1] = None
    neck = three_strings()
    notes = [note_at(hz, flags=() if hz else (Remark.NOT_A_STRING,)) for hz in pitches]
    with pytest.raises(RecordingError, match="no open pluck of string 1 could be read"):
        place_notes(neck, 1, notes)


@pytest.mark.parametrize("tuning", [0.0, 100.0, 30.0])
def test_without_any_open_pluck_a_shift_by_a_whole_fret_stays_possible_and_is_said(tuning: float) -> None:
    notes = [note_at(hz) for hz in _spoiled(FULL[1:-1], tuning=tuning)]
    with pytest.raises(
        RecordingError, match=r"which frets of string 1 were played stays open.*shifted by a whole fret|no clear open"
    ):
        place_notes(three_strings(), 1, notes)


@pytest.mark.parametrize("by", [-1200.0, 1200.0, 1901.955])
@pytest.mark.parametrize("index", [0, 4, 7, 19, 21])
def test_a_note_misread_by_an_octave_is_set_aside_and_moves_no_other(index: int, by: float) -> None:
    frets = [0, *range(1, 21), 0]
    pitches: list[float | None] = [*_spoiled(frets)]
    pitches[index] = (pitches[index] or 0.0) * cents_to_ratio(by)
    told = _placed_frets(pitches, frets=20)
    assert index not in told
    assert list(told.values()) == frets[:index] + frets[index + 1 :]


def test_a_string_retuned_in_between_is_followed() -> None:
    frets = [0, 1, 2, 3, 4, 5, 6, 0, 7, 8, 9, 10, 11, 12, 0]
    pitches = _spoiled(frets)
    moved = [*pitches[:7], *(hz * cents_to_ratio(-60.0) for hz in pitches[7:])]
    assert list(_placed_frets(list(moved)).values()) == frets


@pytest.mark.parametrize("seed", range(5))
def test_any_order_and_any_number_of_plucks(seed: int) -> None:
    rng = np.random.default_rng(seed)
    frets = [0, *(int(fret) for fret in rng.permutation([*range(1, 13), *rng.integers(0, 13, 10)])), 0]
    assert list(_placed_frets(list(_spoiled(frets, tuning=40.0, seed=seed))).values()) == frets


@pytest.mark.parametrize("cents", [548.0, -130.0, 1270.0])
def test_a_note_between_frets_is_never_forced(cents: float) -> None:
    pitches: list[float | None] = [*_spoiled(FULL, spread=3.0)]
    pitches.insert(7, E4 * cents_to_ratio(cents))
    told = _placed_frets(pitches)
    assert 7 not in told
    assert list(told.values()) == FULL
