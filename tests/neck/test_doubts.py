"""Unusual but allowed descriptions are remarked upon."""

from __future__ import annotations

from dataclasses import replace

from fretcheck.neck.physics import doubts
from fretcheck.neck.starts import STARTS

NECK = STARTS["guitar-6-steel"].neck


def with_string_1(**changes):
    return replace(NECK, strings=(replace(NECK.string(1), **changes), *NECK.strings[1:]))


def test_nothing_but_unknown_cores_on_a_usual_neck():
    (only,) = doubts(NECK)
    assert only.startswith("Strings 3, 4, 5, 6: stretch and stiffness")


def test_octave_too_high_or_too_low():
    # T goes with the square of the frequency: 105 N become 420 N an octave up and 6.6 N two octaves down (CALC)
    assert "E5 would pull 42" in doubts(with_string_1(note="E5"))[0]
    assert "E2 would pull 7 N" in doubts(with_string_1(note="E2"))[0]


def test_tension_of_another_scale():
    assert doubts(with_string_1(tension_n=104.0)) == doubts(NECK)
    assert "tension_n = 60 is given" in doubts(with_string_1(tension_n=60.0))[0]
