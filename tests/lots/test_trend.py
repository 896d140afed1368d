"""The common trend against a known one, with frets that stand out."""

from __future__ import annotations

import numpy as np
import pytest

from fretcheck.lots.trend import common_trend, trend_shapes

FRETS = list(range(1, 21))
SHAPES = trend_shapes(FRETS)
TREND = SHAPES @ np.array([0.2, -0.1, 0.15])
U = 0.01


def test_shapes_are_what_nut_saddle_and_nut_height_do():
    """1 mm of nut is even in cents, a setback of the saddle grows as γ − 1 in cents, so as (γ − 1)/γ in mm of slot."""
    gamma = 2 ** (np.array(FRETS) / 12)
    cents = SHAPES * gamma[:, None]
    assert cents[:, 0] / cents[0, 0] == pytest.approx(np.ones(20))
    assert cents[:, 1] / (gamma - 1) == pytest.approx(np.full(20, cents[0, 1] / (gamma[0] - 1)))
    assert cents[:, 2] * (gamma - 1) == pytest.approx(np.full(20, cents[0, 2] * (gamma[0] - 1)))


def test_single_frets_do_not_bend_the_trend():
    errors = TREND.copy()
    errors[[2, 6, 11]] += [0.3, 0.12, -0.5]
    found = common_trend(errors, np.eye(20) * U**2, SHAPES)
    expected = np.zeros(20)
    expected[[2, 6, 11]] = [0.3, 0.12, -0.5]
    assert found.values == pytest.approx(TREND, abs=1e-6)
    assert found.rest == pytest.approx(expected, abs=1e-6)


def test_stated_uncertainty_is_the_scatter_over_many_lots():
    """Each fret's rest over 400 simulated lots; fret 1, which alone tells much of nut height, must say how little is known."""
    rng = np.random.default_rng(3)
    found = [common_trend(TREND + rng.normal(0, U, 20), np.eye(20) * U**2, SHAPES) for _ in range(400)]
    scatter = np.std([one.rest for one in found], axis=0)
    stated = np.sqrt(np.mean([np.diag(one.covariance_of_rest) for one in found], axis=0))
    assert scatter == pytest.approx(stated, rel=0.15)  # 4 standard errors of a scatter from 400
    assert stated[0] > 2.5 * U


def test_what_the_necks_trends_share_does_not_widen_the_rest():
    errors, own = TREND + np.random.default_rng(1).normal(0, U, 20), np.eye(20) * U**2
    narrow = common_trend(errors, own, SHAPES)
    wide = common_trend(errors, own + 0.5 * SHAPES @ SHAPES.T, SHAPES)
    assert np.diag(wide.covariance_of_rest) == pytest.approx(np.diag(narrow.covariance_of_rest), rel=1e-6)
