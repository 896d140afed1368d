"""The common trend against a known one, with frets that stand out."""

from __future__ import annotations

import numpy as np
import pytest

from fretcheck.lots.template.two_way import common_trend, trend_shapes

GAMMA = 2 ** (np.arange(1, 21) / 12)
SHAPES = trend_shapes(GAMMA)
TREND = SHAPES @ np.array([0.2, -0.1, 0.15])
U = 0.01


def test_shapes_are_what_nut_saddle_and_nut_height_do():
    """1 mm of nut is even in cents, a setback of the saddle grows as γ − 1 in cents, so as (γ − 1)/γ in mm of slot."""
    cents = SHAPES * GAMMA[:, None]
    assert cents[:, 0] / cents[0, 0] == pytest.approx(np.ones(20))
    assert cents[:, 1] / (GAMMA - 1) == pytest.approx(np.full(20, cents[0, 1] / (GAMMA[0] - 1)))
    assert cents[:, 2] * (GAMMA - 1) == pytest.approx(np.full(20, cents[0, 2] * (GAMMA[0] - 1)))


def test_single_frets_do_not_bend_the_trend():
    errors = TREND.copy()
    errors[[2, 6, 11]] += [0.3, 0.12, -0.5]
    found = common_trend(errors, np.full(20, U**2), SHAPES)
    expected = np.zeros(20)
    expected[[2, 6, 11]] = [0.3, 0.12, -0.5]
    assert found.rest == pytest.approx(expected, abs=1e-6)
    assert found.coefficients == pytest.approx([0.2, -0.1, 0.15], abs=1e-6)


@pytest.mark.parametrize("own", [0.0, 0.02])
def test_stated_uncertainty_is_the_scatter_over_many_lots(own):
    """Each fret's rest less its own error over 400 simulated lots, the frets' own errors independent; fret 1 must say how
    little is
    known."""
    rng = np.random.default_rng(3)
    truth = rng.normal(0, own, (400, 20))
    found = [common_trend(TREND + one + rng.normal(0, U, 20), np.full(20, U**2), SHAPES) for one in truth]
    scatter = np.std([one.rest for one in found] - truth, axis=0)
    stated = np.sqrt(np.mean([np.diag(one.covariance_of_rest) for one in found], axis=0))
    assert scatter == pytest.approx(stated, rel=0.2)  # 5 standard errors of a scatter from 400, the frets' own scatter from 17
    assert stated[0] > 2.5 * U
