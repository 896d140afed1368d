"""Deviations and drift against values worked out by hand."""

from __future__ import annotations

import pytest

from fretcheck.pitch.remarks import Remark
from fretcheck.session.deviation import (
    NO_OPEN_REFERENCE,
    inspection_from,
    length_equivalent_error_mm,
    read_deviations,
)
from tests.session.notes import placed, three_strings

EXACT = 1e-9  # cents; the arithmetic is closed-form, only rounding remains


def test_fretted_note_is_judged_from_its_own_open_string() -> None:
    neck = three_strings()
    notes = [
        placed(neck, 1, 0, 4.0, 0.0),
        placed(neck, 1, 7, 5.5, 2.0),
        placed(neck, 2, 0, -3.0, 9.0),
        placed(neck, 2, 5, -3.0, 11.0),
    ]
    readings, _ = read_deviations(neck, notes)
    deviations = [reading.deviation_cents for reading in readings]
    assert deviations == pytest.approx([4.0, 1.5, -3.0, 0.0], abs=EXACT)


def test_drift_between_open_plucks_is_taken_out_in_time() -> None:
    neck = three_strings()
    # the open note falls 3 cents in 30 s; a perfect fret 5 played on the way falls with it
    notes = [
        placed(neck, 1, 0, 0.0, 0.0),
        *(placed(neck, 1, 5, -t / 10.0, t) for t in (5.0, 10.0, 25.0)),
        placed(neck, 1, 0, -3.0, 30.0),
    ]
    readings, drift = read_deviations(neck, notes)
    assert [r.deviation_cents for r in readings if r.fret == 5] == pytest.approx([0.0, 0.0, 0.0], abs=EXACT)
    assert drift == {1: pytest.approx(-3.0, abs=EXACT)}


def test_open_plucks_in_a_row_make_one_reference() -> None:
    neck = three_strings()
    notes = [placed(neck, 1, 0, -0.5, 0.0), placed(neck, 1, 0, 0.5, 2.0), placed(neck, 1, 3, 1.0, 4.0)]
    readings, drift = read_deviations(neck, notes)
    assert readings[-1].deviation_cents == pytest.approx(1.0, abs=EXACT)
    assert drift == {}


def test_unusable_open_pluck_is_no_reference() -> None:
    neck = three_strings()
    readings, _ = read_deviations(
        neck, [placed(neck, 1, 0, 30.0, 0.0, flags=(Remark.TWO_STRINGS,)), placed(neck, 1, 3, 1.0, 4.0)]
    )
    assert readings[1].deviation_cents is None
    assert readings[1].why_not_used == NO_OPEN_REFERENCE
    assert not any(reading.used for reading in readings)


def test_short_string_counts_from_its_own_nut() -> None:
    neck = three_strings(first_frets=(0, 0, 5))
    # one fret beyond its own nut is a semitone above its open note
    readings, _ = read_deviations(neck, [placed(neck, 3, 0, 0.0, 0.0), placed(neck, 3, 6, 0.0, 2.0)])
    assert readings[1].deviation_cents == pytest.approx(0.0, abs=EXACT)
    assert readings[1].target_hz / readings[0].target_hz == pytest.approx(2 ** (1 / 12))
    assert readings[0].length_expected_mm == pytest.approx(600.0 * 2 ** (-5 / 12))


@pytest.mark.parametrize(
    ("fret", "cents_per_mm"),
    [(0, 2.663), (1, 2.822), (12, 5.327), (24, 10.654)],  # 1 mm of speaking length at 650 mm: −1731.234·dL/L, CALC
)
def test_one_mm_of_string_in_cents(fret: int, cents_per_mm: float) -> None:
    length = 650.0 * 2 ** (-fret / 12)
    # the table is first order; at 1 mm the exact law differs by half of cents/1731, under 0.4 %
    assert length_equivalent_error_mm(length, cents_per_mm) == pytest.approx(1.0, rel=0.004)
    assert length_equivalent_error_mm(length, cents_per_mm * 1e-3) == pytest.approx(1e-3, rel=2e-4)


def test_sharp_is_toward_the_bridge() -> None:
    assert length_equivalent_error_mm(324.0, 5.0) > 0 > length_equivalent_error_mm(324.0, -5.0)


def test_missing_notes_are_named() -> None:
    neck = three_strings(frets=2)
    notes = [placed(neck, 1, 0, 0.0, 0.0), placed(neck, 1, 2, 0.0, 2.0)]
    inspection = inspection_from(neck, notes, planned=[(1, 0), (1, 1), (1, 2), (2, 0)])
    assert inspection.missing == ((1, 1), (2, 0))
    assert "String 1 has no usable pluck of: fret 1." in inspection.warnings
    assert "String 2 has no usable pluck of: open." in inspection.warnings
