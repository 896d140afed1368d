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

from scipy.special import chdtri, ndtri

from fretcheck.errors import DiagnosisRefusedError
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
    Raises DiagnosisRefusedError with fewer than 20 values, or a scatter that the readings hide.
    """
    if values < FEWEST_VALUES:
        raise DiagnosisRefusedError(
            f"{values} necks are too few for a capability: below {FEWEST_VALUES} its limits are too wide to act on"
        )
    if freedom < FEWEST_FREEDOM:
        raise DiagnosisRefusedError(
            "the slots scatter less than the readings can show: they hold their tolerance as far as is seen"
        )
    cp, cpk = (upper - lower) / (6 * scatter), min(upper - mean, mean - lower) / (3 * scatter)
    low, high = (cp * sqrt(chdtri(freedom, (1 + sign * confidence) / 2) / freedom) for sign in (1, -1))
    half = float(ndtri((1 + confidence) / 2)) * sqrt((u_mean / scatter) ** 2 / 9 + cpk**2 / (2 * freedom))
    return Capability(
        values=values,
        mean=mean,
        scatter=scatter,
        cp=cp,
        cp_limits=(low, high),
        cpk=cpk,
        cpk_limits=(cpk - half, cpk + half),
        confidence=confidence,
    )


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
