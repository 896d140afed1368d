"""What a sample can tell: the exact risk of accepting a bad lot or refusing a good one.

The unit is the neck. The frets of a neck share one template and one set-up, so they are no independent trials and never
counted as such. A lot of `lot` necks with `bad` bad ones, of which `sample` are drawn without replacement, shows a
hypergeometric number of bad ones; the lot is accepted when that number is at most `accept`. A process that goes on
for ever (`lot` None) shows a binomial number instead.

Sources: E. G. Schilling & D. V. Neubauer, "Acceptance Sampling in Quality Control" (from memory); the formulas are
elementary probability and evaluated in exact integers, so that no approximation enters for any lot size.

Conventions: probabilities are fractions, 0 to 1. "Good lot" and "bad lot" are the two quality levels the user states, as
numbers of bad necks in the lot (or fractions bad for a process); the maker's risk is that a good lot is refused, the buyer's
risk that a bad one is accepted. Both are the draw's alone: each neck is taken to be judged rightly. A sound neck right at the
limit is judged bad with a chance of about the verdict's risk (5 %); were all of a lot there, that would add a binomial number of
bad ones to the sample, the most that the maker's risk can grow to.
"""

from dataclasses import dataclass
from functools import partial
from math import comb

from fretcheck.errors import UsageError
from fretcheck.lots.acceptance.lot_record import PlanPart

LARGEST_LOT = 10_000  # Above this the exact sums grow slow and a lot of necks is no longer a small batch


@dataclass(frozen=True, kw_only=True)
class StatedRisks:
    """The two risks a plan must keep: `good` bad necks in the lot are fine, `bad` are not to be let through."""

    good: float
    bad: float
    makers_risk: float = 0.05
    buyers_risk: float = 0.10


def acceptance_probability(*, sample: int, accept: int, lot: int | None = None, bad: float) -> float:
    """Probability that a lot is accepted.

    `sample`, `accept`: necks drawn, and how many of them may be bad. `lot`: necks in the lot; None for a process without end.
    `bad`: bad necks in the lot (a whole number), or, for a process, the fraction bad.
    Returns exact hypergeometric (or binomial) probability, 0 to 1.
    Raises UsageError if the numbers cannot be those of a sample from a lot.

    >>> round(acceptance_probability(sample=5, accept=0, lot=20, bad=2), 3)
    0.553
    """
    if sample < 1 or accept < 0:
        raise UsageError(f"a sample of {sample} with {accept} bad allowed is no plan: draw at least 1, allow at least 0")
    if lot is None:
        if not 0 <= bad <= 1:
            raise UsageError(f"fraction bad = {bad:g} lies outside 0 to 1: give a fraction, 0.05 for 5 %")
        return sum(comb(sample, x) * bad**x * (1 - bad) ** (sample - x) for x in range(min(accept, sample) + 1))
    if not 1 <= lot <= LARGEST_LOT:
        raise UsageError(f"a lot of {lot} necks lies outside 1 to {LARGEST_LOT}")
    number_bad = round(bad)
    if number_bad != bad or not 0 <= number_bad <= lot:
        raise UsageError(f"{bad:g} bad necks in a lot of {lot} cannot be: give a whole number from 0 to {lot}")
    if sample > lot:
        raise UsageError(f"a sample of {sample} is more than the {lot} necks of the lot")
    ways = sum(comb(number_bad, x) * comb(lot - number_bad, sample - x) for x in range(min(accept, sample) + 1))
    return ways / comb(lot, sample)


def plan_for_risks(*, lot: int | None, risks: StatedRisks) -> PlanPart:
    """Smallest plan that keeps both stated risks.

    `lot`: necks in the lot; None for a process, where `risks` holds fractions bad. `risks`: a lot with `good` bad necks is
    accepted with at least 1 − maker's risk, one with `bad` with at most the buyer's risk.
    Raises UsageError if the two levels or the risks contradict each other, or no plan up to the whole lot (2,000 for a process)
    keeps them.
    """
    if not risks.good < risks.bad:
        raise UsageError(f"the bad lot ({risks.bad:g} bad) must hold more bad necks than the good one ({risks.good:g})")
    for name, risk in (("maker's", risks.makers_risk), ("buyer's", risks.buyers_risk)):
        if not 0 < risk < 0.5:
            raise UsageError(f"{name} risk = {risk:g} lies outside 0 to 0.5: give a fraction, 0.05 for 5 %")
    accepted = partial(acceptance_probability, lot=lot)
    largest = 2000 if lot is None else lot
    accept = 0
    for sample in range(1, largest + 1):
        while accept < sample and accepted(sample=sample, accept=accept, bad=risks.good) < 1 - risks.makers_risk:
            accept += 1
        if accepted(sample=sample, accept=accept, bad=risks.bad) <= risks.buyers_risk:
            return PlanPart(sample=sample, accept=accept, source="smallest plan that keeps the two stated risks")
    raise UsageError(
        f"no sample of up to {largest} tells {risks.good:g} from {risks.bad:g} at these risks: widen the gap or allow more risk"
    )


def operating_characteristic(*, sample: int, accept: int, lot: int) -> tuple[tuple[int, float], ...]:
    """For every possible number of bad necks in the lot, the probability that the lot is accepted."""
    return tuple((bad, acceptance_probability(sample=sample, accept=accept, lot=lot, bad=bad)) for bad in range(lot + 1))


def worst_outgoing_fraction_bad(*, sample: int, accept: int, lot: int) -> float:
    """Highest mean fraction bad that goes out when every refused lot is checked neck by neck and its bad necks replaced.

    Source: average outgoing quality Pa·p·(N−n)/N with binomial Pa, at its highest over the incoming fraction p (Dodge & Romig,
    from memory).
    """
    from scipy.optimize import minimize_scalar

    def less(p: float) -> float:
        return -acceptance_probability(sample=sample, accept=accept, bad=p) * p * (lot - sample) / lot

    return -float(minimize_scalar(less, bounds=(0.0, min(1.0, 3 * (accept + 1) / sample)), method="bounded").fun)


def most_bad_in_lot(*, lot: int, sample: int, found_bad: int, confidence: float = 0.90) -> int:
    """Largest number of bad necks the lot may well hold after `found_bad` were seen (one-sided exact limit).

    Source: inversion of the hypergeometric tail, the finite-lot form of Clopper & Pearson, Biometrika 26, 404 (1934).
    """
    accepted = partial(acceptance_probability, sample=sample, accept=found_bad, lot=lot)
    possible = range(lot - (sample - found_bad), found_bad, -1)
    return next((bad for bad in possible if accepted(bad=bad) > 1 - confidence), found_bad)


def risk_in_words(*, plan: PlanPart, lot: int, bad: int) -> str:
    """One sentence that says what a plan that counts bad necks would do with a lot of `bad` bad necks."""
    assert plan.accept is not None
    accepted = acceptance_probability(sample=plan.sample, accept=plan.accept, lot=lot, bad=bad)
    return f"if {bad} of {lot} were bad you would still accept {percent_in_words(accepted)} of the time"


def percent_in_words(probability: float) -> str:
    """A probability as whole percent, never rounded to a false certainty."""
    percent = 100 * min(max(probability, 0.0), 1.0)
    if 0 < percent < 1:
        return "less than 1 %"
    if 99 < percent < 100:
        return "more than 99 %"
    return f"{percent:.0f} %"
