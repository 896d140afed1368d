"""Mixtures of normal distributions: quantiles and marginals against brute force."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from fretcheck.diagnosis.infer.linear_gaussian import LinearGaussian
from fretcheck.diagnosis.infer.posterior import Component, Marginals, Posterior

SIZE = 5


def mixture() -> Marginals:
    """Two spikes far apart beside each other, one of them a millionth wide; a lone normal; three that overlap."""
    return Marginals(
        weights=np.array([0.45, 0.35, 0.2]),
        means=np.array([[0.0, 1.5, -0.3], [3.0, 1.5, 0.0], [3.0, 1.5, 2.0]]),
        spreads=np.array([[1e-6, 0.4, 1.0], [0.5, 0.4, 0.2], [0.5, 0.4, 3.0]]),
    )


@pytest.mark.parametrize("share", [0.001, 0.05, 0.3, 0.44, 0.46, 0.5, 0.95, 0.999])
def test_quantiles_are_roots_of_the_distribution_function(share: float) -> None:
    # Root of the mixture's distribution function by scipy. Tolerance: the ten-millionth of a standard deviation of the docstring,
    # with room for the last step's own rounding.
    from scipy.optimize import brentq
    from scipy.stats import norm

    made = mixture()
    found = made.quantile(share)
    for number in range(3):
        means, spreads = made.means[:, number], made.spreads[:, number]

        def beyond(x: float, means: np.ndarray = means, spreads: np.ndarray = spreads) -> float:
            return float(made.weights @ norm.cdf(x, means, spreads)) - share

        root = brentq(beyond, -50.0, 50.0, xtol=1e-13, rtol=1e-14)
        assert found[number] == pytest.approx(root, abs=3e-7 * float(made.u[number]))


def posterior() -> Posterior:
    """Components of none, one and three faults, over two sound necks."""
    rng = np.random.default_rng(5)
    sounds = [
        LinearGaussian.from_spreads(
            y=rng.standard_normal(4),
            design=rng.standard_normal((4, SIZE)),
            noise=0.4,
            prior_mean=np.zeros(SIZE),
            prior_spread=spread,
        )
        for spread in (np.full(SIZE, 0.3), np.full(SIZE, 1.0))
    ]
    faults = ((), (3,), (0, 2, 3), (), (1,))
    components = tuple(
        Component(
            weight=weight, mean=rng.standard_normal(SIZE), sound=sounds[number % 2], root=rng.standard_normal((SIZE, len(there))),
            faults=there,
        )
        for number, (weight, there) in enumerate(zip((0.4, 0.25, 0.2, 0.1, 0.05), faults, strict=True))
    )  # fmt: skip
    nothing: Any = None  # of the neck, which marginals do not need
    return Posterior(
        model=nothing, components=components, combined=nothing, hand=nothing, layout=(), rule=nothing, field=nothing, own=nothing,
        scatter=nothing, heard=nothing, rough=nothing,
    )  # fmt: skip


@pytest.mark.parametrize("given", [None, 3])
def test_marginals_of_components_with_different_numbers_of_faults(given: int | None) -> None:
    # One component after the other, its covariance written out. Tolerance: rounding.
    made, rows = posterior(), np.random.default_rng(6).standard_normal((3, SIZE))
    found = made.of(rows, given=given)
    weights = np.array([one.weight * (given is None or given in one.faults) for one in made.components])
    assert found.weights == pytest.approx(weights / weights.sum(), abs=1e-12)
    for number, one in enumerate(made.components):
        covariance = rows @ (one.sound.covariance + one.root @ one.root.T) @ rows.T
        assert found.means[number] == pytest.approx(rows @ one.mean, abs=1e-12)
        assert found.spreads[number] == pytest.approx(np.sqrt(np.diag(covariance)), abs=1e-12)
    mean = weights @ np.array([rows @ one.mean for one in made.components]) / weights.sum()
    assert found.mean == pytest.approx(mean, abs=1e-12)


def test_covariance_of_components_with_different_numbers_of_faults() -> None:
    made = posterior()
    mean = sum(one.weight * one.mean for one in made.components)
    parts = [
        one.weight * (one.sound.covariance + one.root @ one.root.T + np.outer(one.mean - mean, one.mean - mean))
        for one in made.components
    ]
    assert made.covariance == pytest.approx(sum(parts), abs=1e-12)  # rounding
