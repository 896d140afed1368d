"""One line for all strings gives the same neck as a table for each."""

from __future__ import annotations

import copy

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretcheck.errors import NeckError
from fretcheck.neck.neck_file import neck_from_mapping
from fretcheck.neck.physics import constants_of
from fretcheck.neck.temperament import midi_to_note
from fretcheck.neck.writing import neck_to_mapping

SHORT = {
    "name": "Cherry",
    "scale_length_mm": 648.0,
    "frets": 20,
    "tuning": "E4 B3 G3 D3 A2 E2",
    "gauges_in": [0.012, 0.016, "w0.024", "w0.032", "w0.042", "w0.053"],
    "wound_material": "phosphor_bronze",
    "saddle_setback_mm": [1.7, 3.1, 1.6, 2.0, 2.6, 3.5],
}


def short(**changes):
    data = {**copy.deepcopy(SHORT), **changes}
    return neck_from_mapping({key: value for key, value in data.items() if value is not None}, typed=True)


def test_one_line_is_the_same_as_a_table_each():
    rows = [
        {"note": note, "gauge_in": gauge, "construction": kind, "material": material, "saddle_setback_mm": setback}
        for note, gauge, kind, material, setback in (
            ("E4", 0.012, "plain", "steel", 1.7),
            ("B3", 0.016, "plain", "steel", 3.1),
            ("G3", 0.024, "wound", "phosphor_bronze", 1.6),
            ("D3", 0.032, "wound", "phosphor_bronze", 2.0),
            ("A2", 0.042, "wound", "phosphor_bronze", 2.6),
            ("E2", 0.053, "wound", "phosphor_bronze", 3.5),
        )
    ]
    long_form = {"name": "Cherry", "scale_length_mm": 648.0, "frets": 20, "strings": rows}
    assert short() == neck_from_mapping(long_form)


def test_a_list_from_the_bass_side_is_turned_with_all_that_goes_by_string():
    turned = short(
        tuning="E2 A2 D3 G3 B3 E4", gauges_in=SHORT["gauges_in"][::-1], saddle_setback_mm=SHORT["saddle_setback_mm"][::-1]
    )
    assert turned == short()


def test_a_re_entrant_tuning_needs_the_side():
    ukulele = {"tuning": "G4 C4 E4 A4", "gauges_mm": [0.58, 0.81, 0.66, 0.52], "gauges_in": None, "saddle_setback_mm": None}
    with pytest.raises(NeckError, match='climbs and falls: write from = "treble"'):
        short(**ukulele)
    # string 1 of a ukulele is its A, the last one of "GCEA" (common practice)
    neck = short(**ukulele, **{"from": "bass"})
    assert [string.note for string in neck.strings] == ["A4", "E4", "C4", "G4"]
    assert neck.string(1).gauge_mm == 0.52
    assert short(**ukulele, **{"from": "treble"}).string(1).note == "G4"


def test_courses():
    neck = short(
        tuning="E5 E5 A4 A4 D4 D4 G3 G3",
        gauges_in=[0.010, 0.010, 0.014, 0.014, "w0.024", "w0.024", "w0.038", "w0.038"],
        strings_per_course=2,
        saddle_setback_mm={"treble": 1.0, "bass": 4.0},
    )
    assert [string.course for string in neck.strings] == [1, 1, 2, 2, 3, 3, 4, 4]
    assert [string.saddle_setback_mm for string in neck.strings] == [1.0, 1.0, 2.0, 2.0, 3.0, 3.0, 4.0, 4.0]
    octaves = short(
        tuning="G3 G4 D3 D4 A2 A3",
        gauges_in=["w0.023", 0.008, "w0.030", 0.012, "w0.039", 0.018],
        strings_per_course=2,
        saddle_setback_mm=None,
    )
    assert octaves.string(1).note == "G3"  # by the lowest of each course it falls: it begins at the treble side


def test_a_fan_by_its_two_sides():
    fan = short(scale_length_mm=None, scale_length_treble_in="25 1/2", scale_length_bass_in=27, square_fret=7)
    lengths = [string.scale_length_mm for string in fan.strings]
    assert lengths == pytest.approx([647.7 + n * (685.8 - 647.7) / 5 for n in range(6)])  # evenly spaced
    assert fan.scale_length_mm == pytest.approx((647.7 + 685.8) / 2)


def test_tuned_lower():
    low = short(tuned_semitones=-2)
    assert [string.note for string in low.strings] == ["D4", "A3", "F3", "C3", "G2", "D2"]
    # the same wire two semitones lower pulls 2^(-4/12) of the tension (T goes with the frequency squared; CALC)
    for one, other in zip(constants_of(low), constants_of(short()), strict=True):
        assert one.tension_n == pytest.approx(other.tension_n * 2 ** (-2 / 6), rel=1e-9)


def test_a_capo_is_a_nut_at_its_fret():
    capo = short(capo_fret=3)
    assert [string.note for string in capo.strings] == ["G4", "D4", "A#3", "F3", "C3", "G2"]
    assert capo.frets_of(1)[0] == 4
    assert capo.speaking_length_mm(1, 0) == pytest.approx(648.0 * 2 ** (-3 / 12))
    assert capo.target_hz(1, 12) == pytest.approx(short().target_hz(1, 12))
    # it holds the string as it was: same tension
    # but for the saddle's setback, a larger share of the shorter string (0.1 %)
    for one, other in zip(constants_of(capo), constants_of(short()), strict=True):
        assert one.tension_n == pytest.approx(other.tension_n, rel=4e-3)


def test_straight_saddle_and_compensated_nut():
    neck = short(saddle_setback_mm=2.0, nut_compensation_mm={"treble": 0.2, "bass": 0.7})
    assert {string.saddle_setback_mm for string in neck.strings} == {2.0}
    assert [string.nut_compensation_mm for string in neck.strings] == pytest.approx([0.2, 0.3, 0.4, 0.5, 0.6, 0.7])
    assert all(string.saddle_setback_mm is None for string in short(saddle_setback_mm=None).strings)


NOTES = st.lists(st.integers(36, 76), min_size=3, max_size=10, unique=True).map(lambda midi: sorted(midi, reverse=True))


@given(NOTES, st.data(), st.sampled_from(["treble", "bass"]), st.integers(-5, 5))
def test_any_set_of_strings_is_read_alike_from_either_side(midi, data, side, semitones):
    gauges = data.draw(st.lists(st.floats(0.2, 3.0), min_size=len(midi), max_size=len(midi)))
    wound = data.draw(st.lists(st.booleans(), min_size=len(midi), max_size=len(midi)))
    setbacks = data.draw(st.lists(st.floats(0.2, 10.0), min_size=len(midi), max_size=len(midi)))
    written = [f"w{gauge!r}" if is_wound else gauge for gauge, is_wound in zip(gauges, wound, strict=True)]
    notes = [midi_to_note(one) for one in midi]
    turn = slice(None, None, -1 if side == "bass" else 1)
    neck = short(
        tuning=" ".join(notes[turn]),
        gauges_in=None,
        gauges_mm=written[turn],
        saddle_setback_mm=setbacks[turn],
        tuned_semitones=semitones,
        **{"from": side},
    )
    assert [string.note for string in neck.strings] == [midi_to_note(one + semitones) for one in midi]
    assert [string.gauge_mm for string in neck.strings] == gauges
    assert [string.construction == "wound" for string in neck.strings] == wound
    assert [string.saddle_setback_mm for string in neck.strings] == setbacks
    assert neck_from_mapping(neck_to_mapping(neck)) == neck


FAULTY = [
    (
        {"gauges_in": [12, 16, "w24", "w32", "w42", "w53"]},
        "string 1 of the list: .*thousandths of an inch, use gauges_in = 0.012",
    ),
    ({"gauges_in": SHORT["gauges_in"][:5]}, "tuning names 6 strings, the gauges are 5"),
    (
        {"gauges_in": [0.012, 0.016, "x0.024", "w0.032", "w0.042", "w0.053"]},
        "string 3 of the list: gauges_in = .x0.024. must be a number",
    ),
    ({"gauges_in": [0.3, 0.4, "w0.6", "w0.8", "w1.0", "w1.3"]}, "string 1 of the list: .*looks like mm"),
    ({"gauges_mm": [0.3] * 6}, "give gauges_mm or gauges_in, not both"),
    ({"gauges_in": None}, "tuning and gauges go together: gauges_in, as in .* is missing"),
    ({"tuning": None}, 'tuning and gauges go together: tuning, as in "E4'),
    ({"tuning": "E4 B3 G3 D3 A2 X2"}, 'string 6 of the list: tuning: "X2" is no note'),
    ({"wound_material": None}, "what are the wound strings wound with"),
    ({"wound_material": "phosphor-bronze"}, 'did you mean "phosphor_bronze"'),
    ({"strings": [{"note": "E4", "gauge_mm": 0.3, "construction": "plain", "material": "steel"}]}, "give tuning and gauges, or"),
    ({"strings_per_course": 4}, "strings_per_course = 4 lies outside the allowed 1 to 3"),
    ({"strings_per_course": 2, "tuning": "E4 E4 B3", "gauges_in": [0.01] * 3}, "3 strings do not make courses of 2"),
    ({"saddle_setback_mm": [1.7, 3.1]}, "saddle_setback_mm lists 2 strings, this neck has 6"),
    ({"saddle_setback_mm": {"treble": 1.0}}, "saddle_setback_mm: bass is missing"),
    ({"scale_length_treble_mm": 640.0}, "scale_length_bass_mm is missing: a fan needs both sides"),
    ({"scale_length_treble_mm": 640.0, "scale_length_bass_mm": 660.0}, "give scale_length_mm, or scale_length_treble_mm and"),
    ({"tuned_semitones": -40}, "tuned_semitones = -40 lies outside the allowed -24 to 24"),
    ({"capo_fret": 20}, "capo_fret = 20 leaves no fret to play"),
    ({"capo_fret": 1, "divisions_per_octave": 19}, "does not stand on a semitone"),
    ({"capo_fret": 2, "first_fret_clearance_mm": 0.4}, "a zero fret or capo carries the strings"),
    ({"from": "left"}, "from = .left. is not one of .treble. or .bass."),
    ({"left_handed": True}, "not needed: strings are counted from the treble side, whichever hand frets them"),
    ({"radius_in": 12}, "not needed: only lengths along the strings are judged"),
    ({"a4": 440}, "the pitch of A4 is reference_hz"),
    ({"multiscale": True}, "scale_length_treble_mm and scale_length_bass_mm"),
    ({"compensation_mm": 2.0}, "the saddle.s compensation is saddle_setback_mm"),
    ({"tension_lb": 20}, "tension_n is pounds times 4.448"),
    ({"scale_lenght_in": 25.5}, "did you mean .scale_length_"),
]


@pytest.mark.parametrize(("changes", "told"), FAULTY)
def test_a_faulty_line_is_answered_with_the_cure(changes, told):
    with pytest.raises(NeckError, match=told) as caught:
        short(**changes)
    assert "\n" not in str(caught.value)
