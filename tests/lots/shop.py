"""Inspection documents of an invented shop whose slots are known, for the lots' tests."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Literal

import numpy as np

from fretcheck.diagnosis.result import CauseEstimate, Predicted, Verdict, Worst
from fretcheck.inspection.document import ConditionsPart, FretPart, InspectionDocument, NeckPart
from fretcheck.session.placed_reading import ReadingPart

MORNING = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
SCALE_MM, STRINGS = 648.0, 6
CENTS_PER_NEPER = 1200 / np.log(2)


def length_mm(fret: int) -> float:
    return float(SCALE_MM * 2 ** (-fret / 12))


def inspection(
    serial: str,
    *,
    decision: Literal["pass", "fail", "undecided"] = "pass",
    worst_cents: float = 1.0,
    operator: str | None = None,
    hours: float = 0.0,
    position_mm: np.ndarray | None = None,
    tilt_mm: np.ndarray | None = None,
    shrink: float = 1.0,
    u_cents: float = 0.4,
    limit_cents: float = 3.0,
    frets: int = 3,
    noise_cents: np.ndarray | None = None,
) -> InspectionDocument:
    """A document as a diagnosis writes it: `shrink` of each slot's true error explained by its fret, the rest unexplained.

    `position_mm` and `tilt_mm` hold the true error of frets 1 …; `noise_cents` (strings, frets) is added to what was heard.
    """
    position = np.zeros(frets) if position_mm is None else position_mm
    tilt = np.zeros(len(position)) if tilt_mm is None else tilt_mm
    frets = len(position)
    noise = np.zeros((STRINGS, frets)) if noise_cents is None else noise_cents
    parts, readings = [], []
    for string in range(1, STRINGS + 1):
        for fret in range(1, frets + 1):
            across = 1 - 2 * (string - 1) / (STRINGS - 1)
            true = (position[fret - 1] + across * tilt[fret - 1]) * CENTS_PER_NEPER / length_mm(fret)
            heard, caused = true + noise[string - 1, fret - 1], shrink * true
            parts.append(
                FretPart(
                    string=string, fret=fret, deviation_cents=heard + 0.5, plucked_cents=heard + 0.5, u_cents=u_cents,
                    expected_cents=0.5,
                    unexplained_cents=heard - caused, caused_cents=caused, plucks=1,
                )
            )  # fmt: skip
            readings.append(
                ReadingPart(
                    string=string, fret=fret, f1_hz=220.0, target_hz=220.0, deviation_cents=heard + 0.5, u_cents=0.05,
                    length_expected_mm=length_mm(fret), length_equivalent_error_mm=0.0, start_s=1.0, used=True, flags=[],
                )
            )  # fmt: skip
    causes = [
        CauseEstimate(cause=kind, fret=fret, string=None, value=float(shrink * values[fret - 1]), u=0.05, interval_90=(-1, 1),
                  probability=0.1, practical_size=0.1, unit="mm")
        for kind, values in (("fret_position", position), ("fret_tilt", tilt))
        for fret in range(1, frets + 1)
    ]  # fmt: skip
    return InspectionDocument(
        taken_at=(MORNING + timedelta(hours=hours)).isoformat(),
        neck=NeckPart(name="Walnut tenor", serial=serial),
        readings=readings,
        frets=parts,
        findings=[],
        corrections=[],
        causes=causes,
        predicted_after=Predicted(worst_cents=None),
        verdict=Verdict(
            decision=decision,
            limit_cents=limit_cents,
            worst=Worst(string=1, fret=1, deviation_cents=-worst_cents, probability_conforming=0.5),
        ),
        warnings=[],
        conditions=ConditionsPart(operator=operator),
    )
