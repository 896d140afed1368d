"""Note names and equal temperament against published values and an independent library."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretcheck.errors import NeckError
from fretcheck.neck.description import String
from fretcheck.neck.temperament import (
    cents_between,
    cents_to_ratio,
    length_error_cents,
    midi_frequency_hz,
    midi_to_note,
    note_to_midi,
)
from fretcheck.units import CENTS_PER_NEPER
from tests.synth.nominal import note_frequency_hz

# Check 1. m = 12: OEIS A320304 (READ). The notes: computed from f = 440·2^((m−69)/12) (CALC). A4 = 440 Hz: ISO 16:1975 (MEMORY).
# Tolerance: the published values carry four decimals.
NOTES_HZ = {
    "C0": 16.3516,
    "E2": 82.4069,
    "A2": 110.0,
    "D3": 146.8324,
    "G3": 195.9977,
    "B3": 246.9417,
    "E4": 329.6276,
    "A4": 440.0,
}


def _string(note="D4", first_fret=0):
    return String(note=note, gauge_mm=0.25, construction="plain", material="steel", scale_length_mm=670.0, first_fret=first_fret)


@pytest.mark.parametrize(("note", "expected_hz"), NOTES_HZ.items())
def test_published_frequencies(note, expected_hz):
    assert note_frequency_hz(note) == pytest.approx(expected_hz, abs=5e-5)


def test_lowest_midi_note():
    assert midi_frequency_hz(0) == pytest.approx(8.1758, abs=5e-5)  # OEIS A320304, READ


def test_reference_tolerance_of_italian_law():
    # Italian law 170/1989 art. 3 (READ): ±0.5 Hz; in cents ±1.97 (CALC, two decimals)
    assert cents_between(440.5, 440.0) == pytest.approx(1.97, abs=0.005)
    assert cents_between(439.5, 440.0) == pytest.approx(-1.97, abs=0.005)


def test_one_mm_in_cents():
    # Check 5, 650 mm scale, 1 mm of speaking length (CALC, linear): tolerance is the second-order term, below 0.02 c
    for fret, expected in {0: 2.663, 1: 2.822, 12: 5.327, 24: 10.654}.items():
        length = 650.0 * 2 ** (-fret / 12)
        assert CENTS_PER_NEPER / length == pytest.approx(expected, abs=6e-4)
        assert length_error_cents(1.0, speaking_length_mm=length) == pytest.approx(expected, abs=0.04)


def test_midi_numbers_against_librosa():
    import librosa

    for midi in range(12, 121):
        name = midi_to_note(midi)
        assert note_to_midi(name) == midi == librosa.note_to_midi(name)
        assert midi_frequency_hz(midi) == pytest.approx(librosa.midi_to_hz(midi), rel=1e-12)
    for name in ("Bb2", "Cb4", "B#3", "F##3", "Ebb4"):
        assert note_to_midi(name) == librosa.note_to_midi(name)


@given(st.floats(380.0, 480.0), st.integers(12, 120))
def test_reference_shifts_all_notes_alike(reference_hz, midi):
    shift = cents_between(midi_frequency_hz(midi, reference_hz=reference_hz), midi_frequency_hz(midi))
    assert shift == pytest.approx(1200 * math.log2(reference_hz / 440.0), abs=1e-9)
    assert cents_to_ratio(shift) == pytest.approx(reference_hz / 440.0, rel=1e-12)


@pytest.mark.parametrize(
    ("note", "cure"),
    [
        ("e4", 'did you mean "E4"'),
        ("H3", 'did you mean "B3"'),
        ("F♯3", 'did you mean "F#3"'),
        ("E", "octave is missing"),
        ("X9", "is no note"),
        ("", "is no note"),
        ("A14", "outside C0 to C9"),
    ],
)
def test_what_is_no_note(note, cure):
    with pytest.raises(NeckError, match=cure):
        note_to_midi(note)


@pytest.mark.parametrize("reference_hz", [379.9, 480.1, math.nan, math.inf, -440.0])
def test_reference_out_of_range(reference_hz):
    with pytest.raises(NeckError, match="380 to 480 Hz"):
        note_frequency_hz("A4", reference_hz=reference_hz)
