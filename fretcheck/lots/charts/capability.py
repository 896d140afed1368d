"""Capability: how the scatter of a process compares with its tolerance, with honest limits.

Cp = (U − L)/6s compares widths only; Cpk = min(U − x̄, x̄ − L)/3s counts an off-centre process as worse. Both are
estimates: from 20 necks a Cpk of 1.33 may well be 0.9. So none is given without its confidence limits, and none at all
from fewer than 20 values (common practice, no source). The scatter is that of the slots themselves, the readings' taken out.

Sources: NIST/SEMATECH e-Handbook 6.1.6; limits of Cp from χ²; limits of Cpk by the normal approximation of
A. F. Bissell, J. R. Stat. Soc. C 39, 331 (1990) (from memory).

Conventions: values and limits in one unit. Confidence limits are two-sided.
"""

from dataclasses import dataclass
from math import sqrt
from statistics import NormalDist

from scipy.special import chdtri

from fretcheck.errors import DiagnosisRefusedError, UsageError
from fretcheck.plain_text import decimal

FEWEST_VALUES = 20
FEWEST_FREEDOM = 10  # Below it the scatter is known to no better than a quarter


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


def capability(
    *,
    mean: float,
    u_mean: float,
    scatter: float,
    freedom: float,
    values: int,
    lower: float,
    upper: float,
    confidence: float = 0.90,
) -> Capability:
    """Cp and Cpk with confidence limits.

    `mean`, `u_mean`: of the slot, and its standard uncertainty. `scatter`, `freedom`: standard deviation of the slots
    themselves, and its degrees of freedom. `values`: necks.
    Raises DiagnosisRefusedError with fewer than 20 values, or a scatter that the readings hide; UsageError when the limits are
    crossed.
    """
    if values < FEWEST_VALUES:
        raise DiagnosisRefusedError(
            f"{values} necks are too few for a capability: below {FEWEST_VALUES} its limits are too wide to act on"
        )
    if freedom < FEWEST_FREEDOM:
        raise DiagnosisRefusedError(
            "the slots scatter less than the readings can show: they hold their tolerance as far as is seen"
        )
    cp, cpk = capability_indices(mean=mean, scatter=scatter, lower=lower, upper=upper)
    return Capability(
        values=values,
        mean=mean,
        scatter=scatter,
        cp=cp,
        cp_limits=cp_limits(cp, freedom=freedom, confidence=confidence),
        cpk=cpk,
        cpk_limits=cpk_limits(cpk, u_mean=u_mean / scatter, freedom=freedom, confidence=confidence),
        confidence=confidence,
    )


def capability_indices(*, mean: float, scatter: float, lower: float, upper: float) -> tuple[float, float]:
    """Cp and Cpk of a process whose mean and scatter are known."""
    if lower >= upper:
        raise UsageError(f"lower limit {lower:g} is not below the upper limit {upper:g}")
    return (upper - lower) / (6 * scatter), min(upper - mean, mean - lower) / (3 * scatter)


def cp_limits(cp: float, *, freedom: float, confidence: float) -> tuple[float, float]:
    """Confidence limits of Cp, exact for a scatter from normal values."""
    tail = (1 - confidence) / 2
    low, high = chdtri(freedom, 1 - tail), chdtri(freedom, tail)
    return cp * sqrt(low / freedom), cp * sqrt(high / freedom)


def cpk_limits(cpk: float, *, u_mean: float, freedom: float, confidence: float) -> tuple[float, float]:
    """Approximate confidence limits of Cpk; `u_mean` in standard deviations of a value, 1/√n for n values."""
    half = NormalDist().inv_cdf((1 + confidence) / 2) * sqrt(u_mean**2 / 9 + cpk**2 / (2 * freedom))
    return cpk - half, cpk + half


def capability_in_words(found: Capability, *, what: str) -> str:
    """One sentence for a bench: what the process can hold, and how sure that is."""
    low, high = found.cpk_limits
    between = f"between {decimal(low)} and {decimal(high)} at {100 * found.confidence:.0f} %"
    room, cpk = f"the tolerance is {decimal(found.cpk)} times what the slots need", "Cpk"
    if found.cpk <= 0:
        room, cpk = "their mean lies beyond it", f"Cpk {decimal(found.cpk)}"
    sure = f"{room} ({cpk}: 1 just holds, 1.33 is comfortable), {between} from {found.values} necks"
    if low >= 1:
        return f"{what} holds its tolerance: {sure}"
    if high < 1:
        return f"{what} does not hold its tolerance: {sure}"
    return f"whether {what} holds its tolerance is open: {sure}"
