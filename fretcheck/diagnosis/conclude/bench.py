"""The neck on the repairer's bench: draws of what it may truly be, and what work on its parts does to every note of each draw.

Work goes through the forward model, not its tangent: a nut slot's height acts by its square.

Conventions: θ as in `parameters`, one row a draw, shape (draws, parameters); notes over the cells asked for, shape (draws,
notes), cents. mm, positive toward the bridge, heights positive upward.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fretcheck.arrays import Reals
from fretcheck.diagnosis.conclude.saddle_places import Moves, moves_within
from fretcheck.diagnosis.infer.draws import JointDraws
from fretcheck.diagnosis.infer.posterior import Posterior
from fretcheck.diagnosis.model.by_hand import designed_mm, first_share, measurement_row
from fretcheck.diagnosis.model.parameters import Key
from fretcheck.diagnosis.model.stopped_string import sharpness_cents
from fretcheck.neck.description import Measurement
from fretcheck.neck.measured import fresh

DRAWS = 500  # Of the posterior's: a probability of one half is then told to ±0.02, and a plan takes a fifth of a second
PLACE_SLIP_MM = 0.05
SLOT_SLIP_MM = 0.03  # How well a bench sets a place and files a slot (standard deviation; common practice, no source)
# How much lower than designed a nut slot may lie: below, the string buzzes on fret 1 (common practice, no source)
SLOT_BELOW_DESIGN_MM = 0.20
CLEARANCE = "first_fret_clearance"


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """A neck in every draw: how its notes read and whether all lie within the limit."""

    notes: Reals
    limit: float

    @cached_property
    def worst(self) -> Reals:
        """Size of the worst note in each draw."""
        return np.asarray(np.max(np.abs(self.notes), axis=1))

    @cached_property
    def within(self) -> NDArray[np.bool_]:
        """Whether all notes lie within the limit, per draw."""
        return self.worst <= self.limit

    @property
    def probability(self) -> float:
        """That all lie within."""
        return float(np.mean(self.within))

    @property
    def expected_worst(self) -> float:
        return float(np.mean(self.worst))

    @property
    def expected_out(self) -> float:
        """How many notes to expect out of the limit."""
        return float(np.mean(np.sum(np.abs(self.notes) > self.limit, axis=1)))


class Bench:
    """One neck, `DRAWS` times over."""

    def __init__(
        self,
        posterior: Posterior,
        draws: JointDraws,
        *,
        asked: NDArray[np.bool_],
        limit: float,
        least_clearance_mm: float | None = None,
    ) -> None:
        """`asked` marks the cells of the design that are judged."""
        self.posterior = posterior
        self.limit = limit
        every = max(len(draws.theta) // DRAWS, 1)
        self._columns = {key: number for number, key in enumerate(posterior.parameters.keys)}
        self.theta = draws.theta[::every].copy()
        self.asked = asked
        self._as_read = draws.notes[::every][:, asked]
        cells = [cell for cell, one in zip(posterior.design.cells, asked, strict=True) if one]
        self.strings = sorted({cell.string for cell in cells})
        self.of_string = {number: np.array([cell.string == number for cell in cells]) for number in self.strings}
        self.side = {number: float(posterior.design.side[number - 1]) for number in self.strings}
        # Strings with a nut slot and fret 1 after it: a short string or one over a zero fret has none to file
        rows = {one: measurement_row(posterior.design, posterior.parameters, what=CLEARANCE, string=one) for one in self.strings}
        self._clearance_rows = {one: row for one, row in rows.items() if row is not None}
        self._designed_clearances = {one: designed_mm(posterior.design, what=CLEARANCE, fret=None, string=one) for one in rows}
        self.slotted = [one for one in self._clearance_rows if self.slot_column(one) is not None]
        self.slips = np.random.default_rng(len(self.theta)).standard_normal(self.theta.shape)
        # Of what is filed off a slot, so much is lost over fret 1: the string turns about its saddle
        self.above_nut = 1.0 - first_share(posterior.design)
        self._least = least_clearance_mm
        self.measured_mm = _clearance_measured(fresh(posterior.design.neck), self.strings)
        self._by_filing: dict[float, Reals] = {}
        # What work on a string's columns of θ does to its notes: 80 kB each, 60 in the largest of five plans
        self._done: dict[tuple[int, bytes, bytes], Reals] = {}

    @cached_property
    def _as_built(self) -> list[tuple[NDArray[np.intp], dict[str, Reals], Reals]]:
        """Of every string (most work is on one): its cells, their local quantities and what they read by the model, per draw."""
        model, every = self.posterior.model, np.arange(self.theta.shape[1])
        answer = []
        for number in self.strings:
            cells = np.flatnonzero(self.asked & (self.posterior.design.string == number - 1))
            designed = {name: value[cells] for name, value in model.designed.items()}
            quantities = model.moved(self.theta, every, designed, cells)
            answer.append((cells, quantities, sharpness_cents(model.strung(quantities, cells))))
        return answer

    def outcome(self, theta: Reals) -> Outcome:
        """How the neck reads with its parts as in `theta`."""
        model, notes, step = self.posterior.model, self._as_read.copy(), theta - self.theta
        changed = np.flatnonzero(np.any(step, axis=0))
        if not len(changed):
            return Outcome(notes=notes, limit=self.limit)
        for number, (cells, before, now) in zip(self.strings, self._as_built, strict=True):
            here = changed[np.any(model.parameters.matrix[np.ix_(changed, cells)], axis=1)]
            work = (number, here.tobytes(), step[:, here].tobytes())
            if work not in self._done:  # plans are compared that have most of their work in common
                after = model.moved(step, here, before, cells)
                self._done[work] = sharpness_cents(model.strung(after, cells)) - now
            notes[:, self.of_string[number]] += self._done[work]
        return Outcome(notes=notes, limit=self.limit)

    def column(self, kind: str, *, string: int | None = None, fret: int | None = None) -> int | None:
        """Where a parameter stands in θ."""
        return self._columns.get(Key(kind=kind, fret=fret, string=string))

    def saddle_column(self, string: int) -> int | None:
        own = self.column("saddle", string=string)
        return own if own is not None else self.column("bridge")

    def slot_column(self, string: int) -> int | None:
        """The column that moves one nut slot."""
        own = self.column("slot_height", string=string)
        return own if own is not None else self.column("nut_height")

    @cached_property
    def saddle_slopes(self) -> Reals:
        """Cents for each mm that a note's saddle moves, shape (notes,)."""
        return np.asarray(self._slopes[self.asked, self.column("bridge")])

    @cached_property
    def nut_slopes(self) -> Reals:
        """Cents for each mm that the nut moves, shape (notes,)."""
        return np.asarray(self._slopes[self.asked, self.column("nut_position")])

    @cached_property
    def _slopes(self) -> Reals:
        return self.posterior.model.jacobian(np.mean(self.theta, axis=0))

    def saddle_moves(self, notes: Reals) -> dict[int, Moves]:
        """The moves of each string's saddle that bring all notes of the string within, per draw."""
        slopes, limit = self.saddle_slopes, self.limit
        return {string: moves_within(notes[:, here], slopes[here], limit=limit) for string, here in self.of_string.items()}

    def clearances_mm(self, theta: Reals, string: int) -> Reals:
        """What a string leaves over the crown of fret 1, per draw."""
        return np.asarray(self.designed_clearance_mm(string) + theta @ self._clearance_rows[string])

    def designed_clearance_mm(self, string: int) -> float:
        """The same on the neck as designed."""
        return self._designed_clearances[string]

    def least_clearance_mm(self, string: int) -> float:
        """No slot is filed so that less is left over fret 1."""
        if self._least is not None:
            return self._least
        return self.designed_clearance_mm(string) - self.above_nut * SLOT_BELOW_DESIGN_MM

    def filed(self, theta: Reals, strings: Sequence[int], mm: float) -> Reals:
        """Slots filed `mm` lower, as far as the least clearance allows by the gauge, if it was measured; a negative `mm` raises
        them."""
        after = theta.copy()
        for string in strings:
            column = self.slot_column(string)
            assert column is not None
            gap = self.clearances_mm(theta, string)
            if string in self.measured_mm:
                gap = gap - self.clearances_mm(self.theta, string) + self.measured_mm[string]
            room = np.maximum(gap - self.least_clearance_mm(string), 0.0) / self.above_nut
            after[:, column] -= np.minimum(mm + SLOT_SLIP_MM * self.slips[:, column], room)
        return after

    def by_filing(self, mm: float) -> Reals:
        """What filing all slots does to the notes of the neck as it is, shape (draws, notes)."""
        if mm not in self._by_filing:
            self._by_filing[mm] = self.outcome(self.filed(self.theta, self.slotted, mm)).notes - self._as_read
        return self._by_filing[mm]

    def moved(self, theta: Reals, column: int, mm: float) -> Reals:
        """One part moved, as well as a hand does."""
        after = theta.copy()
        after[:, column] += mm + PLACE_SLIP_MM * self.slips[:, column]
        return after

    def as_described(self, theta: Reals) -> Reals:
        """Every part of the neck where the description wants it, strings and hand as they are."""
        after = theta.copy()
        parts = ("fret_position", "fret_tilt", "scale_length", "nut_position", "nut_skew", "own_nut", "nut_height", "slot_height")
        for kind in (*parts, "bridge", "saddle_slant", "saddle", "string", "wear"):
            after[:, self.posterior.parameters.columns(kind)] = 0.0
        return after


def _clearance_measured(measured: Sequence[Measurement], strings: Sequence[int]) -> dict[int, float]:
    """What each string was measured to leave over fret 1; strings not measured are left out."""
    answer: dict[int, float] = {}
    for one in measured:
        if one.what == CLEARANCE:
            answer.update(dict.fromkeys(strings if one.string is None else [one.string], one.mm))
    return answer
