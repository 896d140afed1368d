"""The decision about a lot, with its risks in words and its undecided necks in the open.

Conventions: an undecided neck is neither good nor bad. The lot is accepted only when it would be accepted even if every
undecided and unread neck of the sample were bad; it is refused as soon as the bad ones alone are too many; in between it stays
open, and `next_step` says what to read again. On request undecided necks count as bad, never as good.
"""

import shlex
from collections.abc import Mapping
from datetime import datetime

from fretcheck.diagnosis.result import Decision
from fretcheck.errors import UsageError
from fretcheck.inspection.document import InspectionDocument
from fretcheck.lots.acceptance.lot_record import DecisionPart, Lot, Outcome
from fretcheck.lots.acceptance.lot_steps import refuse_closed
from fretcheck.lots.acceptance.risks import (
    acceptance_probability,
    most_bad_in_lot,
    percent_in_words,
    risk_in_words,
    worst_outgoing_fraction_bad,
)

Results = Mapping[str, InspectionDocument]  # The inspection that counts, by serial
_MOST_NOTES = 6  # as many as fit a line


def decide_lot(lot: Lot, results: Results, *, undecided_as_bad: bool = False, now: datetime) -> DecisionPart:
    """Decide a lot from the inspections of its sample.

    `lot`: with its sample drawn. `results`: what counts of its necks so far; those not drawn are ignored. `undecided_as_bad`:
    count undecided necks as bad instead of leaving the lot open for them. `now`: with offset.
    Raises UsageError when the lot is decided or closed, or its sample not yet drawn.
    """
    refuse_closed(lot)
    if lot.state == "decided":
        raise UsageError(f"lot {lot.name!r} is decided already: its sample cannot be judged a second time")
    if not lot.sample:
        raise UsageError(f"lot {lot.name!r} has no sample yet: draw it first")
    if (accept := lot.plan.accept) is None:
        raise UsageError(
            f"lot {lot.name!r} has a plan by variables, whose promised risks do not hold for worst notes: "
            "close it with --note, and open the lot anew with a plan that counts bad necks"
        )
    bad, undecided, unread = (_of_sample(lot, results, kind) for kind in ("fail", "undecided", None))
    at_worst = len(bad) + len(undecided) + len(unread)
    doubtful = f" and {len(undecided)} undecided" if undecided else ""
    outcome: Outcome = "accept"
    text = f"{len(bad)} bad{doubtful} of {lot.plan.sample - len(unread)} read, {accept} allowed"
    if len(bad) + (len(undecided) if undecided_as_bad else 0) > accept:
        outcome = "refuse"
        text += "; undecided counts as bad" if len(bad) <= accept else ""
    elif at_worst <= accept or not (undecided or unread):
        if undecided:
            text += f", even if the {'one neck' if len(undecided) == 1 else f'{len(undecided)} necks'} left undecided were bad"
        text += f"; take out {_listed(bad)}, which are out of tolerance" if bad else ""
    else:
        outcome, text = "open", f"{len(bad)} bad so far, {accept} allowed"
    risks = _risks_after(lot, at_worst, outcome)
    if undecided_as_bad and undecided:
        risks.insert(0, _risk_of_counting_undecided(lot, len(undecided)))
    return DecisionPart(
        outcome=outcome,
        decided_at=now.astimezone().isoformat(timespec="seconds"),
        bad=len(bad),
        undecided=len(undecided),
        unread=len(unread),
        text=text,
        risks=tuple(risks),
        undecided_counted_as_bad=undecided_as_bad,
    )


def plan_risks_in_words(lot: Lot) -> tuple[str, ...]:
    """What the plan of a lot by attributes would do with lots that are a little, and a lot, worse than it allows."""
    plan, size = lot.plan, len(lot.serials)
    if plan.accept is None:
        return ()
    if plan.sample >= size:
        return ("every neck is checked: nothing is left to chance",)
    levels = [level for level in (plan.good, plan.bad) if level] or [max(1, round(size * share)) for share in (0.05, 0.10, 0.25)]
    counts = {*levels, 2} if size > 2 else {*levels}
    words = [risk_in_words(plan=plan, lot=size, bad=bad) for bad in sorted(counts)]
    if not lot.sample and plan.bad is not None and plan.sample > 2:
        half = -(-plan.sample // 2)
        cheaper = acceptance_probability(sample=half, accept=min(plan.accept, half), lot=size, bad=plan.bad)
        words.append(
            f"this means {plan.sample} necks on the bench; with {half} of them a lot with {plan.bad} bad would be accepted "
            f"{percent_in_words(cheaper)} of the time"
        )
    worst = worst_outgoing_fraction_bad(sample=plan.sample, accept=plan.accept, lot=size)
    words.append(f"lot after lot, with every refused one checked neck by neck, at worst {100 * worst:.1f} % bad necks go out")
    return tuple(words)


def next_step(lot: Lot, results: Results) -> str:
    """What to do with the lot as it stands, with the command."""
    name = shlex.quote(lot.name)
    if lot.state == "closed":
        return "nothing is left to do: the lot is closed"
    if lot.plan.accept is None:
        return "a plan by variables is no longer judged: close the lot with --note, and open it anew"
    if lot.state == "open":
        return f"draw the sample: fretcheck lot draw {name}"
    bad, undecided, unread = (_of_sample(lot, results, kind) for kind in ("fail", "undecided", None))
    if lot.state == "decided":
        todo = f"take out {_listed(bad)}" if bad else "let the lot go"
        if lot.decision is not None and lot.decision.outcome == "refuse":
            todo = "check every neck of the lot, or send it back"
        return f"{todo}; then: fretcheck lot close {name}"
    if unread:
        return f"inspect {_listed(unread)}; then: fretcheck lot add {name}"
    if lot.decision is None or not undecided:
        return f"decide: fretcheck lot decide {name}"
    serial = undecided[0]
    notes = ", ".join(f"{string}/{fret}" for string, fret in results[serial].pluck_again[:_MOST_NOTES])
    which = f" (string/fret {notes})" if notes else ""
    more = f", and likewise {_listed(undecided[1:])}" if undecided[1:] else ""
    return (
        f"pluck again what decides {serial}{which}: fretcheck inspect NECK --more {lot.inspections[serial]}{more}; "
        f"then: fretcheck lot add {name}"
    )


def _risk_of_counting_undecided(lot: Lot, undecided: int) -> str:
    """How much sooner a good lot is refused when undecided necks count as bad, at the share of them seen in this sample."""
    plan, size = lot.plan, len(lot.serials)
    good = plan.good or 0
    beside = min(size, good + round((size - good) * undecided / plan.sample))
    return (
        f"undecided counted as bad: were {undecided} of {plan.sample} sound necks undecided in every lot, one with {good} bad "
        f"would be refused {_refused(lot, beside)} of the time, not {_refused(lot, good)}; no bad lot is let through for it"
    )


def _risks_after(lot: Lot, bad: int, outcome: Outcome) -> list[str]:
    """The plan's risks, and what the sample leaves possible for the rest of the lot; `bad`: at worst in the sample."""
    words = list(plan_risks_in_words(lot))
    plan, size = lot.plan, len(lot.serials)
    if outcome != "open" and plan.sample < size:
        most = most_bad_in_lot(lot=size, sample=plan.sample, found_bad=bad)
        words.append(f"after this sample up to {most} of the {size} necks may be bad (90 % sure)")
    if plan.accept is not None and plan.sample < size and (plan.good or 0) > plan.accept:
        words.append(f"a lot with {plan.good} bad would be refused {_refused(lot, plan.good or 0)} of the time")
    return words


def _refused(lot: Lot, bad: int) -> str:
    plan = lot.plan
    return percent_in_words(
        1 - acceptance_probability(sample=plan.sample, accept=plan.accept or 0, lot=len(lot.serials), bad=bad)
    )


def _of_sample(lot: Lot, results: Results, kind: Decision | None) -> list[str]:
    """Sampled serials with a decision of this kind; None: not read yet, or not judged."""
    return [s for s in lot.sample if (results[s].verdict.decision if s in results else None) == kind]


def _listed(serials: list[str]) -> str:
    return ", ".join(serials[:8]) + (f" and {len(serials) - 8} more" if len(serials) > 8 else "")
