"""Frets that are not twelve to the octave: other divisions, skipped steps, positions given outright, frets under some strings."""

from __future__ import annotations

import copy
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretcheck.errors import NeckError
from fretcheck.neck.fret_layout import layout_of
from fretcheck.neck.neck_file import neck_from_mapping
from fretcheck.neck.writing import neck_to_mapping

# A mountain dulcimer in D: melody, middle and bass string; whole and half tones of a mixolydian scale from the nut, and the
# extra half frets 6 1/2 and 13 1/2 (common practice, no source).
DIATONIC = [2, 4, 5, 7, 9, 10, 11, 12, 14, 16, 17, 19, 21, 22, 23, 24]
DULCIMER = {
    "name": "Dulcimer",
    "scale_length_mm": 700.0,
    "fret_steps": DIATONIC,
    "strings": [
        {"note": note, "gauge_mm": gauge, "construction": "plain", "material": "steel"}
        for note, gauge in (("D4", 0.305), ("A3", 0.36), ("D3", 0.56))
    ],
}


def described(**changes):
    return neck_from_mapping({**copy.deepcopy(DULCIMER), **changes})


def divided(divisions, frets):
    data = copy.deepcopy(DULCIMER)
    del data["fret_steps"]
    return neck_from_mapping({**data, "divisions_per_octave": divisions, "frets": frets})


@pytest.mark.parametrize("divisions", [19, 24, 31])
def test_other_divisions_by_formula(divisions):
    # an equal division by n: f = open·2^(k/n), and the fret at L·(1 − 2^(−k/n)) (CALC)
    neck = divided(divisions, 32)
    slots = layout_of(neck).scales[0].slots
    for fret in range(33):
        assert neck.target_hz(1, fret) == pytest.approx(neck.open_hz(1) * 2 ** (fret / divisions), rel=1e-12)
        assert slots[fret].from_nut_mm == pytest.approx(700.0 * (1 - 2 ** (-fret / divisions)), abs=1e-9)
    assert neck.octave_fret == divisions
    assert neck.note_name(1, divisions) == "D5"


def test_note_between_the_semitones_is_named_with_the_rest():
    neck = divided(19, 20)  # step 1 of 19: 1200/19 = 63.16 cents, so D#4 less 36.84
    assert neck.note_name(1, 1) == "D#4 -37 cents"


def test_diatonic_fretting_of_a_dulcimer():
    neck = described()
    assert neck.frets == 16
    # from an open D: E F# G A B C C# D and on (common practice, no source)
    names = [neck.note_name(1, fret) for fret in range(9)]
    assert names == ["D4", "E4", "F#4", "G4", "A4", "B4", "C5", "C#5", "D5"]
    assert neck.octave_fret == 8
    assert neck.nut_distance_mm(8) == pytest.approx(350.0)


def test_positions_given_outright_are_the_targets():
    # just intonation: a pure fifth is the string stopped at 2/3 of its length, 3:2 in frequency (CALC)
    data = copy.deepcopy(DULCIMER)
    del data["fret_steps"]
    neck = neck_from_mapping({**data, "fret_positions_mm": [700.0 / 9, 175.0, 700.0 / 3, 350.0]})
    ratios = [neck.target_hz(1, fret) / neck.open_hz(1) for fret in range(1, 5)]
    assert ratios == pytest.approx([9 / 8, 4 / 3, 3 / 2, 2.0], rel=1e-12)
    assert [slot.from_nut_mm for slot in layout_of(neck).scales[0].slots][1:] == pytest.approx([700 / 9, 175, 700 / 3, 350])


def test_partial_frets_run_under_some_strings_only():
    neck = described(partial_frets=[{"fret": 7, "strings": [1]}, {"fret": 16, "strings": [2, 1]}])
    assert 7 in neck.frets_of(1)
    assert 7 not in neck.frets_of(2)
    assert neck.frets_of(3) == tuple(fret for fret in range(1, 16) if fret != 7)
    assert layout_of(neck).targets_hz[7][1:] == (None, None)
    with pytest.raises(NeckError, match="string 3 cannot be stopped at fret 7"):
        neck.target_hz(3, 7)


@given(st.sampled_from([5, 7, 12, 17, 19, 24, 31, 53, 72]), st.integers(1, 36), st.floats(-0.49, 0.49))
def test_a_note_belongs_to_its_fret_within_half_the_gap(divisions, fret, part):
    neck = divided(divisions, 36)
    reach = min(50.0, 600.0 / divisions)
    assert neck.reach_cents(1, fret) == pytest.approx(reach)
    place, off = neck.nearest_fret(1, neck.cents_above_open(1, fret) + 2 * part * reach)
    assert place == fret
    assert off == pytest.approx(2 * part * reach, abs=1e-9)


def test_a_note_between_two_diatonic_frets_belongs_to_neither():
    neck = described()
    assert neck.nearest_fret(1, 100.0) is None  # half a tone up: no such fret
    assert neck.nearest_fret(1, -51.0) is None
    assert neck.nearest_fret(1, math.inf) is None


@given(
    st.one_of(
        st.builds(lambda n, frets: {"divisions_per_octave": n, "frets": frets}, st.integers(5, 72), st.integers(1, 36)),
        st.builds(lambda steps: {"fret_steps": sorted(steps)}, st.sets(st.integers(1, 60), min_size=1, max_size=36)),
        st.builds(lambda x: {"fret_positions_mm": sorted(x)}, st.sets(st.floats(5.0, 670.0), min_size=1, max_size=36)),
    )
)
def test_any_fretting_is_written_and_read_back(fretting):
    data = {key: value for key, value in DULCIMER.items() if key != "fret_steps"} | fretting
    neck = neck_from_mapping(data)
    assert neck_from_mapping(neck_to_mapping(neck)) == neck


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"fret_steps": [2, 4, 4]}, "fret_steps must rise from the nut"),
        ({"fret_steps": [0, 2]}, "outside the allowed 1 to 60 steps"),
        ({"fret_steps": [2, 4], "frets": 3}, "holds 2 frets, but frets = 3"),
        ({"fret_steps": None}, '"frets" is missing'),
        ({"fret_positions_mm": [77.8, 175.0]}, "fret_steps or fret_positions_mm, not both"),
        ({"fret_steps": None, "fret_positions_mm": [175.0, 77.8]}, "must rise from the nut"),
        ({"fret_steps": None, "fret_positions_mm": [77.8, 699.0]}, "outside the allowed 1 to 679 mm"),
        ({"fret_steps": None, "fret_positions_mm": [77.8], "divisions_per_octave": 19}, "says nothing where"),
        ({"divisions_per_octave": 100}, "divisions_per_octave = 100 lies outside the allowed 5 to 72"),
        ({"partial_frets": [{"fret": 17, "strings": [1]}]}, "partial fret 1: fret = 17: this neck has 16 frets"),
        ({"partial_frets": [{"fret": 1, "strings": [4]}]}, "this neck has strings 1 to 3"),
        ({"partial_frets": [{"fret": 1, "strings": [1]}] * 2}, "partial fret 2: fret = 1 is named twice"),
        ({"partial_frets": [{"fret": n, "strings": [1, 2]} for n in range(1, 17)]}, "string 3: no fret runs under it"),
    ],
)
def test_frettings_that_cannot_be(changes, told):
    with pytest.raises(NeckError, match=told):
        described(**changes)
