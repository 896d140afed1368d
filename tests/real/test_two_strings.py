"""Two recorded strings at once are told; one alone is not, however high it is and however strong its upper partials."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from fretcheck.pitch.reader import read_pluck
from fretcheck.pitch.remarks import Remark
from tests.real.necks import RATE, STRINGS, plucks_for, resampled
from tests.real.plucks import missing

pytestmark = pytest.mark.skipif(missing() is not None, reason=str(missing()))

FRETS = (0, 7, 12, 16, 18, 20)
ELECTRIC = ("clean guitar F", "distorted guitar F")


def plucked(label, string, fret):
    pluck = plucks_for(label)[string - 1]
    sound = resampled(pluck.sound, pluck.sample_rate, 2.0 ** (fret / 12.0))[: round(1.5 * RATE)]
    return sound / np.std(sound)


@pytest.mark.parametrize("label", ELECTRIC)
def test_one_string_is_never_held_for_two(label):
    """At the highest frets half of an electric guitar's sound lies above 6 kHz."""
    told = [(s, k) for s in range(1, 7) for k in FRETS if Remark.TWO_STRINGS in read_pluck(plucked(label, s, k), RATE).remarks]
    assert told == []


@pytest.mark.parametrize("label", [label for label in STRINGS if "guitar" in label and "distorted" not in label])
def test_two_open_strings_as_loud_as_each_other_are_told(label):
    """Neighbours; through an overdriven amplifier a chord has lines of its own, and is left out."""
    strings = [plucked(label, string, 0)[: round(0.8 * RATE)] for string in range(1, 7)]
    readings = [read_pluck(0.1 * (one + other), RATE) for one, other in itertools.pairwise(strings)]
    assert not [reading for reading in readings if reading.usable]
    assert sum(Remark.TWO_STRINGS in reading.remarks for reading in readings) >= 4  # of two, one may leave the octave open
