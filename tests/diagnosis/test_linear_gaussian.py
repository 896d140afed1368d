"""The linear engine against published fits and marginal likelihoods, and the fault sums against brute force.

Sources and status (READ, MEMORY, CALC) stand with each entry of tests/reference/diagnosis_examples.json.
"""

from __future__ import annotations

import itertools
import json
import math
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from fretcheck.diagnosis.infer.fault_sets import Ways, evidences, weigh
from fretcheck.diagnosis.infer.linear_gaussian import LinearGaussian
from fretcheck.diagnosis.model.parameters import Botch, Fault, Key

REFERENCE = Path(__file__).parent.parent / "reference"
EXAMPLES = json.loads((REFERENCE / "diagnosis_examples.json").read_text(encoding="utf-8"))


def table(name: str) -> NDArray[np.float64]:
    return np.loadtxt(REFERENCE / name, delimiter=",", skiprows=1)


@pytest.mark.parametrize(("which", "rows"), [("pts5_20", slice(4, None)), ("all", slice(None))])
def test_weighted_straight_line(which: str, rows: slice) -> None:
    # D. W. Hogg, J. Bovy & D. Lang, arXiv:1008.4686, exercises 1 and 2: data READ, results MEMORY and recomputed. Their fit has
    # no prior; ours is a million wide. Tolerance: half a unit of the last printed digit (2.24 ± 0.11, 34 ± 18).
    x, y, noise = table("hogg2010.csv")[rows].T
    fit = LinearGaussian.from_spreads(
        y=y, design=np.column_stack([x, np.ones_like(x)]), noise=noise, prior_mean=[0.0, 0.0], prior_spread=[1e4, 1e6]
    )
    expected = EXAMPLES["hogg2010"][which]
    u = np.sqrt(np.diag(fit.covariance))
    assert fit.mean[0] == pytest.approx(expected["m"], abs=0.006)
    assert fit.mean[1] == pytest.approx(expected["b"], abs=0.51)
    assert u[0] == pytest.approx(expected["sm"], abs=0.006)
    assert u[1] == pytest.approx(expected["sb"], abs=0.51)
    chi2 = float(np.sum(((y - fit.mean[0] * x - fit.mean[1]) / noise) ** 2))
    assert chi2 == pytest.approx(expected["chi2"], abs=0.006)


def radiata(column: int, sigma: float) -> LinearGaussian:
    """Strength of radiata pine by density (or by adjusted density), with the example's priors."""
    data = table("radiata_pine_42.csv")
    x = data[:, column] - np.mean(data[:, column])
    return LinearGaussian.from_spreads(
        y=data[:, 0],
        design=np.column_stack([np.ones_like(x), x]),
        noise=sigma,
        prior_mean=[3000.0, 185.0],
        prior_spread=[1e3, 1e2],
    )


@pytest.mark.parametrize("model", [0, 1])
def test_marginal_likelihood_with_known_scatter(model: int) -> None:
    # Radiata pine, σ = 300 (CALC outside this project), to the digits given.
    assert radiata(model + 1, 300.0).log_evidence == pytest.approx(EXAMPLES["radiata"]["known_sigma300_logZ"][model], abs=1e-7)


def test_marginal_likelihoods_and_bayes_factor() -> None:
    # Radiata pine: data and priors READ, Bayes factor 4862 MEMORY (Green & O'Hagan), log Z recomputed. σ² ~ InvGamma(3, 2·300²)
    # is integrated out over ln σ² by the trapezoid rule, which converges at once for so smooth a peak.
    shape, scale = 3.0, 2.0 * 300.0**2
    log_variance = np.linspace(math.log(100.0**2), math.log(1500.0**2), 400)
    log_prior = shape * math.log(scale) - math.lgamma(shape) - shape * log_variance - scale / np.exp(log_variance)
    log_z = []
    for model in (0, 1):
        logs = log_prior + [radiata(model + 1, math.exp(0.5 * one)).log_evidence for one in log_variance]
        peak = float(np.max(logs))
        log_z.append(peak + math.log(float(np.trapezoid(np.exp(logs - peak), log_variance))))
    assert log_z == pytest.approx(EXAMPLES["radiata"]["logZ"], abs=1e-4)
    assert math.exp(log_z[1] - log_z[0]) == pytest.approx(EXAMPLES["radiata"]["BF21"], abs=1.0)


def small_problem() -> tuple[LinearGaussian, list[Fault]]:
    rng = np.random.default_rng(11)
    design = rng.standard_normal((9, 4))
    sound = LinearGaussian.from_spreads(
        y=design @ [0.1, 2.0, 0.0, -0.2] + 0.3 * rng.standard_normal(9),
        design=design,
        noise=0.3,
        prior_mean=np.zeros(4),
        prior_spread=np.full(4, 0.2),
    )
    faults = [
        Fault(cause="fret_position", key=Key(kind="a"), columns=(0,), ways=(Botch(share=0.1, spread=1.5),)),
        Fault(
            cause="nut_height",
            key=Key(kind="b"),
            columns=(1,),
            ways=(Botch(share=0.2, spread=1.0, toward=0.7), Botch(share=0.1, spread=0.4, toward=-0.6)),
        ),
        Fault(cause="string", key=Key(kind="c"), columns=(2, 3), ways=(Botch(share=0.05, spread=0.8),)),
    ]
    return sound, faults


def test_fault_sets_against_dense_normal_densities() -> None:
    # The same sums by scipy's multivariate normal, each set's prior written out in full. Tolerance: rounding.
    from scipy.stats import multivariate_normal

    sound, faults = small_problem()
    weighed = weigh(sound, Ways.of(faults))
    direct = {}
    for ways in itertools.product(*((None, *fault.ways) for fault in faults)):
        mean, covariance = sound.prior_mean.copy(), sound.prior_covariance.copy()
        log_share = 0.0
        for fault, way in zip(faults, ways, strict=True):
            log_share += math.log(1.0 - sum(one.share for one in fault.ways) if way is None else way.share)
            for column in fault.columns if way is not None else ():
                mean[column] += way.toward
                covariance[column, column] += way.spread**2
        total = sound.design @ covariance @ sound.design.T + sound.noise
        gain = covariance @ sound.design.T @ np.linalg.inv(total)
        direct[ways] = (
            log_share + float(multivariate_normal(sound.design @ mean, total).logpdf(sound.y)),
            mean + gain @ (sound.y - sound.design @ mean),
            covariance - gain @ sound.design @ covariance,
        )
    ordered = sorted(direct, key=lambda ways: -direct[ways][0])
    for one, log_weight, ways in zip(weighed.sets, weighed.log_weights, ordered, strict=False):
        assert one.faults == tuple(number for number, way in enumerate(ways) if way is not None)
        assert log_weight - weighed.log_weights[0] == pytest.approx(direct[ways][0] - direct[ordered[0]][0], abs=1e-9)
        assert one.mean == pytest.approx(direct[ways][1], abs=1e-9)
        assert sound.covariance + one.root @ one.root.T == pytest.approx(direct[ways][2], abs=1e-9)
    # Sets three nepers behind are not grown further: what that leaves out of the sum stays below a thousandth.
    evidence = math.log(sum(math.exp(value[0]) for value in direct.values()))
    assert weighed.log_evidence == pytest.approx(evidence, abs=1e-3)


def test_evidences_of_given_sets_against_dense_normal_densities() -> None:
    # Sums over a few sets only, each set's prior written out in full, by scipy's multivariate normal. Tolerance: rounding.
    from scipy.stats import multivariate_normal

    sound, faults = small_problem()
    sounds = [sound, sound.with_noise(sound.noise + 0.2), sound.with_noise(3.0 * sound.noise)]
    ways = [(number, one) for number, fault in enumerate(faults) for one in fault.ways]
    sets = [(0,), (2,), (1, 3)]
    direct = []
    for one in sounds:
        logs = []
        for chosen in [(), *sets]:
            there = [ways[number] for number in chosen]
            mean, covariance = one.prior_mean.copy(), one.prior_covariance.copy()
            absent = [fault for number, fault in enumerate(faults) if number not in [number for number, _ in there]]
            log_share = sum(math.log(way.share) for _, way in there)
            log_share += sum(math.log(1.0 - sum(way.share for way in fault.ways)) for fault in absent)
            for number, way in there:
                for column in faults[number].columns:
                    mean[column] += way.toward
                    covariance[column, column] += way.spread**2
            total = one.design @ covariance @ one.design.T + one.noise
            logs.append(log_share + float(multivariate_normal(one.design @ mean, total).logpdf(one.y)))
        direct.append(math.log(sum(map(math.exp, logs))))
    assert evidences(sounds, Ways.of(faults), sets) == pytest.approx(direct, abs=1e-9)


def test_another_noise_makes_a_problem_of_its_own() -> None:
    sound, _ = small_problem()
    before = sound.log_evidence  # what the first has worked out must not stay in the second
    noise = sound.noise + np.outer(np.linspace(0.1, 0.5, 9), np.linspace(0.1, 0.5, 9))
    other = sound.with_noise(noise)
    fresh = LinearGaussian(
        y=sound.y, design=sound.design, noise=noise, prior_mean=sound.prior_mean, prior_covariance=sound.prior_covariance
    )
    assert other.log_evidence == pytest.approx(fresh.log_evidence, abs=1e-12)  # rounding, here and below
    assert other.mean == pytest.approx(fresh.mean, abs=1e-12)
    assert other.covariance == pytest.approx(fresh.covariance, abs=1e-12)
    assert abs(other.log_evidence - before) > 0.1
    assert sound.log_evidence == before
