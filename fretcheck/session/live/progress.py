"""How far a plan has come: what is asked for now, the plucks that count, the steps left out, and the pace.

Conventions: a step is an index into the plan's asks. Steps may be done in any order; a withdrawn pluck opens its step again.
"""

import statistics
from collections.abc import Callable, Iterable, Sequence

from fretcheck.session.placed_reading import Reading
from fretcheck.session.plan import Ask, Plan

_PACE_KNOWN_FROM = 3  # Notes


class Progress:
    """What of a plan is done, and what is next.

    `clock`: seconds, monotonic; for the pace. `taken`: what is accepted already. `skipped`: steps left out already.
    """

    def __init__(
        self, plan: Plan, *, clock: Callable[[], float], taken: Sequence[Reading] = (), skipped: Iterable[int] = ()
    ) -> None:
        self.plan = plan
        self._clock = clock
        self._taken = list(taken)
        self._skipped = set(skipped)
        self._step_times: list[float] = []
        self._last_step_at: float | None = None
        self._recheck: Ask | None = None  # An open check that the plan did not foresee
        self._step = self._next_step(0)

    @property
    def ask(self) -> Ask | None:
        """What is asked for now; None when the plan is done."""
        if self._recheck is not None:
            return self._recheck
        return self.plan.asks[self._step] if self._step is not None else None

    @property
    def step(self) -> int | None:
        """Index of what is asked for; None for an unforeseen open check, or when the plan is done."""
        return None if self._recheck is not None else self._step

    @property
    def taken(self) -> tuple[Reading, ...]:
        """Accepted plucks that count, in the order in which they were played."""
        return tuple(self._taken)

    @property
    def skipped(self) -> frozenset[int]:
        """Steps left out."""
        return frozenset(self._skipped)

    @property
    def notes_left(self) -> int:
        """How many asks of the plan are still open."""
        return len(self.plan.asks) - len(self._done())

    @property
    def seconds_left(self) -> float | None:
        """Time left at the player's own pace (median of the notes so far); None until three notes are taken."""
        if len(self._step_times) < _PACE_KNOWN_FROM:
            return None
        return statistics.median(self._step_times) * self.notes_left

    def _next_step(self, start: int) -> int | None:
        """First open step from `start` on, or, when all those are done, the first of all."""
        done = self._done()
        steps = range(len(self.plan.asks))
        return next((i for i in (*steps[start:], *steps[:start]) if i not in done), None)

    def _step_on(self) -> None:
        if self._recheck is not None:
            self._recheck = None
        elif self._step is not None:
            self._step = self._next_step(self._step + 1)

    def _string_done(self, string: int) -> bool:
        """True when nothing more is asked of a string."""
        done = self._done()
        return all(i in done for i, ask in enumerate(self.plan.asks) if ask.string == string)

    def _fretted_before(self, step: int) -> int:
        """The fretted step before `step` on the same string, or the string's first open step."""
        string = self.plan.asks[step].string
        same = [i for i in range(step) if self.plan.asks[i].string == string]
        fretted = [i for i in same if self.plan.asks[i].fret > 0]
        return fretted[-1] if fretted else (same[-1] if same else step)

    def _grow(self, asks: Sequence[Ask]) -> None:
        """The plan asks for more, after all that it asked before."""
        self._step = len(self.plan.asks)
        self.plan = self.plan.grown(asks)

    def _begin_step(self) -> None:
        """The player's time for the next note begins now."""
        self._last_step_at = self._clock()

    def _take(self, taken: Reading) -> None:
        """A pluck was accepted."""
        self._taken.append(taken)
        now = self._clock()
        if self._last_step_at is not None:
            self._step_times.append(now - self._last_step_at)
        self._last_step_at = now

    def _withdraw(self, plucks: Iterable[Reading]) -> tuple[int, ...]:
        """These no longer count; returns their numbers."""
        gone = tuple(plucks)
        self._taken = [taken for taken in self._taken if taken not in gone]
        return tuple(taken.number for taken in gone if taken.number is not None)

    def _go_to(self, step: int) -> tuple[int, ...]:
        """Ask for a step again: what was taken for it no longer counts; returns the numbers of those plucks."""
        self._skipped.discard(step)
        self._recheck, self._step = None, step
        return self._withdraw(taken for taken in self._taken if taken.step == step)

    def _done(self) -> set[int]:
        return self._skipped | {taken.step for taken in self._taken if taken.step is not None}
