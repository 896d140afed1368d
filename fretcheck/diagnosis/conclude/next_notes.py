"""Which notes to pluck next: those whose readings take most from the variance of what is still open.

What is open, as functions of one draw: whether a note is out, and which way; every fret's place and tilt that is not named yet,
in units of what is looked for; of every cause between 5 and 95 % whether it exceeds its practical size. With S the covariance of
notes and these functions over the draws, a pluck of note c takes Σ_q S_cq² / (S_cc + u²) from their variance, and
S ← S − S_c S_cᵀ / (S_cc + u²) is what is left: Gaussian, rank one, so that no reading has to be imagined.
"""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fretcheck.arrays import Reals
from fretcheck.diagnosis.conclude.causes import PossibleCause, possible_causes
from fretcheck.diagnosis.conclude.notes import Place, asked_notes
from fretcheck.diagnosis.conclude.verdict import UNHEARD_OUT
from fretcheck.diagnosis.infer.draws import JointDraws, joint_draws
from fretcheck.diagnosis.infer.inference import infer
from fretcheck.diagnosis.infer.posterior import Posterior
from fretcheck.diagnosis.infer.scatter import wider_at
from fretcheck.diagnosis.observation import Observation
from fretcheck.diagnosis.result import Decision
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.neck.description import Neck

MOST_NOTES, MOST_STRINGS, MOST_TIMES = 9, 3, 2  # Of one batch: notes, strings, and plucks of the same note
OPEN_CENTS = 0.15  # Error of the open reference that a new batch's notes are counted from, beside the hand
LOOK_FOR_MM = 0.30  # Size of a fault that every fret is looked at for, unless a smaller one is asked for
# A cause's probability within the first is worth plucks when there are any; within the second more plucks are needed
OPEN_SHARES, UNSURE_SHARES = (0.05, 0.95), (0.20, 0.90)
# Accepted probability that a fret not named lies beyond what is looked for: each by itself, or over all 40 places and tilts of a
# neck together. Plucks of 40 own necks each, sound and with a fret 0.40 mm out, and how many of these it was named first on: by
# the second alone, stood by twice, 98, 104 (82 %), by the first alone 92, 96 (75 %), by either 87, 88 (75 %). Of 8 necks, 0.007,
# 0.01 and 0.015 as the first took 81, 74 and 74
MISSED, MISSED_ALTOGETHER = 0.01, 0.05


@dataclass(frozen=True, kw_only=True)
class WhatIsOpen:
    """What the readings so far leave open on a neck; see `what_is_open`."""

    posterior: Posterior
    draws: JointDraws
    judged: NDArray[np.bool_]  # Cells that the verdict is about
    limit_cents: float
    look_for_mm: float | None  # None where the verdict alone is what matters, and no cause is open then
    settings: DiagnosisSettings
    causes: tuple[PossibleCause, ...]
    out_once: tuple[Place, ...] = ()  # heard once, and out of the limit by that pluck: a bad pluck, or a dent

    @cached_property
    def within(self) -> float:
        """Probability that every note judged lies within the limit."""
        return float(np.mean(~np.any(self._out, axis=1)))

    @cached_property
    def side(self) -> Decision:
        """The verdict by that probability."""
        risk = self.settings.risk
        return "pass" if self.within >= 1.0 - risk else "fail" if self.within <= risk else "undecided"

    @cached_property
    def to_hear(self) -> tuple[Place, ...]:
        """To be heard before a pass: unheard notes out with more than `UNHEARD_OUT`, the likeliest first, then `out_once`."""
        chance = np.mean(self._out, axis=0)
        chance[self.posterior.heard] = 0.0
        cells = self.posterior.design.cells
        order = np.argsort(-chance, kind="stable")
        return (*((cells[n].string, cells[n].fret) for n in order if chance[n] > UNHEARD_OUT), *self.out_once)

    @cached_property
    def missed(self) -> Reals:
        """Of every fret's place and tilt not yet decided, the chance that it lies beyond the size looked for; else 0."""
        if self.look_for_mm is None:
            return np.zeros(0)
        named = np.array([one.judged_probability >= OPEN_SHARES[1] for one in self._frets], dtype=bool)
        missed = np.where(named, 0.0, np.mean(np.abs(self._values(self._frets)) > self.look_for_mm, axis=0))
        return np.where((missed > MISSED) & (np.sum(missed) > MISSED_ALTOGETHER), missed, 0.0)

    @cached_property
    def suspects(self) -> tuple[PossibleCause, ...]:
        """Causes neither named nor ruled out, and two of the frets not yet sure; the likeliest first."""
        low, high = UNSURE_SHARES
        found = [one for one in self.causes if low <= one.judged_probability <= high]
        found.sort(key=lambda one: -one.judged_probability)
        found += [self._frets[n] for n in np.argsort(-self.missed)[:2] if self.missed[n] and self._frets[n] not in found]
        return tuple(found)

    @property
    def causes_decided(self) -> bool:
        """Whether every cause is named or ruled out, and no fret is left that may be out by what is looked for."""
        low, high = UNSURE_SHARES
        return not np.any(self.missed) and not any(low <= one.judged_probability <= high for one in self.causes)

    @cached_property
    def matters(self) -> Reals:
        """Of every draw what is open, shape (draws, functions)."""
        notes = np.where(self.judged, self.draws.notes, 0.0)
        worst = np.argmax(np.abs(notes), axis=1)
        worst_out = 2.0 * np.sign(notes[np.arange(len(notes)), worst]) * np.any(self._out, axis=1)
        low, high = OPEN_SHARES
        causes = [one for one in self.causes if low <= one.judged_probability <= high]
        sizes = np.array([one.estimate.practical_size for one in causes])
        values = self._values(causes)
        matters = np.column_stack([worst_out, np.sign(values) * (np.abs(values) > sizes)])
        if self.look_for_mm is not None:
            frets = [one for one in self._frets if one.judged_probability < high]
            matters = np.column_stack([matters, self._values(frets) / self.look_for_mm])
        return matters[:, np.any(matters != matters[:1], axis=0)]

    @cached_property
    def noise(self) -> Reals:
        """Variance of one more pluck of every cell: the hand's, and that of a new open reference."""
        hand = self.posterior.scatter
        usual = float(np.mean(list(hand.cents.values())))
        cells = self.posterior.design.cells
        spread = np.array([hand.cents.get(cell.string, usual) * wider_at(cell.fret, hand.low) for cell in cells])
        return np.asarray(spread**2 + OPEN_CENTS**2)

    def choose(
        self, *, notes: int = MOST_NOTES, strings: int = MOST_STRINGS, passed_over: Collection[Place] = ()
    ) -> tuple[Place, ...]:
        """Notes to pluck next, sorted by string and fret, a note as often as it is to be plucked.

        `notes`, `strings`: at most so many. `passed_over` (string, fret): notes that are not to be asked for. A note may be
        asked for as often as it tells: where one note alone is in doubt, eight plucks of it decide where four do not.
        """
        places = [(cell.string, cell.fret) for cell in self.posterior.design.cells]
        able = [n for n in np.flatnonzero(self.judged) if places[n] not in passed_over]
        if not able or not self.matters.size:
            return ()
        both = np.concatenate([self.draws.notes[:, able], self.matters], axis=1)
        both = both - both.mean(axis=0)
        spread = both.T @ both / len(both)
        noise = self.noise[able]
        own = np.array([places[n][0] for n in able])
        count, chosen, used = len(able), np.zeros(len(able), dtype=int), set[int]()
        # A pass needs these heard, whatever else is open.
        first = np.array([self.side == "pass" and places[n] in self.to_hear for n in able])
        for _ in range(notes):
            gain = np.sum(spread[:count, count:] ** 2, axis=1) / (np.diag(spread)[:count] + noise)
            begun = np.isin(own, list(used))
            gain = np.where(begun, gain, 0.5 * gain)
            gain[(chosen >= MOST_TIMES) | (~begun & (len(used) >= strings))] = -1.0
            left = first & (chosen == 0) & (gain >= 0.0)
            if left.any():
                gain[~left] = -1.0
            best = int(np.argmax(gain))
            if gain[best] <= 0.0:
                break
            chosen[best] += 1
            used.add(int(own[best]))
            column = spread[:, best].copy()
            spread -= np.outer(column, column) / (column[best] + noise[best])
        return tuple(sorted(places[able[n]] for n in np.repeat(np.arange(count), chosen)))

    @cached_property
    def _out(self) -> NDArray[np.bool_]:
        return (np.abs(self.draws.notes) > self.limit_cents) & self.judged

    @cached_property
    def _frets(self) -> list[PossibleCause]:
        return [one for one in self.causes if one.estimate.cause in ("fret_position", "fret_tilt")]

    def _values(self, causes: Sequence[PossibleCause]) -> Reals:
        """Of every draw, shape (draws, causes)."""
        rows = np.array([one.row for one in causes]).reshape(len(causes), self.draws.theta.shape[1])
        return np.asarray(self.draws.theta @ rows.T + np.array([one.offset for one in causes]))


def what_is_open(
    neck: Neck,
    observations: Sequence[Observation],
    *,
    asked: Collection[Place] | None = None,
    look_for_mm: float | None = LOOK_FOR_MM,
    settings: DiagnosisSettings = DiagnosisSettings(),  # noqa: B008
) -> WhatIsOpen:
    """What the readings so far leave open; parameters as in `diagnose`, and `look_for_mm` None for the verdict alone."""
    places = frozenset(asked_notes(neck, observations, asked, judge_open_notes=False))
    limit = settings.limit_cents if settings.limit_cents is not None else neck.tolerance_cents
    posterior = infer(neck, observations)
    heard: dict[Place, list[float]] = defaultdict(list)
    for one in observations:
        if one.press is None:
            heard[one.string, one.fret].append(one.cents)
    judged = [cell.press is None and (cell.string, cell.fret) in places for cell in posterior.design.cells]
    return WhatIsOpen(
        posterior=posterior,
        draws=joint_draws(posterior),
        judged=np.array(judged, dtype=bool),
        limit_cents=limit,
        look_for_mm=look_for_mm,
        settings=settings,
        causes=() if look_for_mm is None else possible_causes(posterior, settings),
        out_once=tuple(sorted(at for at in places & heard.keys() if len(heard[at]) == 1 and abs(heard[at][0]) > limit)),
    )
