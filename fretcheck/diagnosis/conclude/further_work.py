"""Further work: the set that costs least, counting a neck that may still lie outside as a neck that may come back.

Least Σ cost + R·(1 − P) over what the parts allow: saddles (each, or the whole, straight or slanted), nut slots, and the nut's
place last, which is looked at only if everything easier leaves P below one half. Strings are independent of each other within
a draw, so each has its own few options and the best combination is found string by string, keeping the most promising.

Conventions: as in `bench` and `piece_of_work`; P is over the bench's draws. Saddles and the nut's place are searched on the
tangent (they act linearly to 0.1 cents within 2 mm), slots through the forward model, as the end is weighed.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fretcheck.diagnosis.conclude.bench import PLACE_SLIP_MM, Bench
from fretcheck.diagnosis.conclude.piece_of_work import How, Work, all_done, saddle_set, straight_saddle
from fretcheck.diagnosis.conclude.repairs import joined
from fretcheck.diagnosis.conclude.saddle_places import Moves, best_straight
from fretcheck.diagnosis.settings import DiagnosisSettings, SaddleStyle

ENOUGH = 0.5  # Probability of lying within from which on no nut is moved, and below which a neck is worked on
AGAIN = 0.2  # Cost of setting a part better that is to be moved anyway: no more work, but no fiddling for a hundredth of P either
DEEPER = 1.0  # Cost of 0.05 mm more off slots that are filed anyway: it does not come back, and must buy a twentieth of P
LEAST_MOVE_MM = 0.1  # Less than a bench can tell
FILINGS_MM = (0.05, 0.10, 0.15, 0.20, 0.30, 0.40)
NUT_STEP_MM = 0.25
KEPT = 400  # Combinations carried from string to string; six strings of four options have 4096, of two 64

ByString = dict[int, Moves]


@dataclass(frozen=True, kw_only=True)
class Best:
    """The best further work from one state of the neck."""

    works: tuple[Work, ...]
    objective: float  # Cost of the further works + R·(1 − P)
    probability: float


@dataclass(frozen=True, kw_only=True)
class _Option:
    cost: float
    works: tuple[Work, ...]
    within: NDArray[np.bool_]


def best_further(
    bench: Bench, done: Sequence[Work], *, style: SaddleStyle | None, settings: DiagnosisSettings, slots: bool = True
) -> Best:
    """What to do beyond the works already `done`.

    `style`: how the saddles can be moved; None: not known, all ways are looked at. `slots`: whether nut slots
    may be filed.
    """
    theta = all_done(bench, done)
    search = _Search(bench=bench, done=tuple(done), style=style, settings=settings)
    here = bench.outcome(theta)
    moves = bench.saddle_moves(here.notes)
    best = search.best(moves)
    repaired = [one for one in done if one.how == "slots"]
    filed: dict[float, ByString] = {}
    if slots and bench.slotted and not repaired and best.objective > settings.cost_slots:
        filed = {mm: bench.saddle_moves(here.notes + bench.by_filing(mm)) for mm in FILINGS_MM}
    deeper = slots and [one.slots for one in repaired if one.filed_mm > 0.0] == [tuple(bench.slotted)]
    for mm in FILINGS_MM if filed or deeper else ():
        cost = DEEPER * mm / FILINGS_MM[0] if deeper else settings.cost_slots  # filed anyway, they may go below the design
        every = Work(how="slots", cost=cost, slots=tuple(bench.slotted), filed_mm=mm)
        if best.objective > cost:
            lower = bench.saddle_moves(bench.outcome(all_done(bench, joined([*done, every]))).notes) if deeper else filed[mm]
            best = min(best, search.best(lower, before=every), key=lambda one: one.objective)
    if filed:
        best = min(best, search.best(moves, filed=filed), key=lambda one: one.objective)
    column = bench.column("nut_position")
    if best.probability < ENOUGH and column is not None:
        for mm in np.arange(-settings.most_nut_mm, settings.most_nut_mm + 0.5 * NUT_STEP_MM, NUT_STEP_MM):
            move = Work(how="nut", cost=settings.cost_nut, shifts=((column, round(float(mm), 3)),))
            slipped = (float(mm) + PLACE_SLIP_MM * bench.slips[:, column])[:, None] * bench.nut_slopes
            shifted = bench.saddle_moves(here.notes + slipped)
            best = min(best, search.best(shifted, before=move, finely=False), key=lambda one: one.objective)
    probability = bench.outcome(all_done(bench, joined([*done, *best.works]))).probability
    objective = sum(one.cost for one in best.works) + _missing(probability, settings)
    untouched = _missing(here.probability, settings)
    if untouched <= objective:
        return Best(works=(), objective=untouched, probability=here.probability)
    return Best(works=best.works, objective=objective, probability=probability)


def _missing(probability: float | np.floating, settings: DiagnosisSettings) -> float:
    return settings.cost_neck_back * (1.0 - float(probability))


@dataclass(frozen=True, kw_only=True)
class _Search:
    bench: Bench
    done: tuple[Work, ...]
    style: SaddleStyle | None
    settings: DiagnosisSettings

    def best(
        self, moves: ByString, *, before: Work | None = None, filed: dict[float, ByString] | None = None, finely: bool = True
    ) -> Best:
        """The best setting of the saddles by their moves; with `filed`, moves after filing by so much, of single slots too."""
        first = () if before is None else (before,)
        start = sum(one.cost for one in first)
        bench = self.bench
        plain = {string: moves[string].inside(0.0) for string in bench.strings}
        options = {string: [_Option(cost=0.0, works=(), within=plain[string])] for string in bench.strings}
        each = self.style in (None, "per_string")
        for string in bench.strings:
            if each:
                options[string].append(self._one_saddle(string, moves[string], ()))
            if filed and string in bench.slotted:
                options[string] += self._slot(string, filed, each=each)
        best = self._joined(options, start, first)
        for option in self._straight(moves, finely=finely):
            objective = start + option.cost + _missing(np.mean(option.within), self.settings)
            if objective < best.objective:
                best = Best(works=(*first, *option.works), objective=objective, probability=float(np.mean(option.within)))
        return best

    def _one_saddle(self, string: int, moves: Moves, before: tuple[Work, ...]) -> _Option:
        bench, settings = self.bench, self.settings
        column = bench.saddle_column(string)
        slip = PLACE_SLIP_MM * bench.slips[:, column] if column is not None else 0.0
        reach = settings.most_saddle_mm
        move = moves.best(bound=reach, slip=slip)
        again = any(one.how == "saddle" and one.string == string for one in self.done)
        cost = AGAIN if again else settings.cost_saddle
        midpoints = 0.5 * (moves.low + moves.high)
        work = saddle_set(bench, string, move, cost=cost, u_mm=float(np.std(midpoints[np.isfinite(midpoints)])))
        if abs(work.mm) < LEAST_MOVE_MM:
            return _Option(cost=cost, works=before, within=moves.inside(0.0))
        cost += sum(one.cost for one in before)
        return _Option(cost=cost, works=(*before, work), within=moves.inside(work.mm + slip))

    def _slot(self, string: int, filed: dict[float, ByString], *, each: bool) -> list[_Option]:
        best: dict[int, _Option] = {}  # By how many works it takes
        for mm, of_strings in filed.items():
            work = Work(how="slots", cost=self.settings.cost_slots, slots=(string,), filed_mm=mm)
            moves = of_strings[string]
            options = [_Option(cost=work.cost, works=(work,), within=moves.inside(0.0))]
            for one in [*options, *([self._one_saddle(string, moves, (work,))] if each else [])]:
                known = best.get(len(one.works))
                if known is None or np.mean(one.within) > np.mean(known.within):
                    best[len(one.works)] = one
        return list(best.values())

    def _joined(self, options: dict[int, list[_Option]], start: float, first: tuple[Work, ...]) -> Best:
        """The best choice of one option a string."""
        size = len(self.bench.theta)
        within, cost = np.ones((1, size), dtype=bool), np.array([start])
        chosen: list[tuple[int, ...]] = [()]
        order = sorted(options, key=lambda one: float(np.mean(options[one][0].within)))  # what decides most first
        for string in order:
            here = options[string]
            within = np.concatenate([within & one.within for one in here])
            cost = np.concatenate([cost + one.cost for one in here])
            chosen = [(*way, number) for number in range(len(here)) for way in chosen]
            objective = cost + self.settings.cost_neck_back * (1.0 - np.mean(within, axis=1))
            kept = np.argsort(objective, kind="stable")[:KEPT]
            within, cost, chosen = within[kept], cost[kept], [chosen[number] for number in kept.tolist()]
        works = tuple(work for string, number in zip(order, chosen[0], strict=True) for work in options[string][number].works)
        probability = float(np.mean(within[0]))
        return Best(
            works=(*first, *works), objective=float(cost[0]) + _missing(probability, self.settings), probability=probability
        )

    def _straight(self, moves: ByString, *, finely: bool) -> list[_Option]:
        """The saddle moved in one piece, in the ways that this neck allows."""
        bench, settings, style = self.bench, self.settings, self.style
        if style == "per_string" or len(bench.strings) < 2:
            return []
        sides = np.array([bench.side[string] for string in bench.strings])
        listed = [moves[string] for string in bench.strings]
        column = bench.column("bridge")
        slip = PLACE_SLIP_MM * bench.slips[:, column] if column is not None else 0.0
        again = any(one.how in ("straight_saddle", "seat") for one in self.done)
        ways: list[tuple[bool, How]] = [(False, "straight_saddle"), (True, "straight_saddle")]
        if style in ("none", "whole"):
            ways = [(False, "straight_saddle"), (True, "seat")]
        ways = ways[1:] if style in ("none", "slant") else ways
        answer = []
        for slant, how in ways:
            cost = AGAIN if again else (settings.cost_seat if how == "seat" else settings.cost_saddle)
            bound = settings.most_saddle_mm
            treble, bass = best_straight(listed, sides, bound=bound, slant=slant, slip=slip, finely=finely)
            midpoints = np.mean([0.5 * (one.low + one.high) for one in listed], axis=0)
            work = straight_saddle(bench, treble, bass, how=how, cost=cost, u_mm=float(np.std(midpoints)))
            assert work.bass_mm is not None
            if max(abs(work.mm), abs(work.bass_mm)) < LEAST_MOVE_MM:
                continue
            places = [0.5 * ((1.0 + side) * work.mm + (1.0 - side) * work.bass_mm) for side in sides.tolist()]
            within = np.all([one.inside(place + slip) for one, place in zip(listed, places, strict=True)], axis=0)
            answer.append(_Option(cost=cost, works=(work,), within=within))
        return answer
