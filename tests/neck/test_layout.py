"""Layouts against published positions, old rules and geometry."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretcheck.errors import NeckError, UsageError
from fretcheck.neck.description import Neck, String, distance_mm
from fretcheck.neck.fret_layout import (
    Rounding,
    layout_of,
    parse_rounding,
    slots_for,
)
from fretcheck.neck.temperament import length_error_cents
from tests.synth.nominal import note_frequency_hz

STRING = String(note="D4", gauge_mm=0.25, construction="plain", material="steel", scale_length_mm=670.0, saddle_setback_mm=2.0)
NECK = Neck(
    name="Pear", scale_length_mm=670.0, frets=22, strings=(STRING, replace(STRING, note="B3"), replace(STRING, note="G3"))
)


def semitones(frets):
    return [100.0 * fret for fret in range(frets + 1)]


# Check 3: frets 1 and 2 read on a public wiki (READ), the rest computed (CALC); five to six digits, hence the tolerance.
FRACTIONS = {1: 0.056126, 2: 0.109101, 5: 0.250846, 7: 0.332580, 12: 0.5, 19: 0.666290, 24: 0.75}
# Check 4: rule of 18, every step 1/18 of what is left (CALC); three digits.
RULE_OF_18_CENTS = {5: -5.227, 7: -7.318, 12: -12.545, 24: -25.090}


@pytest.mark.parametrize(("fret", "fraction"), FRACTIONS.items())
def test_published_fractions_of_the_scale(fret, fraction):
    assert distance_mm(100.0 * fret, scale_length_mm=1.0) == pytest.approx(fraction, abs=5.1e-7)


def test_first_fret_of_a_650_mm_scale():
    assert distance_mm(100.0 * 1, scale_length_mm=650.0) == pytest.approx(36.482, abs=5e-4)  # check 3: a builder's note, READ


def test_published_divisor():
    # Check 2: divisor 17.817 (G. Byers, American Lutherie 47, 1996; READ in summary), exact 17.817153745 (CALC)
    assert 650.0 / distance_mm(100.0 * 1, scale_length_mm=650.0) == pytest.approx(17.817153745, abs=5e-10)
    remaining = 650.0 * (1 - 1 / 17.817) ** 12
    assert length_error_cents(325.0 - remaining, speaking_length_mm=325.0) == pytest.approx(0.011, abs=6e-4)


@pytest.mark.parametrize(("fret", "cents"), RULE_OF_18_CENTS.items())
def test_rule_of_18_against_the_layout(fret, cents):
    slot = slots_for(semitones(24), scale_length_mm=650.0)[fret]
    marked = 650.0 * (1 - (17 / 18) ** fret)
    assert length_error_cents(marked - slot.from_nut_mm, speaking_length_mm=slot.speaking_length_mm) == pytest.approx(
        cents, abs=6e-4
    )


def test_facts_of_the_trade():
    # Check 6 (common practice, no source): ratio about 1.0595, L_k = L0/r^k, fret 12 at half the scale
    slots = slots_for(semitones(24), scale_length_mm=648.0)
    assert slots[0].speaking_length_mm / slots[1].speaking_length_mm == pytest.approx(1.0595, abs=5e-5)
    assert slots[12].from_nut_mm == 324.0
    for slot in slots:
        assert slot.speaking_length_mm == pytest.approx(648.0 / 1.0594630943592953**slot.fret, rel=1e-12)


@given(st.floats(250.0, 1400.0), st.integers(1, 36), st.floats(0.01, 2.0))
def test_rounding_never_costs_more_than_half_a_step(scale, frets, step):
    for slot in slots_for(semitones(frets), scale_length_mm=scale, rounding=Rounding(step=step, unit="mm")):
        assert abs(slot.marked_mm - slot.from_nut_mm) <= step / 2 + 1e-9
        assert slot.marked_mm / step == pytest.approx(round(slot.marked_mm / step), abs=1e-6)
        worst = -1200 * math.log2(1 - step / 2 / slot.speaking_length_mm)
        assert abs(slot.rounding_cents) <= worst + 1e-6
        if slot.rounding_cents:
            assert (slot.rounding_cents > 0) == (slot.marked_mm > slot.from_nut_mm)  # nearer the bridge is sharp


@given(st.floats(250.0, 1400.0), st.integers(1, 36))
def test_gaps_add_up_to_the_distance_from_the_nut(scale, frets):
    slots = slots_for(semitones(frets), scale_length_mm=scale)
    assert math.fsum(slot.from_previous_mm for slot in slots[1:]) == pytest.approx(slots[-1].from_nut_mm, abs=1e-9)
    assert all(slot.rounding_cents == 0.0 for slot in slots)


@pytest.mark.parametrize(
    ("text", "unit", "step_mm"), [("0.5", "mm", 0.5), ("1/64", "in", 0.396875), ("0.01", "in", 0.254), ("1/2", "mm", 0.5)]
)
def test_rounding_as_typed(text, unit, step_mm):
    assert parse_rounding(text, unit=unit).step_mm == pytest.approx(step_mm, rel=1e-12)


@pytest.mark.parametrize("text", ["", "abc", "1/0", "1/x", "nan", "inf", "0", "-1", "11"])
def test_rounding_refused(text):
    with pytest.raises(UsageError, match="rounding step"):
        parse_rounding(text, unit="mm")


def test_short_string_sounds_with_its_neighbours_frets():
    fifth = replace(STRING, note="G4", first_fret=5)
    neck = replace(NECK, strings=(*NECK.strings, fifth))
    layout = layout_of(neck)
    column = [row[3] for row in layout.targets_hz]
    assert column[:5] == [None] * 5
    assert column[5] == pytest.approx(note_frequency_hz("G4"))
    assert column[17] == pytest.approx(2 * note_frequency_hz("G4"))
    assert neck.speaking_length_mm(4, 0) == neck.speaking_length_mm(1, 5)
    assert neck.speaking_length_mm(4, 12) == 335.0
    assert neck.open_length_mm(1) == 672.0
    assert (neck.note_name(4, 0), neck.note_name(4, 12)) == ("G4", "D5")
    with pytest.raises(NeckError, match="string 4 cannot be stopped at fret 5: its frets are 6 to 22"):
        neck.target_hz(4, 5)


def test_fanned_frets_meet_at_the_square_fret():
    lengths = (635.0, 647.7, 660.4)
    strings = tuple(replace(string, scale_length_mm=length) for string, length in zip(NECK.strings, lengths, strict=True))
    neck = replace(NECK, scale_length_mm=647.7, strings=strings, square_fret=7)
    layout = layout_of(neck)
    assert [scale.strings for scale in layout.scales] == [(1,), (2,), (3,)]
    places = [scale.nut_offset_mm + scale.slots[7].from_nut_mm for scale in layout.scales]
    assert places == pytest.approx([places[0]] * 3, abs=1e-9)
    # by hand: the long string's nut lies (660.4 − 647.7)·(1 − 2^(−7/12)) = 12.7·0.332580 = 4.2238 mm behind the middle one's
    assert neck.nut_offset_mm(3) == pytest.approx(-4.2238, abs=5e-5)
    assert replace(neck, square_fret=None).nut_offset_mm(3) == 0.0


def test_common_scale_is_one_table():
    assert [scale.strings for scale in layout_of(NECK).scales] == [(1, 2, 3)]
