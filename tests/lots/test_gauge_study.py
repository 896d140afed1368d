"""Gauge study against the GUM, a published study, an independent library and simulation."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from fretcheck.errors import DiagnosisRefusedError, UsageError
from fretcheck.lots.gauge.gauge_study import gauge_from_squares, gauge_study
from tests.lots.reference import EXAMPLES


def test_gum_h5_by_one_operator():
    """Ten days of five readings with the GUM's means and standard deviations: the days take the part's place."""
    example = EXAMPLES["gum_h5"]
    pattern = np.array([-2.0, -1.0, 0.0, 1.0, 2.0])
    pattern /= pattern.std(ddof=1)
    values = [[list(v * 1e6 + s * pattern)] for v, s in zip(example["V"], example["s_uV"], strict=True)]  # µV
    found = gauge_study(values)
    between, within = found.table
    assert found.mean == pytest.approx(example["out"]["mean"] * 1e6, abs=0.5)
    assert found.repeatability.value == pytest.approx(example["out"]["s_within_uV"], abs=0.5)
    assert between.value**0.5 / 5**0.5 == pytest.approx(example["out"]["s_days_uV"], abs=0.5)
    assert (between.freedom, within.freedom) == (9, 40)
    assert between.value / within.value == pytest.approx(example["out"]["F_recomputed_from_rounded"], abs=2e-3)
    assert found.between_parts.value == pytest.approx(example["out"]["sB_uV_recomputed"], abs=0.05)
    assert found.reproducibility is None
    assert "one operator" in found.notes[0]


def published(**options):
    squares = EXAMPLES["published_gauge_study"]["SS"]
    return gauge_from_squares(
        part_squares=squares["part"],
        operator_squares=squares["oper"],
        interaction_squares=squares["int"],
        repeat_squares=squares["rep"],
        shape=(10, 3, 3),
        **options,
    )


def test_published_gauge_study():
    example = EXAMPLES["published_gauge_study"]
    found = published()
    assert found.interaction_p == pytest.approx(example["p_int"], abs=5e-4)
    assert found.table[2].value / found.table[3].value == pytest.approx(example["F_int"], abs=5e-4)
    assert found.pooled
    assert found.repeatability.value == pytest.approx(example["sd"]["EV"], abs=5e-6)
    assert found.reproducibility.value == pytest.approx(example["sd"]["AV"], abs=5e-6)
    assert found.gauge.value == pytest.approx(example["sd"]["GRR"], abs=5e-6)
    assert found.between_parts.value == pytest.approx(example["sd"]["PV"], abs=5e-6)
    assert found.total == pytest.approx(example["sd"]["TV"], abs=5e-6)
    assert found.distinct_categories == example["ndc"]


def test_published_gauge_study_intervals():
    example = EXAMPLES["published_gauge_study"]["CI90"]
    found = published()
    assert found.repeatability.interval == pytest.approx(example["EV"], abs=6e-4)  # exact chi-square, printed to 3 decimals
    # modified large samples with 2 degrees of freedom: variants of the method differ by about 1 %
    assert found.reproducibility.interval == pytest.approx(example["AV"], rel=0.015)
    assert found.gauge.interval == pytest.approx(example["GRR"], rel=0.015)


def test_share_of_tolerance():
    found = published(tolerance=6.0)
    assert found.share_of_tolerance == pytest.approx(EXAMPLES["published_gauge_study"]["sd"]["GRR"], abs=1e-5)  # 6 s / 6


def test_sums_of_squares_agree_with_an_independent_library():
    """statsmodels' two-way analysis of variance of the same readings."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pandas as pd
        from statsmodels.formula.api import ols
        from statsmodels.stats.anova import anova_lm
    rng = np.random.default_rng(2)
    values = rng.normal(size=(7, 3, 2)) + rng.normal(size=(7, 1, 1)) + 0.3 * rng.normal(size=(1, 3, 1))
    part, operator, _ = np.meshgrid(range(7), range(3), range(2), indexing="ij")
    frame = pd.DataFrame({"y": values.ravel(), "part": part.ravel(), "operator": operator.ravel()})
    table = anova_lm(ols("y ~ C(part) * C(operator)", frame).fit())
    found = gauge_study(values.tolist())
    assert [line.sum_of_squares for line in found.table] == pytest.approx(list(table["sum_sq"]), rel=1e-9)
    assert [line.freedom for line in found.table] == list(table["df"])
    assert found.interaction_p == pytest.approx(table["PR(>F)"].iloc[2], rel=1e-9)


def test_intervals_cover_the_truth():
    """600 simulated studies of 10 parts, 4 operators, 3 repeats; 90 % ± 4 standard errors, the method being approximate."""
    rng = np.random.default_rng(3)
    truth = {"repeatability": 0.3, "reproducibility": (0.25 + 0.16) ** 0.5, "gauge": 0.5**0.5, "between_parts": 1.0}
    covered = dict.fromkeys(truth, 0)
    for _ in range(600):
        cells = rng.normal(0, 1, 10)[:, None] + rng.normal(0, 0.5, 4)[None] + rng.normal(0, 0.4, (10, 4))
        found = gauge_study((cells[:, :, None] + rng.normal(0, 0.3, (10, 4, 3))).tolist())
        for name, true in truth.items():
            low, high = getattr(found, name).interval
            covered[name] += low <= true <= high
    for name, count in covered.items():
        assert 510 <= count <= 570, name


def test_studies_that_cannot_be_analysed():
    with pytest.raises(UsageError, match="not balanced"):
        gauge_study([[[1.0, 2.0]], [[1.0]]])
    with pytest.raises(DiagnosisRefusedError, match="2 parts and 2 repeats"):
        gauge_study([[[1.0], [1.0]], [[1.0], [2.0]]])
