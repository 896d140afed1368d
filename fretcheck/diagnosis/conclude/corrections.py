"""What to do about a neck: nothing, another pluck, a measurement, or work, as a good luthier would decide it.

P is the probability that every note asked for lies within the limit. P at 1 − risk or more: nothing to do. From one half: no
work, the notes to pluck again. Below: what was found is put right first, then the further work that costs least, counting a
neck that comes back. Work that cannot be undone is advised only when it is sure and has no rival; else the plan ends with the
measurement that decides.

Conventions: as in `piece_of_work`. A step's prediction is the mean, over draws of what the neck may truly be, of the worst note
once that step and those before it are done.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.diagnosis.conclude.bench import Bench, Outcome
from fretcheck.diagnosis.conclude.coverage import OFTEN_ENOUGH
from fretcheck.diagnosis.conclude.deciding_measurement import clearance_measured, measurement_for
from fretcheck.diagnosis.conclude.findings import Findings
from fretcheck.diagnosis.conclude.further_work import ENOUGH, Best, best_further
from fretcheck.diagnosis.conclude.notes import Place
from fretcheck.diagnosis.conclude.out_of_reach import three_figures
from fretcheck.diagnosis.conclude.piece_of_work import ORDER, Key, Work, all_done, moves_of
from fretcheck.diagnosis.conclude.repairs import Repair, faults_of, joined, repairs_of
from fretcheck.diagnosis.conclude.words import listed_notes
from fretcheck.diagnosis.conclude.work_words import CUTTING, SLACKEN, text_of
from fretcheck.diagnosis.infer.draws import JointDraws
from fretcheck.diagnosis.infer.posterior import Posterior
from fretcheck.diagnosis.model.layout_rules import DESIGNED
from fretcheck.diagnosis.result import Correction, Move, Predicted, StepPrediction, Verdict
from fretcheck.diagnosis.settings import DiagnosisSettings

RAISES_CENTS = 0.2  # A step that raises the worst note to expect by more is done together with those that lower it again
SURE_TO_HELP = 0.95
# Probability of high slots from which they are measured before a nut is moved unfound: below it a cause is ruled out, as in plan
# `deciding`. Plans for own necks (seed 902) that told a shelf without need: 5 of 72, none of these five with it
HIGH_SLOTS_OPEN = 0.05


@dataclass(frozen=True, kw_only=True)
class Plan:
    """Steps in order, what they should bring, and what else is to be said."""

    corrections: tuple[Correction, ...]
    predicted: Predicted
    advice: tuple[str, ...]


def plan(
    posterior: Posterior,
    draws: JointDraws,
    found: Findings,
    *,
    asked: Collection[Place],
    again: Sequence[Place],
    verdict: Verdict,
    settings: DiagnosisSettings,
) -> Plan:
    """The plan for one neck.

    `asked` (string, fret): the notes judged. `again` (string, fret): those that would decide if they were plucked again.
    `verdict`: as read; without a decision (too little was heard) nothing is advised.
    """
    judged = np.array([cell.press is None and (cell.string, cell.fret) in asked for cell in posterior.design.cells])
    if verdict.decision is None or not judged.any():
        return Plan(corrections=(), predicted=Predicted(worst_cents=None), advice=())
    bench = Bench(posterior, draws, asked=judged, limit=verdict.limit_cents, least_clearance_mm=settings.least_clearance_mm)
    return _Planner(bench=bench, found=found, again=again, verdict=verdict, settings=settings).plan()


@dataclass(frozen=True, kw_only=True)
class _Chosen:
    """Repairs kept, and the best further work beyond them."""

    repairs: tuple[Repair, ...]
    further: Best
    objective: float

    @property
    def works(self) -> list[Work]:
        return [work for one in self.repairs for work in one.works] + list(self.further.works)


class _Planner:
    def __init__(
        self, *, bench: Bench, found: Findings, again: Sequence[Place], verdict: Verdict, settings: DiagnosisSettings
    ) -> None:
        self.bench, self.settings, self.again, self.found, self.verdict = bench, settings, again, found, verdict
        self.neck = bench.posterior.design.neck
        self.style = settings.saddle or self.neck.saddle_moves
        self.now = bench.outcome(bench.theta)
        self.p = self.now.probability if verdict.probability_within is None else verdict.probability_within
        faults = faults_of(bench.posterior, found)
        self.repairs = [repair for one in faults for repair in repairs_of(bench, one, style=self.style, settings=settings)]
        self.measured_mm = clearance_measured(bench)
        self.advice: list[str] = []
        self._known: dict[tuple[int, ...], _Chosen] = {}

    def plan(self) -> Plan:
        if self.p >= ENOUGH or self.verdict.decision == "pass":
            return self._leave()
        if self.bench.posterior.rule.name != DESIGNED:
            return _layout(self.bench)
        chosen = self._choose([one for one in self.repairs if one.works and not self._still_unsure(one)])
        if chosen.further.probability < ENOUGH:
            return self._out_of_reach()
        moved = any(one.how == "nut" and one.fault is None for one in chosen.works)
        doubted = self._doubted_slots(least=HIGH_SLOTS_OPEN) if moved else None
        if doubted is not None:  # a gauge over fret 1 is easier than a nut moved for what may be a high slot
            return self._end([*(work for one in chosen.repairs for work in one.works), doubted])
        self._say_what_stays(chosen)
        return self._end(chosen.works)

    # nothing to do, or another pluck

    def _leave(self) -> Plan:
        """The neck lies within, or may: only frets that `tolerance_mm` does not allow are worked on."""
        frets = [one for one in self.repairs if self._beyond_tolerance(one)]
        if frets:
            return self._end([work for one in frets for work in one.works])
        corrections: tuple[Correction, ...] = ()
        if self.verdict.decision == "pass":
            sure = "more than 99 % sure" if self.p >= 0.995 else f"{100 * self.p:.0f} % sure"
            limit = f"{self.verdict.limit_cents:g} cents"
            self.advice.append(f"Nothing to do: every note asked for lies within {limit} ({sure}).")
            if self.found.findings:
                self.advice.append("What was found may stay: the limit does not need it put right.")
        else:
            corrections = self._pluck_again()
        return Plan(corrections=corrections, predicted=self._predicted(self.now, p=self.p), advice=tuple(self.advice))

    def _pluck_again(self) -> tuple[Correction, ...]:
        chance = f"{100 * self.p:.0f} % that every note lies within {self.verdict.limit_cents:g} cents"
        if not self.again:
            self.advice.append(
                f"Too close to call under this hand: {chance}, and the notes in doubt were plucked {OFTEN_ENOUGH} times. "
                "Whether to accept the neck or to set it finer is your choice."
            )
            return ()
        text = (
            f"No work yet: {chance}. Pluck again {listed_notes(self.again)}; `inspect NECK --more ID` asks for exactly these and "
            "joins them to what was read."
        )
        predicted = StepPrediction(worst_cents=self.now.expected_worst, probability_within=self.p)
        return (Correction(kind="measure", moves=(), notes=tuple(self.again), predicted=predicted, text=text),)

    # choosing the work

    def _beyond_tolerance(self, one: Repair) -> bool:
        """Whether a found fret is surely further out than the neck's tolerance in mm."""
        finding = one.fault.finding
        return (
            self.neck.tolerance_mm is not None
            and finding.cause == "fret_position"
            and finding.probability >= 1.0 - self.settings.risk
        )

    def _still_unsure(self, one: Repair) -> bool:
        """Whether it cannot be undone, is not sure, and was measured already: it is then left."""
        unsettled = any(not self._settled(work) for work in one.works)
        if unsettled and measurement_for(self.bench, one.fault.finding).made:
            self.advice.append(f"Left as it is, since it is not sure enough to cut even when measured: {one.fault.finding.text}")
            return True
        return False

    def _choose(self, repairs: list[Repair]) -> _Chosen:
        """Found repairs first; of these, those dropped that nothing needs and that no other move then stands in for."""
        chosen = self._with(repairs)
        for one in sorted(repairs, key=lambda one: -sum(work.cost for work in one.works)):
            if self._beyond_tolerance(one):
                continue
            without = self._with([other for other in chosen.repairs if other is not one])
            instead = {work.key for work in without.further.works} - {work.key for work in chosen.further.works}
            if without.objective <= chosen.objective and not self._masks(instead, one):
                chosen = without
        return chosen

    def _masks(self, instead: set[Key], one: Repair) -> bool:
        """Whether other works stand in for a repair: allowed only for one that is not settled, and not on its own part."""
        settled = all(self._settled(work) for work in one.works)
        return bool(instead) and (settled or any(key[0] == work.how for key in instead for work in one.works))

    def _with(self, repairs: Sequence[Repair]) -> _Chosen:
        key = tuple(sorted(id(one) for one in repairs))
        if key not in self._known:
            done = joined(self.bench, [work for one in repairs for work in one.works])
            further = self._further(done)
            cost = sum(one.cost for one in done)
            self._known[key] = _Chosen(repairs=tuple(repairs), further=further, objective=cost + further.objective)
        return self._known[key]

    def _further(self, done: list[Work]) -> Best:
        best = best_further(self.bench, done, style=self.style, settings=self.settings)
        filed = [one for one in best.works if one.how == "slots"]
        if filed and self.measured_mm:  # measured already: it must be sure to help
            before = self.bench.outcome(
                all_done(self.bench, joined(self.bench, [*done, *(one for one in best.works if one not in filed)]))
            )
            after = self.bench.outcome(all_done(self.bench, joined(self.bench, [*done, *best.works])))
            if np.mean(after.worst < before.worst) < SURE_TO_HELP:
                return best_further(self.bench, done, style=self.style, settings=self.settings, slots=False)
        return best

    def _say_what_stays(self, chosen: _Chosen) -> None:
        kept = {id(one.fault) for one in chosen.repairs}
        for one in self.repairs:
            if id(one.fault) not in kept and one.works and one.fault.finding.text not in " ".join(self.advice):
                needs = "neither the limit nor the tolerance in mm needs" if self.neck.tolerance_mm else "the limit does not need"
                self.advice.append(f"May stay, {needs} it put right: {one.fault.finding.text}")
            elif not one.works:
                self.advice.append(f"Nothing on this neck can be moved to put this right: {one.fault.finding.text}")

    def _out_of_reach(self) -> Plan:
        """No work brings the neck within: what was found is put right, and how far the rest could go is said."""
        repairs = [one for one in self.repairs if one.works and not self._still_unsure(one)]
        kept = [one for one in repairs if self._helps(one, repairs)]
        doubted = self._doubted_slots()
        if doubted is not None:
            return self._end([*(work for one in kept for work in one.works), doubted])
        self.advice += three_figures(self.bench, [work for one in kept for work in one.works], self.style, self.settings)
        if not self.repairs:
            self.advice.append(
                "Out of the limit, and nothing wrong was found: the limit asks for more than this neck as described gives."
            )
        return self._end([work for one in kept for work in one.works])

    def _doubted_slots(self, least: float = 1.0) -> Work | None:
        """Filing that hangs on whether the nut or the finger is to blame, where the clearance was not measured yet: they are
        found to be rivals, or the slots are high with the probability `least`."""
        bench = self.bench
        if not bench.slotted or set(bench.slotted) <= set(self.measured_mm):
            return None
        over = np.mean(
            [bench.clearances_mm(bench.theta, one) - bench.designed_clearance_mm(one) for one in bench.slotted], axis=0
        )
        high = over[over > self.settings.nut_height_mm]
        causes = {one.cause for one in self.found.findings} | {one.cause for f in self.found.findings for one in f.rivals}
        if not len(high) or ("nut_height" not in causes and len(high) < least * len(over)):
            return None
        filed = round(float(np.mean(high)) / bench.above_nut, 2)
        return Work(how="slots", cost=self.settings.cost_slots, slots=tuple(bench.slotted), filed_mm=filed)

    def _helps(self, one: Repair, repairs: list[Repair]) -> bool:
        """Whether a repair lowers the worst note to expect beside the others."""
        every = [work for other in repairs for work in other.works]
        rest = [work for other in repairs if other is not one for work in other.works]
        with_it, without = (self.bench.outcome(all_done(self.bench, works)).expected_worst for works in (every, rest))
        return self._beyond_tolerance(one) or with_it < without

    # telling the work

    def _end(self, works: Sequence[Work]) -> Plan:
        """Steps in order; work that is not settled is put off until it has been measured."""
        works = joined(self.bench, works)
        unsettled = [one for one in works if not self._settled(one)]
        if unsettled:
            works = [one for one in works if one.fault is not None and one not in unsettled]
        works.sort(key=lambda one: (ORDER.index(one.how), one.string or 0, one.fret or 0))
        corrections, outcome = self._steps(works)
        for one in unsettled[:1]:
            corrections.append(self._measure(one, works, outcome))
        p = self.p if not works else outcome.probability
        return Plan(corrections=tuple(corrections), predicted=self._predicted(outcome, p=p), advice=tuple(self.advice))

    def _settled(self, work: Work) -> bool:
        """Whether it may be done outright: it can be undone, or is sure and without rival; slots only once measured."""
        if work.how == "slots" and work.filed_mm > 0.0 and not set(work.slots) <= set(self.measured_mm):
            return False
        return (work.how == "slots" and work.fault is None) or work.settled(self.settings.risk)

    def _steps(self, works: list[Work]) -> tuple[list[Correction], Outcome]:
        theta, before, left = self.bench.theta, self.now, list(works)
        corrections = []
        while left:
            together = self._together(left, theta, before)
            theta = all_done(self.bench, together, theta)
            before = self.bench.outcome(theta)
            left = [one for one in left if one not in together]
            text = " ".join(text_of(one, self.bench, self.settings, measured_mm=self.measured_mm) for one in together)
            if len(together) > 1:
                text = f"Together, since one without the other would make it worse: {text}"
            corrections.append(
                Correction(
                    kind="repair" if any(one.fault is not None for one in together) else "further",
                    moves=tuple(move for one in together for move in self._moves(one)),
                    predicted=StepPrediction(worst_cents=before.expected_worst, probability_within=before.probability),
                    text=text,
                )
            )
        return corrections, before

    def _together(self, left: list[Work], theta: Reals, before: Outcome) -> list[Work]:
        """The next work, with the fewest others that keep it from raising the worst note."""
        for others in range(len(left)):
            tried = [[left[0], *chosen] for chosen in combinations(left[1:], others)]
            raised = [
                self.bench.outcome(all_done(self.bench, one, theta)).expected_worst - before.expected_worst for one in tried
            ]
            best = int(np.argmin(raised))
            if raised[best] <= RAISES_CENTS:
                return tried[best]
        return list(left)

    def _moves(self, work: Work) -> tuple[Move, ...]:
        to = {}
        for string in work.slots:
            if string in self.measured_mm:
                to[string] = max(
                    self.measured_mm[string] - work.lost_clearance_mm(self.bench), self.bench.least_clearance_mm(string)
                )
        return moves_of(work, self.bench, to_clearance=to)

    def _measure(self, work: Work, before: list[Work], outcome: Outcome) -> Correction:
        finding = None if work.fault is None else work.fault.finding
        text = measurement_for(self.bench, finding).sentence(self.bench, work, before)
        predicted = StepPrediction(worst_cents=outcome.expected_worst, probability_within=outcome.probability)
        return Correction(kind="measure", moves=(), predicted=predicted, text=text)

    def _predicted(self, outcome: Outcome, *, p: float) -> Predicted:
        low, high = np.quantile(outcome.worst, [0.05, 0.95])
        return Predicted(worst_cents=outcome.expected_worst, worst_90=(float(low), float(high)), probability_within=p)


def _layout(bench: Bench) -> Plan:
    """A fretboard marked out by a wrong rule is beyond single moves, and nut and saddle are set only once it is right."""
    outcome = bench.outcome(bench.theta)
    text = (
        f"The layout itself is out ({bench.posterior.rule.name}): nut and saddle could only share the error out. The cure is a "
        "new fretboard, or all slots filled and cut anew from the nut line. That is not undone: first measure from the nut to "
        "three frets by rule and compare with `layout NECK`. Nut and saddle come after a new reading. "
        f"{SLACKEN} {CUTTING}"
    )
    predicted = StepPrediction(worst_cents=outcome.expected_worst, probability_within=outcome.probability)
    low, high = np.quantile(outcome.worst, [0.05, 0.95])
    return Plan(
        corrections=(Correction(kind="measure", moves=(), predicted=predicted, text=text),),
        predicted=Predicted(
            worst_cents=outcome.expected_worst, worst_90=(float(low), float(high)), probability_within=outcome.probability
        ),
        advice=(),
    )
