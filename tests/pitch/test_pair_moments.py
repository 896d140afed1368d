"""The sums over time say what the frames themselves say: cost, amplitudes, derivatives, against direct sums and differences."""

from __future__ import annotations

import numpy as np
import pytest

from fretcheck.pitch.pair_model import COUNT, LEVEL, U_LOG_LEVEL, PairProblem
from fretcheck.pitch.pair_moments import PairMoments, with_amplitudes
from fretcheck.pitch.turns import turning_and_power

BANDS, FRAMES = 5, 61


@pytest.fixture
def problem():
    rng = np.random.default_rng(4)
    ratio = 1.0 + 0.3 * (rng.standard_normal((FRAMES, BANDS)) + 1j * rng.standard_normal((FRAMES, BANDS)))
    return PairProblem(
        time=0.02 + 0.023 * np.arange(FRAMES),
        ratio=ratio,
        weight=rng.uniform(0.5, 40.0, (FRAMES, BANDS)),
        guess=np.ones((FRAMES, BANDS), complex),
        decay_per_s=np.ones(BANDS),
        prior_decay=rng.uniform(0.1, 1.0, BANDS),
    )


@pytest.fixture
def state():
    rng = np.random.default_rng(9)
    return rng.normal(0.0, 0.4, (COUNT, BANDS)) + np.array([0, 0, 0.5, 0, 0.3, 0.2, 2.0, 0])[:, None]


def direct_cost(problem, state):
    """χ² from the planes as they stand in the frames, with the weak knowledge of level and decay."""
    first, second = problem.planes(state)
    log_level = np.log((np.hypot(state[4], state[5]) + 1e-6) / LEVEL) / U_LOG_LEVEL
    left = np.sum(problem.weight * np.abs(problem.ratio - first - second) ** 2, axis=0)
    return left + log_level**2 + problem.prior_decay * state[7] ** 2


def test_cost_is_that_of_the_frames(problem, state):
    assert PairMoments.of(problem, state).cost(state) == pytest.approx(direct_cost(problem, state), rel=1e-10)


def test_gradient_is_that_of_the_cost(problem, state):
    _, wanted = PairMoments.of(problem, state).normal_equations(state)
    for parameter in range(COUNT):
        step = np.zeros((COUNT, 1))
        step[parameter] = 1e-6
        slope = (direct_cost(problem, state + step) - direct_cost(problem, state - step)) / 2e-6
        np.testing.assert_allclose(wanted[:, parameter], -0.5 * slope, rtol=1e-5, atol=1e-5)


def test_normal_matrix_is_that_of_numerical_derivatives(problem, state):
    normal, _ = PairMoments.of(problem, state).normal_equations(state)

    def residuals(at):
        root = np.sqrt(problem.weight)
        first, second = problem.planes(at)
        left = (problem.ratio - first - second) * root
        prior = np.stack([np.log((np.hypot(at[4], at[5]) + 1e-6) / LEVEL) / U_LOG_LEVEL, np.sqrt(problem.prior_decay) * at[7]])
        return np.concatenate([left.real, left.imag, prior])

    columns = []
    for parameter in range(COUNT):
        step = np.zeros((COUNT, 1))
        step[parameter] = 1e-6
        columns.append((residuals(state + step) - residuals(state - step)) / 2e-6)
    jacobian = np.stack(columns)  # (parameters, residuals, bands)
    np.testing.assert_allclose(normal, np.einsum("irp,jrp->pij", jacobian, jacobian), rtol=1e-5, atol=1e-4)


def test_no_other_amplitudes_fit_better(problem, state):
    moments = PairMoments.of(problem, state)
    c0, c2 = moments.amplitudes()
    least = moments.misfit(c0, c2)
    for change in (0.01, -0.01, 0.01j, -0.01j):
        assert np.all(moments.misfit(c0 + change, c2) > least)
        assert np.all(moments.misfit(c0, c2 + change) > least)
    solved = with_amplitudes(state, c0, c2)
    first, second = problem.planes(solved)
    np.testing.assert_allclose(np.sum(problem.weight * np.abs(problem.ratio - first - second) ** 2, axis=0), least, rtol=1e-10)


@pytest.mark.parametrize("count", [2, 3, 16, 61, 100])
def test_turning_is_the_exponential(count):
    rate = np.array([-0.5 + 3j, 2j, -4.0 - 40j])
    time = 0.03 + 0.011 * np.arange(count)
    turning, power = turning_and_power(rate, time)
    np.testing.assert_allclose(turning, np.exp(np.outer(time, rate)), rtol=1e-12)
    np.testing.assert_allclose(power, np.exp(2.0 * np.outer(time, rate.real)), rtol=1e-12)
