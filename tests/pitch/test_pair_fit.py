"""Pairs of decaying sinusoids of known split and rate, made without the model's own code, are found again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fretcheck.pitch.pair_fit import fit_tied, fit_tied_near
from fretcheck.pitch.pair_model import COUNT, DECAY, SPLIT, TURN, PairProblem

FRAMES, BANDS = 150, 18
NUMBERS = np.arange(1.0, BANDS + 1.0)
STEP_S = 0.01
PRIOR_DECAY = 1.0 / 0.3**2


def beating(*, split, growth, noise, seed, trust=None):
    """Bands that all turn by 0.4 rad/s against their guess, each with a weaker second plane; and the true levels."""
    rng = np.random.default_rng(seed)
    time = 0.02 + STEP_S * np.arange(FRAMES)
    levels = rng.uniform(0.25, 0.5, BANDS) * np.exp(2j * np.pi * rng.uniform(size=BANDS))
    first = np.exp(1j * rng.uniform(-np.pi, np.pi, BANDS)) * np.exp((0.1 + 0.4j) * time[:, None])
    ratio = first * (1.0 + levels * np.exp(1j * split * NUMBERS**growth * time[:, None]))
    weight = np.full(ratio.shape, 1.0 / noise**2) * (1.0 if trust is None else trust[:, None])
    white = rng.standard_normal(ratio.shape) + 1j * rng.standard_normal(ratio.shape)
    return PairProblem(
        time=time,
        ratio=ratio + white / np.sqrt(weight),
        weight=weight,
        guess=np.ones_like(ratio),
        decay_per_s=np.ones(BANDS),
        prior_decay=np.full(BANDS, PRIOR_DECAY),
    )


@pytest.mark.parametrize(("split", "growth"), [(1.6, 0.0), (-2.5, 0.0), (0.9, 1.0), (-0.4, 1.0)])
@pytest.mark.parametrize("seed", range(4))
def test_split_and_rate_are_found(split, growth, seed):
    fit = fit_tied(beating(split=split, growth=growth, noise=0.003, seed=seed), NUMBERS)
    assert fit is not None
    assert fit.growth == growth
    # beside the noise, the weak knowledge of level and decay counts a little
    np.testing.assert_allclose(fit.state[SPLIT], split * NUMBERS**growth, rtol=0.02)
    sigma = np.sqrt(fit.covariance[:, TURN, TURN] + fit.shared[TURN] ** 2)
    assert np.all(np.abs(fit.state[TURN] - 0.4) < 5.0 * sigma)
    assert np.median(fit.cost) == pytest.approx(2.0 * FRAMES, rel=0.15)


@pytest.mark.parametrize("seed", range(3))
def test_what_is_nearly_known_leads_to_the_same_fit(seed):
    problem = beating(split=1.6, growth=0.0, noise=0.003, seed=seed)
    found = fit_tied(problem, NUMBERS)
    assert found is not None
    start = found.state.copy()
    start[TURN] += 0.05
    start[SPLIT] *= 1.05
    start[DECAY] -= 0.03
    again = fit_tied_near(problem, NUMBERS, replace(found, state=start))
    np.testing.assert_allclose(again.state[SPLIT], found.state[SPLIT], rtol=1e-3)
    assert np.sum(again.cost) == pytest.approx(np.sum(found.cost), abs=1.0)


def test_a_band_that_starts_beside_its_best_does_not_draw_the_others():
    """Twenty draws at a split of little more than a third of a cycle, where single bands do settle beside their best."""
    for seed in range(20):
        fit = fit_tied(beating(split=1.6, growth=0.0, noise=0.001, seed=100 + seed), NUMBERS)
        assert fit is not None
        assert np.max(fit.cost) < 2.0 * np.median(fit.cost), seed


def test_means_of_frames_stand_for_their_time_whatever_the_trust():
    """Where trust changes from frame to frame, as in an attack, thinned bands still fit what the whole ones do."""
    trust = np.where(np.arange(FRAMES) % 2, 1.0, 0.2)
    problem = beating(split=1.6, growth=0.0, noise=1e-4, seed=3, trust=trust)
    whole = fit_tied(problem, NUMBERS)
    assert whole is not None
    thinned = problem.thinned()
    assert len(thinned.time) == FRAMES // 2
    first, second = thinned.planes(whole.state)
    left = np.sum(thinned.weight * np.abs(thinned.ratio - first - second) ** 2, axis=0)
    assert np.median(left) == pytest.approx(2.0 * len(thinned.time), rel=0.2)
    assert whole.state.shape == (COUNT, BANDS)
