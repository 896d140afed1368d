"""Capability: how the scatter of a process compares with its tolerance, with honest limits.

Cp = (U − L)/6s compares widths only; Cpk = min(U − x̄, x̄ − L)/3s counts an off-centre process as worse. Both are
estimates: from 20 necks a Cpk of 1.33 may well be 0.9. So none is given without its confidence limits, and none at all
from fewer than 20 values (common practice, no source).

Sources: NIST/SEMATECH e-Handbook 6.1.6; limits of Cp from χ²; limits of Cpk by the normal approximation of
A. F. Bissell, J. R. Stat. Soc. C 39, 331 (1990) (from memory).

Conventions
-----------
Values and limits in one unit. Confidence limits are two-sided.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import NormalDist, fmean, stdev

from fretcheck.errors import DiagnosisRefusedError, UsageError
from fretcheck.plain_text import decimal

FEWEST_VALUES = 20


@dataclass(frozen=True, kw_only=True)
class Capability:
    """Cp and Cpk of `values` values with their confidence limits."""

    values: int
    mean: float
    scatter: float
    cp: float
    cp_limits: tuple[float, float]
    cpk: float
    cpk_limits: tuple[float, float]
    confidence: float


def capability(values: Sequence[float], *, lower: float, upper: float, confidence: float = 0.90) -> Capability:
    """Cp and Cpk with confidence limits.

    Raises
    ------
    DiagnosisRefusedError
        With fewer than 20 values, or values that do not vary.
    UsageError
        When the limits are crossed.
    """
    if len(values) < FEWEST_VALUES:
        raise DiagnosisRefusedError(
            f"{len(values)} values are too few for a capability: below {FEWEST_VALUES} its limits are too wide to act on"
        )
    mean, scatter = fmean(values), stdev(values)
    if scatter == 0:
        raise DiagnosisRefusedError("all values are equal: capability needs values that vary")
    cp, cpk = capability_indices(mean=mean, scatter=scatter, lower=lower, upper=upper)
    return Capability(
        values=len(values),
        mean=mean,
        scatter=scatter,
        cp=cp,
        cp_limits=cp_limits(cp, values=len(values), confidence=confidence),
        cpk=cpk,
        cpk_limits=cpk_limits(cpk, values=len(values), confidence=confidence),
        confidence=confidence,
    )


def capability_indices(*, mean: float, scatter: float, lower: float, upper: float) -> tuple[float, float]:
    """Cp and Cpk of a process whose mean and scatter are known."""
    if lower >= upper:
        raise UsageError(f"lower limit {lower:g} is not below the upper limit {upper:g}")
    return (upper - lower) / (6 * scatter), min(upper - mean, mean - lower) / (3 * scatter)


def cp_limits(cp: float, *, values: int, confidence: float) -> tuple[float, float]:
    """Exact confidence limits of Cp."""
    from scipy.special import chdtri

    tail = (1 - confidence) / 2
    low, high = chdtri(values - 1, 1 - tail), chdtri(values - 1, tail)
    return cp * sqrt(low / (values - 1)), cp * sqrt(high / (values - 1))


def cpk_limits(cpk: float, *, values: int, confidence: float) -> tuple[float, float]:
    """Approximate confidence limits of Cpk."""
    half = NormalDist().inv_cdf((1 + confidence) / 2) * sqrt(1 / (9 * values) + cpk**2 / (2 * (values - 1)))
    return cpk - half, cpk + half


def capability_in_words(found: Capability, *, what: str) -> str:
    """One sentence for a bench: what the process can hold, and how sure that is."""
    low, high = found.cpk_limits
    between = f"between {decimal(low)} and {decimal(high)} at {100 * found.confidence:.0f} %"
    sure = (
        f"the tolerance is {decimal(found.cpk)} times what the slots need (Cpk; 1 just holds, 1.33 is comfortable), "
        f"{between} from {found.values} values"
    )
    if low >= 1:
        return f"{what} holds its tolerance: {sure}"
    if high < 1:
        return f"{what} does not hold its tolerance: {sure}"
    return f"whether {what} holds its tolerance is open: {sure}"
