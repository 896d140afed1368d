"""What to do about a neck: nothing, another pluck, a measurement, or work, as a good luthier would decide it.

P is the probability that every note asked for lies within the limit. P at 1 − risk or more: nothing to do. From one half: no
work, the notes to pluck again. Below: what was found is put right first, then the further work that costs least, counting a
neck that comes back. Work that cannot be undone is advised only when it is sure and has no rival; else the plan ends with the
measurement that decides.

Conventions: as in `piece_of_work`. A step's prediction is the mean, over draws of what the neck may truly be, of the worst note
once that step and those before it are done.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.diagnosis.conclude.bench import Bench, Outcome
from fretcheck.diagnosis.conclude.deciding_measurement import made_for, measurement
from fretcheck.diagnosis.conclude.findings import Findings
from fretcheck.diagnosis.conclude.further_work import ENOUGH, Best, best_further
from fretcheck.diagnosis.conclude.notes import Place
from fretcheck.diagnosis.conclude.out_of_reach import three_figures
from fretcheck.diagnosis.conclude.piece_of_work import ORDER, Work, all_done, moves_of
from fretcheck.diagnosis.conclude.repairs import LEAST_FILING_MM, faults_of, joined, repairs_of
from fretcheck.diagnosis.conclude.verdict import OFTEN_ENOUGH
from fretcheck.diagnosis.conclude.words import listed_notes
from fretcheck.diagnosis.conclude.work_words import CUTTING, SLACKEN, text_of
from fretcheck.diagnosis.infer.draws import JointDraws
from fretcheck.diagnosis.infer.posterior import Posterior
from fretcheck.diagnosis.model.layout_rules import DESIGNED
from fretcheck.diagnosis.result import Correction, Predicted, StepPrediction, Verdict
from fretcheck.diagnosis.settings import DiagnosisSettings

RAISES_CENTS = 0.2  # A step that raises the worst note to expect by more is done together with those that lower it again
SURE_TO_HELP = 0.95
# Probability of high slots from which they are measured before a nut is moved unfound, or a neck given up: below it a cause is
# ruled out, as in plan `deciding`. Plans for own necks (seed 902) that told a shelf without need: 5 of 72, none of them with it;
# of 36 (seed 3101) 4 gave a nut 0.40 mm high up as "nothing found", none with it
HIGH_SLOTS_OPEN = 0.05
MAY_HELP = 0.01  # A measurement is asked for where the work that follows may bring the neck within at all
WORTH_A_REPAIR = 0.5  # Notes out of the limit that a repair must save, where the neck stays out with it


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

    repairs: tuple[Work, ...]
    further: Best
    objective: float


class _Planner:
    def __init__(
        self, *, bench: Bench, found: Findings, again: Sequence[Place], verdict: Verdict, settings: DiagnosisSettings
    ) -> None:
        self.bench, self.settings, self.again, self.found, self.verdict = bench, settings, again, found, verdict
        self.neck = bench.posterior.design.neck
        self.style = settings.saddle or self.neck.saddle_moves
        self.now = bench.outcome(bench.theta)
        self.p = self.now.probability if verdict.probability_within is None else verdict.probability_within
        self.faults = faults_of(bench.posterior, found)
        self.repairs = [work for one in self.faults for work in repairs_of(bench, one, style=self.style, settings=settings)]
        self.advice: list[str] = []

    def plan(self) -> Plan:
        if self.p >= ENOUGH or self.verdict.decision == "pass":
            return self._leave()
        if self.bench.posterior.rule.name != DESIGNED:
            return self._new_board()
        able = [one for one in self.repairs if not self._still_unsure(one)]
        chosen = self._choose(able)
        if chosen.further.probability < ENOUGH:
            return self._out_of_reach(able)
        works = [*chosen.repairs, *chosen.further.works]
        moved = next((one for one in works if one.how == "nut" and one.fault is None), None)
        doubted = self._doubted_slots() if moved is not None else None
        if doubted is not None:  # a gauge over fret 1 is easier than a nut moved for what may be a high slot
            return self._end([*chosen.repairs, doubted], otherwise=works)
        return self._end(works)

    # nothing to do, or another pluck

    def _leave(self) -> Plan:
        """The neck lies within, or may: only frets that `tolerance_mm` does not allow are worked on."""
        frets = [one for one in self.repairs if self._beyond_tolerance(one)]
        if frets:
            return self._end(frets)
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
        return (_measure(text, self.now, p=self.p, notes=tuple(self.again)),)

    # choosing the work

    def _beyond_tolerance(self, one: Work) -> bool:
        """Whether a found fret is surely further out than the neck's tolerance in mm."""
        finding = None if one.fault is None else one.fault.finding
        sure = finding is not None and finding.cause == "fret_position" and finding.probability >= 1.0 - self.settings.risk
        return sure and self.neck.tolerance_mm is not None

    def _still_unsure(self, one: Work) -> bool:
        """Whether it cannot be undone, is not sure, and was measured already: it is then left."""
        assert one.fault is not None
        if self._settled(one) or not made_for(self.bench, one.fault.finding):
            return False
        self.advice.append(f"Left as it is, since it is not sure enough to cut even when measured: {one.fault.finding.text}")
        return True

    def _choose(self, repairs: list[Work]) -> _Chosen:
        """Found repairs first; of these, those dropped that nothing needs and that no other move then stands in for."""
        chosen = self._with(repairs)
        for one in sorted(repairs, key=lambda one: -one.cost):
            if self._beyond_tolerance(one):
                continue
            without = self._with([other for other in chosen.repairs if other is not one])
            if without.objective <= chosen.objective and not self._stood_in_for(one, chosen, without):
                chosen = without
        return chosen

    def _stood_in_for(self, one: Work, chosen: _Chosen, without: _Chosen) -> bool:
        """Whether, a repair left out, its part is moved all the same, or other work of its kind, or (of a settled one) any."""
        keys = {work.key for work in without.further.works}
        instead = keys - {work.key for work in chosen.further.works}
        return one.key in keys or (bool(instead) and (self._settled(one) or any(key[0] == one.how for key in instead)))

    def _with(self, repairs: Sequence[Work]) -> _Chosen:
        done = joined(repairs)
        further = self._further(done)
        return _Chosen(repairs=tuple(repairs), further=further, objective=sum(one.cost for one in done) + further.objective)

    def _further(self, done: list[Work]) -> Best:
        best = best_further(self.bench, done, style=self.style, settings=self.settings)
        others = [one for one in best.works if one.how != "slots"]
        if len(others) < len(best.works) and self.bench.measured_mm:  # measured already: it must be sure to help
            before, after = (self.bench.outcome(all_done(self.bench, joined([*done, *one]))) for one in (others, best.works))
            if np.mean(after.worst < before.worst) < SURE_TO_HELP:
                return best_further(self.bench, done, style=self.style, settings=self.settings, slots=False)
        return best

    def _out_of_reach(self, able: list[Work]) -> Plan:
        """No work brings the neck within: what was found is put right, and how far the rest could go is said."""
        kept = [one for one in able if self._helps(one, able)]
        doubted = self._doubted_slots()
        if doubted is not None and self.bench.outcome(all_done(self.bench, [*kept, doubted])).probability >= MAY_HELP:
            return self._end([*kept, doubted])
        self.advice += three_figures(self.bench, kept, self.style, self.settings)
        if not self.faults:
            self.advice.append(
                "Out of the limit, and nothing wrong was found: the limit asks for more than this neck as described gives."
            )
        return self._end(kept)

    def _doubted_slots(self) -> Work | None:
        """Filing that hangs on whether the nut or the finger is to blame, where the clearance was not measured yet."""
        bench = self.bench
        if not bench.slotted or set(bench.slotted) <= set(self.bench.measured_mm):
            return None
        over = np.mean(
            [bench.clearances_mm(bench.theta, one) - bench.designed_clearance_mm(one) for one in bench.slotted], axis=0
        )
        high = over[over > self.settings.nut_height_mm]
        if len(high) < HIGH_SLOTS_OPEN * len(over):
            return None
        filed = round(float(np.mean(high)) / bench.above_nut, 2)
        return Work(how="slots", cost=self.settings.cost_slots, slots=tuple(bench.slotted), filed_mm=filed, if_high=True)

    def _helps(self, one: Work, repairs: list[Work]) -> bool:
        """Whether a repair brings notes within, or lowers the worst to expect, beside the others."""
        rest = [other for other in repairs if other is not one]
        with_it, without = (self.bench.outcome(all_done(self.bench, works)) for works in (repairs, rest))
        saved = without.expected_out - with_it.expected_out
        return self._beyond_tolerance(one) or saved >= WORTH_A_REPAIR or with_it.expected_worst < without.expected_worst

    # telling the work

    def _end(self, works: Sequence[Work], *, otherwise: Sequence[Work] = ()) -> Plan:
        """Steps in order; work that is not settled is put off until it has been measured (`otherwise`: done if it is not)."""
        works = [self._as_room_allows(one) for one in joined(works)]
        unsettled = [one for one in works if not self._settled(one)]
        if unsettled:
            works = [one for one in works if one.fault is not None and one not in unsettled]
        works.sort(key=lambda one: (ORDER.index(one.how), one.fault is None, one.string or 0, one.fret or 0))
        corrections, outcome = self._steps(works)
        for one in unsettled[:1]:
            corrections.append(_measure(measurement(self.bench, one, works, joined(otherwise)), outcome))
        self._say_what_is_left([*works, *unsettled[:1]], outcome, measured=bool(unsettled))
        p = self.p if not works else outcome.probability
        return Plan(corrections=tuple(corrections), predicted=self._predicted(outcome, p=p), advice=tuple(self.advice))

    def _as_room_allows(self, one: Work) -> Work:
        """Slots filed by no more than what was measured allows, so that every figure told of them is the same."""
        if one.how != "slots" or one.filed_mm <= 0.0 or not set(one.slots) <= set(self.bench.measured_mm):
            return one
        room = np.mean([max(self.bench.measured_mm[n] - self.bench.least_clearance_mm(n), 0.0) for n in one.slots])
        return replace(one, filed_mm=min(one.filed_mm, max(round(float(room) / self.bench.above_nut, 2), LEAST_FILING_MM)))

    def _say_what_is_left(self, told: list[Work], outcome: Outcome, *, measured: bool) -> None:
        """A word on every fault that the steps leave alone."""
        keys = {one.key for one in told}
        for fault in self.faults:
            text, own = fault.finding.text, [one for one in self.repairs if one.fault is fault]
            if any(one.key in keys for one in own) or any(text in line for line in self.advice):
                continue
            needs = "neither the limit nor the tolerance in mm needs" if self.neck.tolerance_mm else "the limit does not need"
            if not own:
                self.advice.append(f"Nothing that can be set on this neck puts this right: {text}")
            elif measured:
                self.advice.append(f"Can wait until the measurement asked for is made: {text}")
            elif outcome.probability >= ENOUGH:
                self.advice.append(f"May stay, {needs} it put right: {text}")
            else:
                self.advice.append(f"Left as it is, since it brings the neck no nearer to its limit: {text}")

    def _settled(self, work: Work) -> bool:
        """Whether it may be done outright: it can be undone, or is sure and without rival; slots only once measured."""
        if work.how == "slots" and work.filed_mm > 0.0 and not set(work.slots) <= set(self.bench.measured_mm):
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
            text = " ".join(text_of(one, self.bench, self.settings) for one in together)
            if len(together) > 1:
                text = f"Together, since one without the other would make it worse: {text}"
            corrections.append(
                Correction(
                    kind="repair" if any(one.fault is not None for one in together) else "further",
                    moves=tuple(move for one in together for move in moves_of(one, self.bench)),
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

    def _predicted(self, outcome: Outcome, *, p: float) -> Predicted:
        low, high = np.quantile(outcome.worst, [0.05, 0.95])
        return Predicted(worst_cents=outcome.expected_worst, worst_90=(float(low), float(high)), probability_within=p)

    def _new_board(self) -> Plan:
        """A fretboard marked out by a wrong rule is beyond single moves; nut and saddle are set only once it is right."""
        text = (
            f"The layout itself is out ({self.bench.posterior.rule.name}): nut and saddle could only share the error out. The "
            "cure is a new fretboard, or all slots filled and cut anew from the nut line. That is not undone: first measure from "
            "the nut to three frets by rule and compare with `layout NECK`. Nut and saddle come after a new reading. "
            f"{SLACKEN} {CUTTING}"
        )
        measure = _measure(text, self.now)
        return Plan(corrections=(measure,), predicted=self._predicted(self.now, p=self.now.probability), advice=())


def _measure(text: str, outcome: Outcome, *, p: float | None = None, notes: tuple[Place, ...] = ()) -> Correction:
    within = outcome.probability if p is None else p
    predicted = StepPrediction(worst_cents=outcome.expected_worst, probability_within=within)
    return Correction(kind="measure", moves=(), notes=notes, predicted=predicted, text=text)
