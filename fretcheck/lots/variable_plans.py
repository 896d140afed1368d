"""Plans by variables: judge the lot by mean and scatter of the sample, not by counting bad necks.

Needs fewer necks than counting, but trusts that the measured value is close to normally distributed. The s-method of
MIL-STD-414: with mean x̄ and standard deviation s of the sample, the quality index is Q = (limit − x̄)/s. Method "k"
(one limit) accepts when Q ≥ k; method "M" (one or two limits) estimates the percent outside and accepts when it is at
most M.

Sources: MIL-STD-414 for the method; the table is the one matched to the code letters of MIL-STD-105E (ANSI/ASQ Z1.9).
M follows from k exactly, so only k is kept. The estimate of the percent outside is the minimum variance unbiased one,
Lieberman & Resnikoff, J. Am. Stat. Assoc. 50, 457 (1955). Plans for stated risks: non-central t (exact).

Conventions
-----------
Limits and values in one and the same unit, whichever it is. Percent where the name says `pct`, else fractions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, sqrt
from statistics import NormalDist, fmean, stdev

from fretcheck.errors import UsageError
from fretcheck.lots.attribute_plans import QUALITY_LIMITS, Severity
from fretcheck.lots.risks import StatedRisks

LARGEST_LOT = 150
LEVELS = ("S-3", "S-4", "I", "II", "III")
_LETTERS_OF_LOT = ((8, "BBBBC"), (15, "BBBBD"), (25, "BBBCE"), (50, "BBCDF"), (90, "BBDEG"), (150, "BCEFH"))
_CODE_LETTERS = "BCDEFGH"
_SAMPLE_SIZES = (3, 4, 5, 7, 10, 15, 20)
_K = (  # columns: 0.65 tightened, then QUALITY_LIMITS normal; tightened reads one column to the left; None: next row
    (None, None, None, None, 1.122, 0.9579, 0.7652),
    (None, None, 1.4553, 1.3362, 1.1736, 1.0077, 0.8148),
    (1.775, 1.6459, 1.5247, 1.4027, 1.2368, 1.0687, 0.8737),
    (1.881, 1.7475, 1.622, 1.4964, 1.3259, 1.1533, 0.9549),
    (1.9807, 1.8439, 1.7141, 1.5853, 1.4105, 1.2341, 1.0314),
    (2.0596, 1.9185, 1.786, 1.6538, 1.4753, 1.2956, 1.0899),
    (2.1016, 1.9601, 1.8259, 1.692, 1.5118, 1.3299, 1.1228),
)


@dataclass(frozen=True, kw_only=True)
class VariablePlan:
    """Measure `sample` necks; accept when the quality index reaches `k`, or the estimated percent outside is at most M."""

    sample: int
    k: float
    source: str

    @property
    def most_outside_pct(self) -> float:
        """M: the largest estimated percent outside the limits at which the lot is accepted."""
        return 100 * fraction_outside(self.k, sample=self.sample)


@dataclass(frozen=True, kw_only=True)
class VariableDecision:
    """What the sample says under a plan by variables."""

    mean: float
    scatter: float
    index_low: float | None
    index_high: float | None
    outside_low_pct: float
    outside_high_pct: float
    most_outside_pct: float
    accepted: bool

    @property
    def outside_pct(self) -> float:
        """Estimated percent of the lot outside its limits."""
        return self.outside_low_pct + self.outside_high_pct


def variable_plan(*, lot: int, aql: float, level: str = "II", severity: Severity = "normal") -> VariablePlan:
    """Standard plan by variables, s-method.

    Parameters
    ----------
    lot : int
        Necks in the lot, 2 to 150.
    aql : float
        Acceptance quality limit, percent outside: 0.65, 1.0, 1.5, 2.5, 4.0 or 6.5.
    level : {'S-3', 'S-4', 'I', 'II', 'III'}
    severity : {'normal', 'tightened'}

    Raises
    ------
    UsageError
        Outside those ranges.
    """
    if level not in LEVELS:
        raise UsageError(f"inspection level {level!r} is unknown for variables: give one of {', '.join(LEVELS)}")
    if not 2 <= lot <= LARGEST_LOT:
        raise UsageError(f"a lot of {lot} lies outside the rows kept here, 2 to {LARGEST_LOT}: state your risks instead")
    if aql not in QUALITY_LIMITS:
        limits = ", ".join(f"{limit:g}" for limit in QUALITY_LIMITS)
        raise UsageError(f"AQL {aql:g} % is not in the standard's series kept here ({limits})")
    if severity not in ("normal", "tightened"):
        raise UsageError(f"severity {severity!r} is unknown: give normal or tightened")
    letter = next(row for largest, row in _LETTERS_OF_LOT if lot <= largest)[LEVELS.index(level)]
    column = QUALITY_LIMITS.index(aql) + (1 if severity == "normal" else 0)
    row = _CODE_LETTERS.index(letter)
    while (k := _K[row][column]) is None:
        row += 1
    source = f"MIL-STD-414 s-method (Z1.9 rows), {severity}, level {level}, letter {letter}, AQL {aql:g} %"
    return VariablePlan(sample=_SAMPLE_SIZES[row], k=k, source=source)


def fraction_outside(index: float, *, sample: int) -> float:
    """Estimated fraction beyond one limit, from the quality index Q and the sample size (at least 3)."""
    from scipy.special import betainc

    if sample < 3:
        raise UsageError(f"a sample of {sample} cannot estimate a fraction outside: measure at least 3")
    x = min(1.0, max(0.0, 0.5 - 0.5 * index * sqrt(sample) / (sample - 1)))
    return float(betainc(sample / 2 - 1, sample / 2 - 1, x))


def decide_by_variables(
    values: Sequence[float], *, plan: VariablePlan, lower: float | None = None, upper: float | None = None
) -> VariableDecision:
    """Judge a sample of measured values against one or two limits.

    Raises
    ------
    UsageError
        Without a limit, with crossed limits, with a sample of another size than the plan's, or with no scatter at all.
    """
    if lower is None and upper is None:
        raise UsageError("a plan by variables needs a lower limit, an upper limit, or both")
    if lower is not None and upper is not None and lower >= upper:
        raise UsageError(f"lower limit {lower:g} is not below the upper limit {upper:g}")
    if len(values) != plan.sample:
        raise UsageError(f"{len(values)} values do not fit a plan of {plan.sample} necks: its k holds for that number only")
    mean, scatter = fmean(values), stdev(values)
    if scatter == 0:
        raise UsageError("all values are equal: a plan by variables cannot judge values without scatter, count bad necks instead")
    index_low = None if lower is None else (mean - lower) / scatter
    index_high = None if upper is None else (upper - mean) / scatter
    low = 0.0 if index_low is None else 100 * fraction_outside(index_low, sample=plan.sample)
    high = 0.0 if index_high is None else 100 * fraction_outside(index_high, sample=plan.sample)
    return VariableDecision(
        mean=mean,
        scatter=scatter,
        index_low=index_low,
        index_high=index_high,
        outside_low_pct=low,
        outside_high_pct=high,
        most_outside_pct=plan.most_outside_pct,
        accepted=low + high <= plan.most_outside_pct,
    )


def variable_plan_for_risks(*, risks: StatedRisks, scatter_known: bool = False) -> VariablePlan:
    """Smallest plan by variables (one limit) that keeps both stated risks; `risks` holds fractions outside.

    With `scatter_known` the standard deviation is taken as known from long records (normal theory), else as estimated
    from the sample (non-central t). The returned k keeps the maker's risk exactly.
    """
    if not 0 < risks.good < risks.bad < 1:
        raise UsageError(f"fractions outside must obey 0 < good ({risks.good:g}) < bad ({risks.bad:g}) < 1")
    normal = NormalDist()
    z_good, z_bad = normal.inv_cdf(1 - risks.good), normal.inv_cdf(1 - risks.bad)
    z_maker, z_buyer = normal.inv_cdf(1 - risks.makers_risk), normal.inv_cdf(1 - risks.buyers_risk)
    if scatter_known:
        sample = ceil(((z_maker + z_buyer) / (z_good - z_bad)) ** 2)
        return VariablePlan(sample=sample, k=z_good - z_maker / sqrt(sample), source="two stated risks, scatter known")
    from scipy.stats import nct

    for sample in range(3, 2001):
        root = sqrt(sample)
        k = float(nct.ppf(risks.makers_risk, sample - 1, z_good * root)) / root
        if float(nct.sf(k * root, sample - 1, z_bad * root)) <= risks.buyers_risk:
            return VariablePlan(sample=sample, k=k, source="two stated risks, scatter estimated")
    raise UsageError("no sample of up to 2000 keeps these risks: widen the gap between good and bad")
