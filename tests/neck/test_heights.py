"""How high the strings lie: described heights are held exactly, assumed ones are told as such."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fretcheck.diagnosis.model.as_designed import as_designed, expected_cents
from fretcheck.diagnosis.model.by_hand import designed_mm
from fretcheck.neck.description import Neck, Sides
from fretcheck.neck.heights import action_12, first_fret_clearance, nut_height, relief, saddle_height_mm
from fretcheck.neck.starts import STARTS

STEEL = STARTS["guitar-6-steel"].neck
SET_UP = replace(
    STEEL, action_12_mm=Sides(treble=1.6, bass=2.2), relief_mm=0.2, first_fret_clearance_mm=Sides(treble=0.4, bass=0.5)
)


def gap_mm(neck: Neck, number: int, fret: int) -> float:
    """From geometry alone: a straight line from nut to saddle, crowns on a parabola from the nut to the last fret."""
    string = neck.string(number)
    x, last = (string.scale_length_mm * (1 - 2 ** (-k / 12)) for k in (fret, neck.frets))
    low, high = nut_height(neck, number).mm, saddle_height_mm(neck, number)
    line = low + (high - low) * x / (string.scale_length_mm + string.saddle_setback_mm)
    return line + 4 * (neck.relief_mm or 0.0) * (x / last) * (1 - x / last)


@pytest.mark.parametrize(("number", "over_1", "over_12"), [(1, 0.4, 1.6), (6, 0.5, 2.2)])
def test_described_gaps_are_those_of_the_string(number, over_1, over_12):
    assert gap_mm(SET_UP, number, 1) == pytest.approx(over_1, abs=1e-9)
    assert gap_mm(SET_UP, number, 12) == pytest.approx(over_12, abs=1e-9)
    assert first_fret_clearance(SET_UP, number).mm == pytest.approx(over_1, abs=1e-9)
    # a feeler gauge on the neck as designed finds the same; the diagnosis takes the setback along the line as nil (0.001 mm)
    design = as_designed(SET_UP)
    assert designed_mm(design, what="first_fret_clearance", fret=None, string=number) == pytest.approx(over_1, abs=2e-3)
    assert designed_mm(design, what="action_12", fret=None, string=number) == pytest.approx(over_12, abs=2e-3)
    assert designed_mm(design, what="relief", fret=None, string=None) == 0.2


def test_strings_between_lie_between():
    actions = [action_12(SET_UP, number).mm for number in range(1, 7)]
    assert actions == pytest.approx([1.6, 1.72, 1.84, 1.96, 2.08, 2.2])


def test_what_is_not_described_is_assumed_and_says_so():
    for height in (action_12(STEEL, 1), first_fret_clearance(STEEL, 1), nut_height(STEEL, 1), relief(STEEL)):
        assert not height.described
    for height in (action_12(SET_UP, 1), first_fret_clearance(SET_UP, 1), nut_height(SET_UP, 1), relief(SET_UP)):
        assert height.described
    # steel guitar at 2 mm: about 0.5 mm at the nut, hence 0.5 + (2 − 0.5)·2·0.056 over fret 1 (geometry; 2 mm shorter than 650)
    assert first_fret_clearance(STEEL, 1).mm == pytest.approx(0.668, abs=0.002)


def test_a_higher_action_reads_sharper():
    # stretch grows with the square of the height: from 2 to 3 mm a plain B of .016 gains some cents at fret 12 ([AB], check 10)
    low, high = (expected_cents(replace(STEEL, action_12_mm=Sides(treble=mm, bass=mm))) for mm in (2.0, 3.0))
    assert np.all(high[:, 5:] > low[:, 5:])
    assert 1.0 < high[1, 12] - low[1, 12] < 12.0
