"""Hand measurements: what they should read on the design, and that they pull the posterior toward what was measured."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fretcheck.diagnosis.infer.inference import infer
from fretcheck.diagnosis.model.as_designed import as_designed
from fretcheck.diagnosis.model.by_hand import by_hand, designed_mm, measurement_row
from fretcheck.diagnosis.model.parameters import parameters_of
from fretcheck.neck.description import Measurement
from fretcheck.neck.starts import STARTS
from tests.diagnosis.necks import heard_on, steel_neck


@pytest.mark.parametrize(
    ("what", "fret", "string", "mm"),
    [
        ("nut_to_fret", 12, None, 324.0),
        ("nut_to_fret", 5, 2, 648.0 * (1.0 - 2.0 ** (-5.0 / 12.0))),
        ("fret_to_fret", 13, None, 648.0 * (2.0 ** (-1.0) - 2.0 ** (-13.0 / 12.0))),
        ("fret_to_fret", 1, None, 648.0 * (1.0 - 2.0 ** (-1.0 / 12.0))),
        ("nut_to_saddle", None, 3, 652.4),
        ("action_12", None, 1, 2.0 * (648.0 / 650.0) ** 0.5),
        ("relief", None, None, 0.0),
    ],
)
def test_designed_reading(what: str, fret: int | None, string: int | None, mm: float) -> None:
    # Equal temperament and the description by hand (CALC); heights are the design's own assumption.
    assert designed_mm(as_designed(steel_neck()), what=what, fret=fret, string=string) == pytest.approx(mm, abs=1e-9)


def test_short_string_is_measured_from_its_own_nut() -> None:
    neck = STARTS["banjo-5"].neck
    number, short = next((n, s) for n, s in enumerate(neck.strings, start=1) if s.first_fret)
    expected = short.scale_length_mm * (2.0 ** (-short.first_fret / 12.0) - 0.5)
    assert designed_mm(as_designed(neck), what="nut_to_fret", fret=12, string=number) == pytest.approx(expected, abs=1e-9)


def test_rows_name_the_parts_that_were_measured() -> None:
    design = as_designed(steel_neck())
    table = parameters_of(design, open_u_cents=[0.1] * 6)
    row = measurement_row(design, table, what="nut_to_fret", fret=7)
    assert row is not None
    assert row[table.column("fret_position", fret=7)] == 1.0
    assert row[table.column("nut_position")] == -1.0
    assert row[table.column("fret_position", fret=8)] == 0.0
    assert row[table.column("fret_tilt", fret=7)] == pytest.approx(0.0, abs=1e-12)  # along the middle a tilt does not show
    outer = measurement_row(design, table, what="nut_to_fret", fret=7, string=6)
    assert outer is not None
    assert outer[table.column("fret_tilt", fret=7)] == -1.0


def test_what_does_not_fit_is_named() -> None:
    design = as_designed(steel_neck(frets=12))
    table = parameters_of(design, open_u_cents=[0.1] * 6)
    hand = by_hand(design, table, [Measurement(what="nut_to_fret", fret=19, mm=432.0, u_mm=0.1)])
    assert len(hand.values) == 0
    assert "nut_to_fret does not fit" in hand.unused[0]


def test_a_calliper_reading_pins_the_nut() -> None:
    # True nut 0.5 mm toward the bridge; nut to fret 12 is then 323.5 mm. Within three of its own ±0.05 mm.
    neck = steel_neck()
    built, heard = heard_on(neck, seed=1, nut_mm=0.5)
    true_mm = float(np.mean([built.fret_x_mm(string)[11] for string in range(1, 7)])) - built.nut_mm
    measured = replace(neck, measured=(Measurement(what="nut_to_fret", fret=12, mm=true_mm, u_mm=0.05),))
    alone, pinned = infer(neck, heard), infer(measured, heard)
    column = alone.parameters.column("nut_position")
    assert column is not None
    u_alone, u_pinned = (float(np.sqrt(one.covariance[column, column])) for one in (alone, pinned))
    assert u_pinned < 0.8 * u_alone
    assert pinned.mean[column] == pytest.approx(built.nut_mm, abs=3.0 * 0.08)
