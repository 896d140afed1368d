"""The decision about a lot, with its risks in words and its undecided necks in the open.

Conventions
-----------
An undecided neck is neither good nor bad. The lot is accepted only when it would be accepted even if every undecided and
unread neck of the sample were bad; it is refused as soon as the bad ones alone are too many; in between it stays open,
and the text says what to read again. On request undecided necks count as bad, never as good.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from fretcheck.errors import UsageError
from fretcheck.inspection.document import Decision, InspectionDocument
from fretcheck.lots.lot import DecisionPart, Lot, Outcome, refuse_closed
from fretcheck.lots.risks import (
    SamplingPlan,
    acceptance_probability,
    most_bad_in_lot,
    percent_in_words,
    risk_in_words,
    worst_outgoing_fraction_bad,
)
from fretcheck.lots.variable_plans import VariablePlan, decide_by_variables

_NOT_NORMAL = 0.05


@dataclass(frozen=True, kw_only=True)
class NeckResult:
    """What a lot needs to know of one inspection."""

    decision: Decision | None
    """None: not judged, which counts as not read."""
    worst_cents: float | None
    """Largest deviation of a note, without sign; None when no note could be judged."""
    limit_cents: float


def neck_result(document: InspectionDocument) -> NeckResult:
    """The part of an inspection that counts for its lot."""
    verdict = document.verdict
    worst = None if verdict.worst is None else abs(verdict.worst.deviation_cents)
    return NeckResult(decision=verdict.decision, worst_cents=worst, limit_cents=verdict.limit_cents)


def decide_lot(lot: Lot, results: Mapping[str, NeckResult], *, undecided_as_bad: bool = False, now: datetime) -> DecisionPart:
    """Decide a lot from the inspections of its sample.

    Parameters
    ----------
    lot : Lot
        With its sample drawn.
    results : mapping of serial to NeckResult
        Of the sampled necks read so far; others are ignored.
    undecided_as_bad : bool
        Count undecided necks as bad instead of leaving the lot open for them.
    now : datetime
        With offset.

    Raises
    ------
    UsageError
        When the lot is closed, or its sample not yet drawn.
    """
    refuse_closed(lot)
    if lot.state == "decided":
        raise UsageError(f"lot {lot.name!r} is decided already: its sample cannot be judged a second time")
    if not lot.sample:
        raise UsageError(f"lot {lot.name!r} has no sample yet: draw it first")
    if lot.plan.basis == "variables":
        return _by_variables(lot, results, now=now)
    return _by_attributes(lot, results, undecided_as_bad=undecided_as_bad, now=now)


def plan_risks_in_words(lot: Lot) -> tuple[str, ...]:
    """What the plan of a lot by attributes would do with lots that are a little, and a lot, worse than it allows."""
    plan, size = lot.plan, len(lot.serials)
    if plan.accept is None:
        return ()
    attributes = SamplingPlan(sample=plan.sample, accept=plan.accept, source=plan.source)
    if plan.sample >= size:
        return ("every neck is checked: nothing is left to chance",)
    levels = [level for level in (plan.good, plan.bad) if level] or [max(1, round(size * share)) for share in (0.05, 0.10, 0.25)]
    told = {*levels, 2} if size > 2 else {*levels}
    words = [risk_in_words(plan=attributes, lot=size, bad=bad) for bad in sorted(told)]
    worst, _ = worst_outgoing_fraction_bad(sample=plan.sample, accept=plan.accept, lot=size)
    words.append(f"lot after lot, with every refused one checked neck by neck, at worst {100 * worst:.1f} % bad necks go out")
    return tuple(words)


def _by_attributes(lot: Lot, results: Mapping[str, NeckResult], *, undecided_as_bad: bool, now: datetime) -> DecisionPart:
    accept = lot.plan.accept
    assert accept is not None
    bad, undecided, unread = (_of_sample(lot, results, kind) for kind in ("fail", "undecided", None))
    surely_bad = len(bad) + (len(undecided) if undecided_as_bad else 0)
    doubtful = f" and {len(undecided)} undecided" if undecided else ""
    counts = f"{len(bad)} bad{doubtful} of {lot.plan.sample - len(unread)} read, {accept} allowed"
    if surely_bad > accept:
        outcome: Outcome = "refuse"
        text = counts + ("; undecided counts as bad" if len(bad) <= accept else "")
    elif len(bad) + len(undecided) + len(unread) <= accept or not (undecided or unread):
        outcome, text = "accept", counts
        if undecided:
            text += f", even if the {_necks(undecided)} left undecided were bad"
    else:
        outcome, text = "open", f"{len(bad)} bad so far, {accept} allowed{_what_to_read(undecided, unread)}"
    risks = _risks_after(lot, len(bad) + len(undecided) + len(unread), outcome)
    return _decision(lot, outcome, text, bad, undecided, unread, risks, undecided_as_bad, now)


def _risks_after(lot: Lot, bad: int, outcome: Outcome) -> tuple[str, ...]:
    """The plan's risks, and what the sample leaves possible for the rest of the lot; `bad`: at worst in the sample."""
    words = list(plan_risks_in_words(lot))
    plan, size = lot.plan, len(lot.serials)
    if outcome != "open" and plan.sample < size:
        most = most_bad_in_lot(lot=size, sample=plan.sample, found_bad=bad)
        words.append(f"after this sample up to {most} of the {size} necks may be bad (90 % sure)")
    if plan.accept is not None and plan.sample < size and (plan.good or 0) > plan.accept:
        chance = 1 - acceptance_probability(sample=plan.sample, accept=plan.accept, lot=size, bad=plan.good or 0)
        words.append(f"a lot with {plan.good} bad would be refused {percent_in_words(chance)} of the time")
    return tuple(words)


def _by_variables(lot: Lot, results: Mapping[str, NeckResult], *, now: datetime) -> DecisionPart:
    """By the worst deviation of each sampled neck against the limit: one upper limit, s-method."""
    assert lot.plan.k is not None
    plan = VariablePlan(sample=lot.plan.sample, k=lot.plan.k, source=lot.plan.source)
    bad, undecided, _ = (_of_sample(lot, results, kind) for kind in ("fail", "undecided", None))
    unread = [s for s in lot.sample if s not in results or results[s].worst_cents is None]
    if unread:
        text = f"a plan by variables needs every neck of the sample{_what_to_read([], unread)}"
        return _decision(lot, "open", text, bad, undecided, unread, (), False, now)
    values = [worst for s in lot.sample if (worst := results[s].worst_cents) is not None]
    limits = {results[s].limit_cents for s in lot.sample}
    if len(limits) > 1:
        raise UsageError(f"the sampled necks were judged against different limits {sorted(limits)} cents: judge them alike")
    limit = limits.pop()
    found = decide_by_variables(values, plan=plan, upper=limit)
    text = (
        f"worst notes {found.mean:.1f} ± {found.scatter:.1f} cents against {limit:g}, "
        f"estimated {found.outside_pct:.1f} % outside, {found.most_outside_pct:.1f} % allowed"
    )
    risks = ["this rests on worst notes that scatter normally; count bad necks instead when in doubt"]
    if _normality_chance(values) < _NOT_NORMAL:
        risks.insert(0, "the worst notes of this sample do not scatter normally: do not rely on this decision")
    return _decision(lot, "accept" if found.accepted else "refuse", text, bad, undecided, [], tuple(risks), False, now)


def _normality_chance(values: list[float]) -> float:
    """Shapiro & Wilk's test (Biometrika 52, 591, 1965): chance of so odd a sample from a normal distribution."""
    from scipy.stats import shapiro

    return float(shapiro(values).pvalue)


def _decision(
    lot: Lot,
    outcome: Outcome,
    text: str,
    bad: list[str],
    undecided: list[str],
    unread: list[str],
    risks: tuple[str, ...],
    undecided_as_bad: bool,
    now: datetime,
) -> DecisionPart:
    return DecisionPart(
        outcome=outcome,
        decided_at=now.astimezone().isoformat(timespec="seconds"),
        bad=len(bad),
        undecided=len(undecided),
        unread=len(unread),
        text=text,
        risks=risks,
        undecided_counted_as_bad=undecided_as_bad,
    )


def _of_sample(lot: Lot, results: Mapping[str, NeckResult], kind: Decision | None) -> list[str]:
    """Sampled serials with a decision of this kind; None: not read yet."""
    return [s for s in lot.sample if (results[s].decision if s in results else None) == kind]


def _what_to_read(undecided: list[str], unread: list[str]) -> str:
    words = ""
    if unread:
        words += f"; read {_listed(unread)}"
    if undecided:
        words += f"; read again, with more plucks: {_listed(undecided)}"
    return words


def _listed(serials: list[str]) -> str:
    shown = ", ".join(serials[:8])
    return shown if len(serials) <= 8 else f"{shown} and {len(serials) - 8} more"


def _necks(serials: list[str]) -> str:
    return "one neck" if len(serials) == 1 else f"{len(serials)} necks"
