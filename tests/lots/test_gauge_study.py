"""Gauge study against the GUM, a published study, an independent library and simulation."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from fretcheck.errors import DiagnosisRefusedError
from fretcheck.lots.gauge.gauge_study import gauge_study, scatter
from tests.lots.reference import EXAMPLES


def test_gum_h5_by_one_operator():
    """Ten days of five readings with the GUM's means and standard deviations: the days take the necks' place."""
    example = EXAMPLES["gum_h5"]
    pattern = np.array([-2.0, -1.0, 0.0, 1.0, 2.0])
    pattern /= pattern.std(ddof=1)
    values = np.array([v * 1e6 + s * pattern for v, s in zip(example["V"], example["s_uV"], strict=True)])  # µV
    found = gauge_study(values[:, None, :, None], [1], [1])
    assert found.repeatability.cents == pytest.approx(example["out"]["s_within_uV"], abs=0.5)
    assert found.between_parts_cents == pytest.approx(example["out"]["sB_uV_recomputed"], abs=0.05)
    assert found.reproducibility is None
    assert found.gauge == found.repeatability


def test_published_gauge_study_and_its_intervals():
    """Ten parts, three operators, three repeats; the study pools operators × parts with the repeats."""
    squares, example = EXAMPLES["published_gauge_study"]["SS"], EXAMPLES["published_gauge_study"]
    error, operator = (squares["int"] + squares["rep"]) / 78, squares["oper"] / 2
    for name, terms, rel in (
        ("EV", [(error, 78)], 3e-3),  # exact chi-square, printed to 3 decimals
        # modified large samples with 2 degrees of freedom: variants of the method, and other methods, differ by about 1 %
        ("AV", [(operator / 30, 2), (-error / 30, 78)], 0.015),
        ("GRR", [(operator / 30, 2), (error * 29 / 30, 78)], 0.015),
    ):
        found = scatter(terms, 0.90)
        assert found.cents == pytest.approx(example["sd"][name], abs=5e-6)
        assert found.interval == pytest.approx(example["CI90"][name], rel=rel)


def test_one_note_agrees_with_an_independent_library():
    """statsmodels' two-way analysis of variance of the same readings, and what the textbook makes of its mean squares."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pandas as pd
        from statsmodels.formula.api import ols
        from statsmodels.stats.anova import anova_lm
    rng = np.random.default_rng(2)
    values = rng.normal(size=(7, 3, 2)) + rng.normal(size=(7, 1, 1)) + 2.0 * rng.normal(size=(1, 3, 1))
    part, operator, _ = np.meshgrid(range(7), range(3), range(2), indexing="ij")
    frame = pd.DataFrame({"y": values.ravel(), "part": part.ravel(), "operator": operator.ravel()})
    table = anova_lm(ols("y ~ C(part) * C(operator)", frame).fit())
    of_part, of_operator, crossed, repeat = table["mean_sq"]
    found = gauge_study(values[..., None], [1], [1])
    assert found.repeatability.cents == pytest.approx(repeat**0.5, rel=1e-9)
    assert found.reproducibility.cents**2 == pytest.approx((of_operator - crossed) / 14 + (crossed - repeat) / 2, rel=1e-9)
    assert found.between_parts_cents**2 == pytest.approx(max(0.0, (of_part - crossed) / 6), rel=1e-9)
    assert found.distinct_categories == int(2**0.5 * found.between_parts_cents / found.gauge.cents)


STRINGS, FRETS = np.repeat(np.arange(4), 6).tolist(), list(range(6)) * 4
OF_INSPECTION, OF_STRING, OF_NOTE, OF_OPERATOR = 0.3, 0.2, 0.5, 0.4


def simulated(rng):
    """Five necks, three operators, two repeats; the inspection's and the operator's shift are larger at the low frets."""
    pressed = np.exp(-np.array(FRETS) / 3)
    pressed /= np.mean(pressed**2) ** 0.5
    values = OF_INSPECTION * rng.normal(size=(5, 3, 2, 1)) * pressed + OF_OPERATOR * rng.normal(size=(1, 3, 1, 1)) * pressed
    return values + np.repeat(OF_STRING * rng.normal(size=(5, 3, 2, 4)), 6, axis=-1) + OF_NOTE * rng.normal(size=(5, 3, 2, 24))


def test_what_one_inspection_shifts_together_is_told_and_the_intervals_hold_the_truth():
    """300 simulated studies. 90 % are wanted within 5; the standard error is 1.7, and three of these are left. Between operators,
    whose two degrees of freedom make the interval wide, more may be held."""
    rng = np.random.default_rng(3)
    again = (OF_INSPECTION**2 + OF_STRING**2 + OF_NOTE**2) ** 0.5
    truth = {
        "repeatability": again, "of_inspection": OF_INSPECTION, "of_string": OF_STRING, "of_note": OF_NOTE,
        "reproducibility": OF_OPERATOR, "gauge": (again**2 + OF_OPERATOR**2) ** 0.5,
    }  # fmt: skip
    held, square = dict.fromkeys(truth, 0), dict.fromkeys(truth, 0.0)
    for _ in range(300):
        values = simulated(rng)
        found = gauge_study(values, STRINGS, FRETS)
        assert found.repeatability.cents**2 == pytest.approx(np.var(values, axis=2, ddof=1).mean(), rel=1e-9)  # whatever shifts
        for name, true in truth.items():
            low, high = getattr(found, name).interval
            held[name] += low <= true <= high
            square[name] += getattr(found, name).cents ** 2 / 300
    for name, true in truth.items():
        assert 0.85 - 0.05 < held[name] / 300 < 0.95 + 0.05, name
        assert square[name] == pytest.approx(true**2, rel=0.2), name  # 600 degrees of freedom between operators: 6 %, × 3


def test_studies_that_cannot_be_analysed():
    with pytest.raises(DiagnosisRefusedError, match="it takes 2 and 2"):
        gauge_study(np.zeros((2, 1, 1, 1)), [1], [1])
