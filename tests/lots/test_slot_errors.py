"""Slot errors from an inspection: the truth comes back, whatever the diagnosis made of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fretcheck.errors import DiagnosisRefusedError
from fretcheck.lots.template.slot_errors import slots_of
from tests.lots.shop import CENTS_PER_NEPER, STRINGS, inspection, length_mm

POSITION = np.array([0.05, -0.12, 0.3])
TILT = np.array([0.0, 0.1, -0.2])
FRETS = 20


@pytest.mark.parametrize("shrink", [1.0, 0.5, 0.0])
def test_position_and_tilt_come_back_whatever_was_found(shrink):
    found = slots_of(inspection("A", position_mm=POSITION, tilt_mm=TILT, shrink=shrink))
    assert (found.neck, found.frets) == ("A", (1, 2, 3))
    assert found.position_mm == pytest.approx(POSITION, abs=1e-4)  # the wide prior on trends
    assert found.tilt_mm == pytest.approx(TILT, abs=1e-4)


def test_scatter_matches_the_stated_uncertainty():
    rng = np.random.default_rng(1)
    found = [slots_of(inspection("A", noise_cents=rng.normal(0, 0.4, (STRINGS, FRETS)), frets=FRETS)) for _ in range(300)]
    scatter = np.std([one.position_mm for one in found], axis=0)
    stated = np.mean([one.u_position_mm for one in found], axis=0)
    assert stated == pytest.approx(0.4 * length_mm(1) / 2 ** (np.arange(FRETS) / 12) / CENTS_PER_NEPER / STRINGS**0.5, rel=0.15)
    assert scatter == pytest.approx(stated, rel=0.2)  # 4 standard errors of a scatter from 300, and some notes laid aside


def test_a_slipped_pluck_moves_no_slot():
    noise = np.random.default_rng(2).normal(0, 0.3, (STRINGS, FRETS))
    slipped = noise.copy()
    slipped[3, 6] += 9.0
    before, after = (slots_of(inspection("A", noise_cents=one, u_cents=0.3, frets=FRETS)) for one in (noise, slipped))
    # one note of six left out: its own share of the slot's mean, 0.3·√(1/5 − 1/6) cents; 5 of it, a neighbour may go with it
    assert after.position_mm[6] == pytest.approx(
        before.position_mm[6], abs=5 * 0.3 * (1 / 30) ** 0.5 * length_mm(7) / CENTS_PER_NEPER
    )


def test_a_string_read_in_part_does_not_bend_the_slots_by_its_own_saddle():
    """String 6's saddle is 1 mm back, and half of its notes are missing."""
    saddle = np.zeros((STRINGS, FRETS))
    saddle[5] = CENTS_PER_NEPER / length_mm(0) * (2 ** (np.arange(1, FRETS + 1) / 12) - 1)
    rng = np.random.default_rng(3)
    whole = inspection("A", noise_cents=saddle + rng.normal(0, 0.05, saddle.shape), u_cents=0.05, frets=FRETS)
    frets = [f for f in whole.frets if f.string < 6 or f.fret % 2]
    found = slots_of(whole.model_copy(update={"frets": frets})).position_mm
    assert np.std(np.diff(found)) < 0.03  # a mean over the strings would step by up to 0.1 mm from fret to fret


def test_divisions_of_the_octave_come_from_the_lengths():
    twelve = inspection("A", frets=FRETS)
    step = 2 ** (1 / 12 - 1 / 19)
    readings = [replace(r, length_expected_mm=r.length_expected_mm * step**r.fret) for r in twelve.readings]
    opened = [replace(readings[0], string=s, fret=0, length_expected_mm=length_mm(0)) for s in range(1, 7)]
    found = slots_of(twelve.model_copy(update={"readings": readings + opened}))
    assert found.gamma == pytest.approx(2 ** (np.arange(1, FRETS + 1) / 19))


def test_notes_that_were_not_read_are_left_out():
    noise = np.random.default_rng(4).normal(0, 0.05, (STRINGS, FRETS))
    whole = inspection("A", noise_cents=noise, u_cents=0.05, frets=FRETS)
    unread = {"deviation_cents": None, "plucked_cents": None}
    frets = [f.model_copy(update=unread) if f.fret == 2 and f.string > 1 else f for f in whole.frets]
    found = slots_of(whole.model_copy(update={"frets": frets}))
    assert found.position_mm == pytest.approx(np.zeros(FRETS), abs=0.1)  # fret 2 hangs on one note: 5 of its 0.02 mm
    assert np.flatnonzero(np.isnan(found.tilt_mm)).tolist() == [1]


def test_an_inspection_without_diagnosis_is_refused():
    document = inspection("A")
    undiagnosed = [f.model_copy(update={"expected_cents": None}) for f in document.frets]
    with pytest.raises(DiagnosisRefusedError, match="no diagnosed notes"):
        slots_of(document.model_copy(update={"frets": undiagnosed}))
    lonely = slots_of(document.model_copy(update={"frets": [f for f in document.frets if f.string == 1]}))
    assert np.all(np.isnan(lonely.tilt_mm))
