"""Slot errors from an inspection: the truth comes back, whatever the diagnosis made of it."""

from __future__ import annotations

import numpy as np
import pytest

from fretcheck.errors import DiagnosisRefusedError
from fretcheck.lots.slot_errors import slot_errors_of
from tests.lots.shop import CENTS_PER_NEPER, STRINGS, inspection, length_mm

POSITION = np.array([0.05, -0.12, 0.3])
TILT = np.array([0.0, 0.1, -0.2])


@pytest.mark.parametrize("shrink", [1.0, 0.5, 0.0])
def test_position_and_tilt_come_back_whatever_was_found(shrink):
    document = inspection("A", position_mm=POSITION, tilt_mm=TILT, shrink=shrink)
    found = slot_errors_of(document)
    assert [(e.neck, e.fret) for e in found] == [("A", 1), ("A", 2), ("A", 3)]
    assert [e.error_mm for e in found] == pytest.approx(POSITION, abs=1e-9)
    assert [e.error_mm for e in slot_errors_of(document, quantity="tilt")] == pytest.approx(TILT, abs=1e-9)


def test_uncertainty_is_that_of_a_line_through_the_strings():
    found = slot_errors_of(inspection("A", u_cents=0.6))[1]
    assert found.u_mm == pytest.approx(0.6 * length_mm(2) / CENTS_PER_NEPER / STRINGS**0.5, rel=1e-9)  # equal u, centred strings


def test_scatter_matches_the_stated_uncertainty():
    rng = np.random.default_rng(1)
    values = [
        [e.error_mm for e in slot_errors_of(inspection("A", noise_cents=rng.normal(0, 0.4, (STRINGS, 3))))] for _ in range(400)
    ]
    stated = [e.u_mm for e in slot_errors_of(inspection("A"))]
    assert np.std(values, axis=0) == pytest.approx(stated, rel=0.15)  # 4 standard errors of a scatter from 400


def test_notes_that_were_not_read_are_left_out():
    whole = inspection("A", position_mm=POSITION)
    unread = {"deviation_cents": None, "plucked_cents": None}
    frets = [f.model_copy(update=unread) if f.fret == 2 and f.string > 1 else f for f in whole.frets]
    one_string = whole.model_copy(update={"frets": frets})
    assert [e.error_mm for e in slot_errors_of(one_string)] == pytest.approx(POSITION, abs=1e-9)
    assert [e.fret for e in slot_errors_of(one_string, quantity="tilt")] == [1, 3]


def test_an_inspection_without_diagnosis_is_refused():
    document = inspection("A")
    undiagnosed = [f.model_copy(update={"expected_cents": None}) for f in document.frets]
    with pytest.raises(DiagnosisRefusedError, match="no diagnosed notes"):
        slot_errors_of(document.model_copy(update={"frets": undiagnosed}))
    lonely = document.model_copy(update={"frets": [f for f in document.frets if f.string == 1]})
    with pytest.raises(DiagnosisRefusedError, match="enough strings for tilt"):
        slot_errors_of(lonely, quantity="tilt")
