"""The causes worth acting on, in order, and what else could lie behind them.

A cause becomes a finding when it exceeds its practical size with the probability asked for, and the readings can carry it:
what shows by structure across the strings (frets, nut, bridge) needs several strings read.

Conventions: the value of a finding is what the fault amounts to if it is there; its probability says whether it is. The neck's
own faults come first, then those of the hand; of each, the surest first, and among the sure ones that which moves the notes
most.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.diagnosis.conclude.causes import PossibleCause, given_the_fault
from fretcheck.diagnosis.conclude.rivals import Contest, contest_of
from fretcheck.diagnosis.conclude.sharpeners import sharpeners_of
from fretcheck.diagnosis.conclude.words import amount, statement, sure
from fretcheck.diagnosis.infer.posterior import Posterior
from fretcheck.diagnosis.model.forward import ForwardModel
from fretcheck.diagnosis.model.layout_rules import DESIGNED
from fretcheck.diagnosis.result import Finding, Rival, Sharpener
from fretcheck.diagnosis.settings import DiagnosisSettings

FEWEST_STRINGS = 3  # Below this nothing is concluded from structure across strings
ACROSS_STRINGS = ("fret_position", "fret_tilt", "nut_position", "nut_height", "scale_length", "finger_pressure")
OF_THE_HAND = ("finger_pressure", "tuning_drift")  # Faults of the reading, not of the neck: named last
WITHOUT_REPEATS = 0.95  # Probability asked for when no note was plucked twice, so that the hand's scatter is only assumed
SURE = 0.95
SURELY_SOMETHING = 0.97
# That finger or nut sharpens the low frets; at 0.98 three more of a hundred sound necks of a mildly real kind were told so (180).
# With all slots 0.40 mm too high and no clearance taken, 36 of 48 necks are told nut or finger (at 0.98 41)
LOW_SHARP = 0.99
# When something is surely wrong but no single cause stands out, the most probable is named if it is at least this probable
LEAST_PROBABLE = 0.35
# A cause without rivals is told only when its uncertainty, were it there, is less than this share of what it was before
NARROWED = 0.5
LOWEST_FRET = 1
# Frets need less: one 0.25 mm out moves its notes by less than a cent at the low frets. Where the finger is more even than the
# first (of what is usual) the model holds best, and a fret's place, tilt and wear need the second, elsewhere the third. So 78,
# not 70 of 100 frets 0.25 mm out were named first and 82, not 76 of 100 tilted by 0.35 (120 each) in a careful workshop's
# necks, 67 (59) and 68 (64) in mildly real ones; of sound ones 3 and 8 of 100 get a finding (400). A shop that asks for more
# gets it.
EVEN_FINGER, FRETS_WHEN_EVEN, FRETS_ELSE = 0.7, 0.39, 0.6
FRETS = ("fret_position", "fret_tilt", "fret_wear")


@dataclass(frozen=True, kw_only=True)
class Findings:
    """What came out, and what could not."""

    findings: tuple[Finding, ...]
    causes: tuple[PossibleCause, ...]  # Those behind the findings; the layout has none
    sharpeners: tuple[Sharpener, ...]
    warnings: tuple[str, ...]


def findings_of(posterior: Posterior, causes: Sequence[PossibleCause], settings: DiagnosisSettings) -> Findings:
    """Findings of a neck, ordered, at most `settings.most_findings`."""
    warnings: list[str] = []
    neck, read = posterior.design.neck, posterior.scatter.cents
    few = len(read) < FEWEST_STRINGS
    if few:
        warnings.append(
            f"Only {len(read)} string{' was' if len(read) == 1 else 's were'} read: a fret, the nut or the finger's pressure "
            f"cannot be told from the string itself. Read at least {FEWEST_STRINGS} strings, better all."
        )
    if any(one.saddle_setback_mm is None for one in neck.strings):
        warnings.append(
            "The description gives no saddle setback (saddle_setback_mm): a saddle is judged by where its string's octave would "
            "be in tune with the open note, and told as the move it needs."
        )
    unrepeated = not any(posterior.scatter.repeats.values())
    if unrepeated:
        warnings.append(
            "No note was plucked twice, so the hand's scatter is only assumed: findings need more certainty than usual. "
            "Two plucks a note would tell it."
        )
    if posterior.rough.beyond_the_model:
        warnings.append(
            "Beyond what frets, nut, saddle and strings explain, this instrument's notes wander more than most, so less of what "
            "is heard is laid to a part. Measure before cutting."
        )
    needed = max(settings.finding_probability, WITHOUT_REPEATS) if unrepeated else settings.finding_probability
    able = [
        one
        for one in causes
        if not (few and one.estimate.cause in ACROSS_STRINGS)
        and (one.estimate.string is None or one.estimate.string in read or one.kind == "nut_skew")
    ]
    of_frets = needed
    if needed <= DiagnosisSettings.finding_probability:
        of_frets = min(needed, FRETS_WHEN_EVEN if posterior.rough.finger < EVEN_FINGER else FRETS_ELSE)
    chosen = [one for one in able if one.judged_probability >= (of_frets if one.estimate.cause in FRETS else needed)]
    contests = {id(one): contest_of(posterior, one) for one in able if one in chosen or one.kind == "nut_height"}
    chosen = [one for one in chosen if contests[id(one)].rivals or _carried_by_readings(posterior, one)]
    something = sum(one.weight for one in posterior.components if one.faults) >= SURELY_SOMETHING
    if not chosen and not unrepeated and something and able:
        best = max(able, key=lambda one: one.judged_probability)
        chosen = [best] if best.judged_probability >= LEAST_PROBABLE else []
        contests.update({id(one): contest_of(posterior, one) for one in chosen})
    effects = {id(one): _effect(posterior, one) for one in chosen}
    chosen.sort(
        key=lambda one: (one.estimate.cause in OF_THE_HAND, one.judged_probability < SURE, -np.sum(effects[id(one)] ** 2))
    )
    chosen = chosen[: settings.most_findings]
    findings = [_finding(posterior, one, contests[id(one)], effects[id(one)]) for one in chosen]
    for nut in able:
        alike = contests.get(id(nut)) if nut.kind == "nut_height" and nut not in chosen else None
        if alike is not None and alike.rivals and alike.together >= LOW_SHARP:
            findings.append(_finger_or_nut(posterior, nut, alike))
    layout = _layout_finding(posterior)
    if layout is not None:
        findings.insert(0, layout)
    return Findings(
        findings=tuple(findings[: settings.most_findings]),
        causes=tuple(chosen),
        sharpeners=sharpeners_of(posterior, chosen or _widest(able)),
        warnings=tuple(warnings),
    )


def _widest(causes: Sequence[PossibleCause]) -> list[PossibleCause]:
    """With nothing found: the causes whose uncertainty is largest beside their practical size."""
    return sorted(causes, key=lambda one: -one.estimate.u / one.estimate.practical_size)[:2]


def _effect(posterior: Posterior, cause: PossibleCause) -> Reals:
    """Cents that a cause makes at every cell."""
    columns = list(posterior.parameters.faults[cause.fault].columns)
    sound = posterior.mean.copy()
    sound[columns] = np.array(posterior.parameters.means)[columns]
    return posterior.model.cents(posterior.mean) - posterior.model.cents(sound)


def _shown_by(posterior: Posterior, effect: Reals) -> tuple[tuple[int, int], ...]:
    """The played notes that a cause moves most, at most six."""
    cells = posterior.design.cells
    read = {(cell.string, cell.fret) for cell in posterior.combined.cells if cell.press is None}
    places = [(cells[n].string, cells[n].fret) for n in np.argsort(-np.abs(effect)) if cells[n].press is None]
    return tuple([place for place in places if place in read][:6])


def _finding(posterior: Posterior, cause: PossibleCause, contest: Contest, effect: Reals) -> Finding:
    estimate = given_the_fault(posterior, cause)
    text = statement(estimate, posterior.design.neck, kind=cause.kind)
    if cause.judged_probability < SURE:
        text = f"{sure(cause.judged_probability)}: {text}"
    if contest.rivals:
        text += f" The same could come from {contest.names}; what decides: {contest.decided_by}."
    in_mm = estimate.unit == "mm"
    return Finding(
        cause=estimate.cause, fret=estimate.fret, string=estimate.string,
        value_mm=estimate.value if in_mm else None, u_mm=estimate.u if in_mm else None,
        value_cents=None if in_mm else estimate.value, u_cents=None if in_mm else estimate.u,
        probability=cause.judged_probability, text=text, interval_90=estimate.interval_90, shown_by=_shown_by(posterior, effect),
        rivals=contest.rivals, decided_by=contest.decided_by,
    )  # fmt: skip


def _finger_or_nut(posterior: Posterior, nut: PossibleCause, contest: Contest) -> Finding:
    """Something surely sharpens the low frets, and it is more probably the finger than the nut."""
    estimate = given_the_fault(posterior, nut)
    finger = max(contest.rivals, key=lambda one: one.share)
    effect = _effect(posterior, nut)
    columns = posterior.parameters.columns("pressure") + posterior.parameters.columns("finger_low")
    low = [n for n, cell in enumerate(posterior.design.cells) if cell.press is None and cell.fret == LOWEST_FRET]
    row = np.zeros(len(posterior.mean))
    row[columns] = np.mean(posterior.slopes[np.ix_(low, columns)], axis=0)
    cents = posterior.of(row[None, :])
    value, u = float(cents.mean[0] - row @ posterior.parameters.prior_mean), float(cents.u[0])
    slots = statement(estimate, posterior.design.neck, kind=nut.kind)
    text = (
        f"The low frets read sharp: a finger that presses deep there, by {amount(value, u, 'cents')} at fret {LOWEST_FRET} "
        f"({100.0 * finger.share:.0f} %), or slots too high ({100.0 * contest.own_share:.0f} %): if these, {slots[0].lower()}"
        f"{slots[1:]} What decides: {contest.decided_by}."
    )
    return Finding(
        cause=finger.cause, fret=None, string=None, value_mm=None, u_mm=None, value_cents=value, u_cents=u,
        probability=finger.share, text=text, shown_by=_shown_by(posterior, effect),
        rivals=(Rival(cause="nut_height", fret=None, string=None, share=contest.own_share, text="nut slots too high"),),
        decided_by=contest.decided_by,
    )  # fmt: skip


def _carried_by_readings(posterior: Posterior, cause: PossibleCause) -> bool:
    """Whether the readings narrow a cause to well within what a botched part may be out."""
    fault = posterior.parameters.faults[cause.fault]
    share = sum(way.share for way in fault.ways)
    out = sum(way.share * (way.spread**2 + way.toward**2) for way in fault.ways) / share
    before = float(np.sqrt(out * np.sum(cause.row[list(fault.columns)] ** 2)))
    return given_the_fault(posterior, cause).u <= NARROWED * before


def _layout_finding(posterior: Posterior) -> Finding | None:
    best = posterior.layout[0]
    if posterior.rule.name == DESIGNED:
        return None
    theta = posterior.mean.copy()
    theta[posterior.parameters.columns("fret_position")] = 0.0
    designed = ForwardModel(design=posterior.design, parameters=posterior.parameters)
    effect = posterior.model.cents(posterior.mean) - designed.cents(theta)
    cells = posterior.design.cells
    worst = int(np.argmax(np.abs(effect)))
    likely = f"{100.0 * best.probability:.0f} % probable"
    text = f"{best.text} It puts fret {cells[worst].fret} out by {effect[worst]:+.1f} cents ({likely})."
    return Finding(
        cause="layout_rule", fret=None, string=None, value_mm=None, u_mm=None, value_cents=float(effect[worst]),
        probability=best.probability, text=text, shown_by=_shown_by(posterior, effect),
    )  # fmt: skip
