"""What is said of a neck built exactly as described, and the tolerances of the ready-made descriptions that rest on it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from fretcheck.diagnosis.model.as_designed import expected_cents
from fretcheck.inspection.perfect_neck import doubt_about_tolerance, said_of_perfect, worst_as_designed
from fretcheck.neck.description import Neck
from fretcheck.neck.starts import STARTS
from tests.report.documents import heard
from tests.synth.strung_neck import BuiltNeck

NECK = STARTS["guitar-6-steel"].neck


def with_strings(neck: Neck, **changes: float) -> Neck:
    return replace(neck, strings=tuple(replace(string, **changes) for string in neck.strings))


@pytest.mark.parametrize("kind", STARTS)
def test_tolerance_of_a_ready_made_neck_leaves_a_cent_of_room(kind: str) -> None:
    # The rule that fretcheck/neck/starts states; half a cent more or less as what is known of the usual hand changes
    neck = STARTS[kind].neck
    worst = abs(worst_as_designed(neck).cents)
    assert neck.tolerance_cents == pytest.approx(max(3.0, math.ceil(2.0 * (worst + 1.0)) / 2.0), abs=0.5)
    assert doubt_about_tolerance(neck) is None


@pytest.mark.parametrize("kind", STARTS)
def test_setbacks_of_a_ready_made_neck_are_the_best_ones(kind: str) -> None:
    # Least squares by scipy over one string's setback at a time; the descriptions give it to 0.1 mm, hence the tolerance
    neck = STARTS[kind].neck

    def missed(setback_mm: float, index: int) -> float:
        strings = list(neck.strings)
        strings[index] = replace(strings[index], saddle_setback_mm=float(setback_mm))
        return float(np.nansum(expected_cents(replace(neck, strings=tuple(strings)))[index] ** 2))

    for index, string in enumerate(neck.strings):
        best = minimize_scalar(missed, bounds=(0.0, 15.0), args=(index,), method="bounded", options={"xatol": 0.01}).x
        assert string.saddle_setback_mm == pytest.approx(best, abs=0.1), string


def test_first_order_of_a_saddle_left_uncompensated() -> None:
    # First order of Anderson & Beausoleil (J. Acoust. Soc. Am. 156, 683, 2024; READ in manuscript): a saddle's setback ΔS moves
    # the note at fret k by −1731.234·(γ − 1)·ΔS/X0, at fret 12 by −1731.234·ΔS/X0. Second order and stretch: within 3 %.
    bare = expected_cents(with_strings(NECK, saddle_setback_mm=0.0))[:, 12]
    moved = expected_cents(with_strings(NECK, saddle_setback_mm=2.0))[:, 12] - bare
    assert moved == pytest.approx(np.full(6, -1731.234 * 2.0 / NECK.scale_length_mm), rel=0.03)
    assert "sharp (string 6, fret 20)" in said_of_perfect(with_strings(NECK, saddle_setback_mm=0.0))


@pytest.mark.parametrize(
    ("tolerance", "said"), [(1.0, "even that neck would fail"), (5.0, "could hardly be passed"), (6.0, None)]
)
def test_tolerance_without_room_is_doubted(tolerance: float, said: str | None) -> None:
    doubt = doubt_about_tolerance(replace(NECK, tolerance_cents=tolerance))  # its worst note: 4.9 cents
    assert (doubt is None) if said is None else (doubt is not None and said in doubt and "string 6" in doubt)


def test_inspection_says_when_the_description_itself_is_out_of_tolerance() -> None:
    said = [
        [one for one in heard(BuiltNeck(neck=neck), seed=1, frets=(0, 1, 12, 20)).warnings if "exactly as described" in one]
        for neck in (NECK, with_strings(NECK, saddle_setback_mm=0.0))
    ]
    assert said[0] == []
    assert len(said[1]) == 1
    assert "string 6 at fret 20 is expected" in said[1][0]
