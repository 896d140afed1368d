"""Control charts, run lengths and capability against published examples and simulation."""

from __future__ import annotations

import numpy as np
import pytest

from fretcheck.errors import DiagnosisRefusedError, UsageError
from fretcheck.lots.charts.capability import capability, capability_in_words
from fretcheck.lots.charts.charts import (
    HIGHEST_RANGE_OF_TWO,
    MEAN_RANGE_OF_TWO,
    Aim,
    aim_of,
    all_charts,
    cusum_chart,
    ewma_chart,
    individuals_chart,
    moving_range_chart,
)
from fretcheck.lots.charts.run_length import cusum_run_length, ewma_run_length, individuals_run_length
from tests.lots.reference import EXAMPLES


def test_nist_individuals():
    example = EXAMPLES["nist_individuals"]
    chart = individuals_chart(example["x"], aim_of(example["x"]))
    assert chart.centre == pytest.approx(example["mean"], abs=1e-9)
    assert chart.scatter * MEAN_RANGE_OF_TWO == pytest.approx(example["MR"], abs=5e-5)
    # the handbook divides by 1.128, the exact constant is 1.12838: 2 in the third decimal
    assert (chart.lower, chart.upper) == pytest.approx((example["LCL"], example["UCL"]), abs=2e-3)
    assert chart.signals == ()
    assert chart.provisional


def test_constants_of_the_moving_range():
    assert pytest.approx(1.1284, abs=5e-5) == MEAN_RANGE_OF_TWO  # d2, published table, READ
    assert pytest.approx(3.2663, abs=5e-4) == HIGHEST_RANGE_OF_TWO  # D4 of the same table; 3.267 in others


def test_nist_ewma():
    example = EXAMPLES["nist_ewma"]
    chart = ewma_chart(example["x"], Aim(centre=example["ewma0"], scatter=example["s"]), weight=example["lam"], limit=3)
    assert chart.line == pytest.approx(example["series"], abs=6e-3)  # printed to 2 decimals
    assert (chart.lower, chart.upper) == pytest.approx((example["LCL"], example["UCL"]), abs=1e-4)
    assert chart.signals == ()
    assert not chart.provisional


def test_nist_cusum():
    example = EXAMPLES["nist_cusum"]
    chart = cusum_chart(example["x"], Aim(centre=example["target"], scatter=1.0), allowance=example["k"], limit=example["h"])
    assert chart.line == pytest.approx(example["S_hi"], abs=6e-3)
    assert chart.lower_line == pytest.approx(example["S_lo"], abs=6e-3)
    assert chart.signals[0] + 1 == example["first_signal"]


def test_thirty_individuals_by_cusum_and_ewma():
    example = EXAMPLES["individuals_30"]
    aim = Aim(centre=10, scatter=1.0)
    cusum = cusum_chart(example["x"], aim, allowance=example["cusum"]["K"], limit=example["cusum"]["H"])
    assert cusum.line[28:] == pytest.approx((example["cusum"]["C+29"], example["cusum"]["C+30"]), abs=5e-3)
    ewma = ewma_chart(example["x"], aim, weight=example["ewma"]["lam"], limit=example["ewma"]["L"])
    expected = (example["ewma"]["z1"], example["ewma"]["z2"], example["ewma"]["z29"])
    assert (ewma.line[0], ewma.line[1], ewma.line[28]) == pytest.approx(expected, abs=5e-5)
    assert (ewma.lower, ewma.upper) == pytest.approx((example["ewma"]["LCL"], example["ewma"]["UCL"]), abs=6e-4)
    assert [i + 1 for i in ewma.signals] == example["ewma"]["ooc"]


@pytest.mark.parametrize(
    ("found", "published"),
    [  # all MEMORY: individuals, Shewhart; CUSUM, Montgomery's table of k = 1/2; EWMA, Lucas & Saccucci 1990
        (lambda: individuals_run_length(), 370.4),
        (lambda: individuals_run_length(shift=1), 43.9),
        (lambda: cusum_run_length(allowance=0.5, limit=4), 168),
        (lambda: cusum_run_length(allowance=0.5, limit=4, shift=1), 8.38),
        (lambda: cusum_run_length(allowance=0.5, limit=5), 465),
        (lambda: cusum_run_length(allowance=0.5, limit=5, shift=1), 10.4),
        (lambda: cusum_run_length(allowance=0.5, limit=5, shift=2), 4.01),
        (lambda: ewma_run_length(weight=0.1, limit=2.814), 500),
        (lambda: ewma_run_length(weight=0.1, limit=2.814, shift=1), 10.3),
        (lambda: ewma_run_length(weight=0.4, limit=3.054), 500),
        (lambda: ewma_run_length(weight=0.4, limit=3.054, shift=1), 14.3),
        (lambda: ewma_run_length(weight=1.0, limit=3.0), 370.4),
    ],
)
def test_run_lengths_published(found, published):
    assert found() == pytest.approx(published, rel=5e-3)  # published to three figures


def test_run_lengths_by_simulation():
    rng = np.random.default_rng(20)
    points = rng.normal(0.5, 1.0, size=(4000, 400))

    def first_signal(out: np.ndarray) -> float:
        assert out.any(axis=1).mean() > 0.999
        return float(np.mean(np.argmax(out, axis=1) + 1))

    average, up, down = np.zeros(4000), np.zeros(4000), np.zeros(4000)
    ewma_out, cusum_out = np.zeros(points.shape, bool), np.zeros(points.shape, bool)
    for i, point in enumerate(points.T):
        average = 0.2 * point + 0.8 * average
        up, down = np.maximum(0, up + point - 0.5), np.maximum(0, down - point - 0.5)
        ewma_out[:, i] = np.abs(average) > 2.86 * np.sqrt(0.2 / 1.8)
        cusum_out[:, i] = np.maximum(up, down) > 4
    # standard error of the mean over 4,000 runs is about 1.6 %; 4 of them
    assert ewma_run_length(weight=0.2, limit=2.86, shift=0.5) == pytest.approx(first_signal(ewma_out), rel=0.065)
    assert cusum_run_length(allowance=0.5, limit=4, shift=0.5) == pytest.approx(first_signal(cusum_out), rel=0.065)


def test_limits_from_few_points_are_provisional():
    values = [0.01 * (i % 5) for i in range(25)]
    assert all(chart.provisional for chart in all_charts(values[:19]))
    assert not any(chart.provisional for chart in all_charts(values[:20]))
    assert all(chart.provisional for chart in all_charts(values, baseline=10))


def test_a_jump_and_a_slow_wear_are_seen():
    rng = np.random.default_rng(4)
    steady = rng.normal(0, 0.02, 20)
    jump = [*steady, 0.2]
    assert individuals_chart(jump, aim_of(jump, baseline=20)).signals == (20,)
    assert moving_range_chart(jump, aim_of(jump, baseline=20)).signals == (20,)
    wear = [*steady, *(0.03 + rng.normal(0, 0.02, 15))]  # 1.5 standard deviations: hard for an individuals chart
    assert any(i >= 20 for i in ewma_chart(wear, Aim(centre=0.0, scatter=0.02)).signals)
    assert any(i >= 20 for i in cusum_chart(wear, Aim(centre=0.0, scatter=0.02)).signals)


def test_charts_refuse_what_they_cannot_show():
    with pytest.raises(DiagnosisRefusedError, match="at least 3"):
        aim_of([0.1, 0.2])
    with pytest.raises(DiagnosisRefusedError, match="values that vary"):
        aim_of([0.1, 0.1, 0.1])
    with pytest.raises(UsageError, match="needs as many"):
        aim_of([0.1, 0.2, 0.3], baseline=4)


def test_capability_indices_published():
    example = EXAMPLES["nist_capability"]
    found = capability(
        mean=example["mean"], u_mean=0.1, scatter=example["s"], freedom=49, values=50, lower=example["LSL"], upper=example["USL"]
    )
    assert (found.cp, found.cpk) == pytest.approx((example["Cp"], example["Cpk"]), abs=5e-5)


def test_capability_limits_published():
    """A scatter of 1, and limits that give the example's Cp and Cpk."""
    example = EXAMPLES["capability_limits"]
    lower, n = -3 * example["Cpk"], example["n"]
    given = {"mean": 0.0, "u_mean": n**-0.5, "scatter": 1.0, "freedom": n - 1, "values": n, "lower": lower, "confidence": 0.95}
    found = capability(**given, upper=lower + 6 * max(example["Cp"], example["Cpk"]))
    assert found.cpk_limits == pytest.approx(example["ci95"], abs=5e-3)
    assert found.cp_limits == pytest.approx(example["ci95_Cp"], abs=5e-4)


def of_values(values, *, lower, upper):
    """Capability of values whose readings scatter by nothing."""
    n, scatter = len(values), float(np.std(values, ddof=1))
    return capability(
        mean=float(np.mean(values)), u_mean=scatter / n**0.5, scatter=scatter, freedom=n - 1, values=n, lower=lower, upper=upper
    )


def test_capability_limits_cover_the_truth():
    rng = np.random.default_rng(7)
    true_cpk, covered = 1.0, 0
    for _ in range(1000):
        found = of_values(rng.normal(0.0, 1.0, 30), lower=-3.0, upper=5.0)
        covered += found.cpk_limits[0] <= true_cpk <= found.cpk_limits[1]
    assert 870 <= covered <= 930  # 3 standard errors of 900 in 1,000


def test_capability_is_refused_below_a_sensible_number():
    with pytest.raises(DiagnosisRefusedError, match="too few for a capability"):
        of_values(np.arange(19), lower=-5, upper=25)
    with pytest.raises(DiagnosisRefusedError, match="less than the readings can show"):
        capability(mean=0.0, u_mean=0.1, scatter=0.01, freedom=3.0, values=30, lower=-1, upper=1)


@pytest.mark.parametrize(("half_width", "start"), [(0.5, "the slot holds"), (0.1, "the slot does not"), (0.31, "whether")])
def test_capability_words_follow_the_limits(half_width, start):
    values = np.random.default_rng(1).normal(0, 0.1, 40)
    assert capability_in_words(of_values(values, lower=-half_width, upper=half_width), what="the slot").startswith(start)
    beyond = capability_in_words(of_values(values + 1.0, lower=-half_width, upper=half_width), what="the slot")
    assert "their mean lies beyond it" in beyond


def test_run_lengths_with_limits_from_few_points_are_those_of_simulated_shops():
    """300 shops, limits from 10 points each; their own false alarm rates beyond three standard deviations as they were
    estimated."""
    rng = np.random.default_rng(8)
    lengths = []
    for first in rng.normal(0, 1, (300, 10)):
        chart, points = individuals_chart(first, aim_of(list(first))), rng.normal(0, 1, 20000)
        lengths.append(1 / max(np.mean((points < chart.lower) | (points > chart.upper)), 1e-6))
    found = individuals_chart(first, aim_of(list(first))).run
    assert found.unlucky_on_target == pytest.approx(np.quantile(lengths, 0.1), rel=0.5)  # a tenth of 99 and of 300 shops
    assert 0.5 < found.on_target / np.median(lengths) < 2  # the median of 99 shops whose run lengths run from 10 to 10,000
    assert found.unlucky_on_target < individuals_run_length() / 4
