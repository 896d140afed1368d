"""The fret of a pluck, told by its pitch."""

from __future__ import annotations

import pytest

from fretcheck.errors import RecordingError
from fretcheck.neck.temperament import cents_to_ratio, note_frequency_hz
from fretcheck.pitch.reading import Flag
from fretcheck.session.placement import place_notes
from tests.session.notes import heard, three_strings

E4 = note_frequency_hz("E4")


def _scale(open_hz: float, frets: range) -> list[float]:
    return [open_hz * 2 ** (fret / 12) for fret in frets]


@pytest.mark.parametrize("tuning_cents", [-140.0, -60.0, 0.0, 45.0, 140.0])
def test_frets_are_counted_from_the_open_note_as_tuned(tuning_cents: float) -> None:
    neck = three_strings()
    open_hz = E4 * cents_to_ratio(tuning_cents)
    notes = [heard(hz, float(i)) for i, hz in enumerate([open_hz, *_scale(open_hz, range(1, 13)), open_hz])]
    placed, unplaced = place_notes(neck, 1, notes)
    assert [note.fret for note in placed] == [0, *range(1, 13), 0]
    assert not unplaced


def test_short_string_skips_the_frets_before_its_nut() -> None:
    neck = three_strings(first_frets=(5, 0, 0))
    placed, _ = place_notes(neck, 1, [heard(hz, float(i)) for i, hz in enumerate(_scale(E4, range(8)))])
    assert [note.fret for note in placed] == [0, 6, 7, 8, 9, 10, 11, 12]


def test_note_beyond_the_last_fret_is_set_aside_and_named() -> None:
    neck = three_strings()
    notes = [heard(hz, float(i)) for i, hz in enumerate([*_scale(E4, range(13)), E4 * 2 ** (14 / 12)])]
    placed, unplaced = place_notes(neck, 1, notes)
    assert len(placed) == 13
    assert "F#5" in unplaced[0].reason
    assert "above fret 12" in unplaced[0].reason


def test_note_below_the_open_string_is_set_aside() -> None:
    neck = three_strings()
    _, unplaced = place_notes(neck, 1, [heard(hz, float(i)) for i, hz in enumerate([*_scale(E4, range(13)), E4 / 2])])
    assert "below the open string" in unplaced[0].reason


def test_unread_pluck_is_set_aside_with_its_complaint() -> None:
    neck = three_strings()
    notes = [*(heard(hz, float(i)) for i, hz in enumerate(_scale(E4, range(13)))), heard(None, 20.0, flags=(Flag.TOO_QUIET,))]
    _, unplaced = place_notes(neck, 1, notes)
    assert "Too quiet" in unplaced[0].reason


@pytest.mark.parametrize(("recorded", "taken_for"), [("B3", 1), ("G3", 1), ("E4", 2), ("E4", 3), ("B3", 3)])
def test_recording_of_another_string_is_refused_and_named(recorded: str, taken_for: int) -> None:
    neck = three_strings()
    notes = [heard(hz, float(i)) for i, hz in enumerate(_scale(note_frequency_hz(recorded), range(13)))]
    number = ["E4", "B3", "G3"].index(recorded) + 1
    with pytest.raises(RecordingError, match=f"looks like the recording of string {number}"):
        place_notes(neck, taken_for, notes)


def test_nothing_readable_is_refused() -> None:
    with pytest.raises(RecordingError, match="no pluck could be read"):
        place_notes(three_strings(), 1, [heard(None, 0.0, flags=(Flag.NOT_A_STRING,))])
