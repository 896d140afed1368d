"""REML against published fits and statsmodels."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from fretcheck.errors import DiagnosisRefusedError, UsageError
from fretcheck.lots.variance_components import fit_components
from tests.lots.reference import EXAMPLES, rows


def codes(labels: list[str]) -> np.ndarray:
    return np.unique(labels, return_inverse=True)[1]


def one_factor(name: str):
    table = rows(f"{name}.csv")
    y = np.array([float(row["Yield"]) for row in table])
    return fit_components(y, fixed=np.ones((len(y), 1)), factors={"batch": codes([row["Batch"] for row in table])})


def test_dyestuff():
    example, found = EXAMPLES["dyestuff"], one_factor("dyestuff")
    assert found.variances["batch"] == pytest.approx(example["REML"]["batch"], abs=0.01)
    assert found.variances["residual"] == pytest.approx(example["REML"]["resid"], abs=0.01)
    assert found.criterion == pytest.approx(example["REML"]["crit"], abs=1e-6)
    assert found.predicted["batch"] == pytest.approx(example["blup"], abs=1e-3)
    assert found.at_boundary == ()


def test_dyestuff2_lies_on_the_boundary():
    example, found = EXAMPLES["dyestuff2"], one_factor("dyestuff2")
    assert found.variances["batch"] == example["REML"]["batch"] == 0
    assert found.at_boundary == ("batch",)
    assert found.variances["residual"] == pytest.approx(example["REML"]["resid"], abs=5e-5)
    assert found.criterion == pytest.approx(example["REML"]["crit"], abs=5e-4)


def test_penicillin_crossed():
    example, table = EXAMPLES["penicillin"], rows("penicillin.csv")
    y = np.array([float(row["diameter"]) for row in table])
    factors = {name: codes([row[name] for row in table]) for name in ("plate", "sample")}
    found = fit_components(y, fixed=np.ones((len(y), 1)), factors=factors)
    assert found.scatter("plate") == pytest.approx(example["REML_sd"]["plate"], abs=5e-5)
    assert found.scatter("sample") == pytest.approx(example["REML_sd"]["sample"], abs=5e-5)
    assert found.scatter("residual") == pytest.approx(example["REML_sd"]["resid"], abs=5e-5)
    assert found.criterion == pytest.approx(example["crit"], abs=5e-5)
    assert found.fixed[0] == pytest.approx(example["mean"], abs=5e-6)


def unbalanced(rng: np.random.Generator):
    neck = np.repeat(np.arange(12), rng.integers(3, 9, 12))
    fret = rng.integers(0, 4, len(neck))
    y = 0.1 * fret + rng.normal(0, 0.3, 12)[neck] + rng.normal(0, 0.2, len(neck))
    return y, neck, np.eye(4)[fret]


def test_unbalanced_fit_agrees_with_an_independent_library():
    """statsmodels' MixedLM, REML, on unbalanced data with fixed effects."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from statsmodels.regression.mixed_linear_model import MixedLM

        y, neck, fixed = unbalanced(np.random.default_rng(11))
        other = MixedLM(y, fixed, groups=neck).fit(reml=True, method="powell", xtol=1e-10, ftol=1e-12)
    found = fit_components(y, fixed=fixed, factors={"neck": neck})
    assert found.fixed == pytest.approx(other.fe_params, abs=1e-5)
    assert np.sqrt(np.diag(found.fixed_covariance)) == pytest.approx(other.bse_fe, rel=1e-3)
    assert found.variances["neck"] == pytest.approx(float(np.squeeze(other.cov_re)), rel=2e-3)
    assert found.variances["residual"] == pytest.approx(float(other.scale), rel=2e-3)


def test_known_uncertainty_against_the_dense_formula():
    """The restricted likelihood with known variances, evaluated as V = ZDZ' + diag(u²) + σ²I by plain linear algebra."""
    rng = np.random.default_rng(5)
    y, neck, fixed = unbalanced(rng)
    u = rng.uniform(0.05, 0.3, len(y))
    y = y + rng.normal(0, u)
    found = fit_components(y, fixed=fixed, factors={"neck": neck}, known_u=u)

    def criterion(of_neck: float, residual: float) -> float:
        v = of_neck * (neck[:, None] == neck) + np.diag(u**2 + residual)
        inverse = np.linalg.inv(v)
        information = fixed.T @ inverse @ fixed
        left = y - fixed @ np.linalg.solve(information, fixed.T @ inverse @ y)
        parts = np.linalg.slogdet(v)[1] + np.linalg.slogdet(information)[1] + left @ inverse @ left
        return float(parts + (len(y) - 4) * np.log(2 * np.pi))

    best = (found.variances["neck"], found.variances["residual"])
    assert found.criterion == pytest.approx(criterion(*best), abs=1e-8)
    for factor in (0.8, 1.25):
        assert criterion(best[0] * factor, best[1]) > found.criterion
        assert criterion(best[0], best[1] * factor) >= found.criterion


def test_fits_without_room_are_refused():
    with pytest.raises(DiagnosisRefusedError, match="no scatter to be seen"):
        fit_components(np.ones(2), fixed=np.eye(2), factors={"neck": np.array([0, 1])})
    with pytest.raises(DiagnosisRefusedError, match="never read"):
        fit_components(np.arange(4.0), fixed=np.ones((4, 2)), factors={"neck": np.array([0, 0, 1, 1])})
    with pytest.raises(DiagnosisRefusedError, match="agree exactly"):
        fit_components(np.ones(4), fixed=np.ones((4, 1)), factors={"neck": np.array([0, 0, 1, 1])})


def test_blocks_and_patterns_change_nothing_but_the_time():
    """The same model in one block and in blocks; a pattern against the dense formula."""
    rng = np.random.default_rng(9)
    y, neck, fixed = unbalanced(rng)
    slope = rng.uniform(0.5, 1.5, len(y))
    y = y + slope * rng.normal(0, 0.3, 12)[neck]
    arguments = {"fixed": fixed, "factors": {"neck": neck, "slope": neck}, "patterns": {"slope": slope}}
    whole, split = fit_components(y, **arguments), fit_components(y, **arguments, blocks=neck)
    assert split.criterion == pytest.approx(whole.criterion, abs=1e-7)
    assert split.predicted["slope"] == pytest.approx(whole.predicted["slope"], abs=1e-4)
    same = neck[:, None] == neck
    v = whole.variances["neck"] * same + whole.variances["slope"] * same * np.outer(slope, slope)
    v = v + whole.variances["residual"] * np.eye(len(y))
    inverse = np.linalg.inv(v)
    information = fixed.T @ inverse @ fixed
    left = y - fixed @ np.linalg.solve(information, fixed.T @ inverse @ y)
    parts = np.linalg.slogdet(v)[1] + np.linalg.slogdet(information)[1] + left @ inverse @ left
    assert whole.criterion == pytest.approx(float(parts + (len(y) - 4) * np.log(2 * np.pi)), abs=1e-7)
    with pytest.raises(UsageError, match="two blocks"):
        fit_components(y, **arguments, blocks=np.arange(len(y)) % 2)
