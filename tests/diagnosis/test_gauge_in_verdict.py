"""What a gauge study found widens the uncertainty that the verdict goes by."""

from __future__ import annotations

import math

import pytest

from fretcheck.diagnosis.diagnose import diagnose
from fretcheck.diagnosis.settings import DiagnosisSettings
from tests.diagnosis.necks import heard_on, steel_neck


def test_scatter_between_inspections_is_added_in_quadrature() -> None:
    neck = steel_neck(frets=5)
    _, observations = heard_on(neck, seed=4)
    plain = diagnose(neck, observations)
    wide = diagnose(neck, observations, settings=DiagnosisSettings(gauge_repeatability_cents=1.5))
    for before, after in zip(plain.notes, wide.notes, strict=True):
        assert after.u_cents == pytest.approx(math.hypot(before.u_cents, 1.5))
        assert after.deviation_cents == before.deviation_cents
    sure = [n for n in plain.notes if n.decision != "undecided"]
    still = [n for n in wide.notes if n.decision != "undecided"]
    assert len(still) < len(sure)
