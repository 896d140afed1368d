"""What changed on a neck between two inspections: the sparse posterior of the differences between its notes.

Whatever both inspections share cancels in the difference of a note: the design, the neck's own make, its body, the strings that
stayed, the player. What is left is the hand of both days, the open notes that they were counted from, a hand that presses a
little harder on one of them, what is described differently, and what was moved. Parts are rarely moved, so each may have been,
with a small prior probability, and sets of moved parts are weighed as sets of faults are (`fault_sets`): one saddle moved stays
one saddle, and does not become a bridge moved by a sixth.

Conventions: after minus before. Cents, and mm on the neck's axis; the model is the second inspection's, its parameters those of
`parameters`.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.special import ndtr

from fretcheck.arrays import Reals
from fretcheck.diagnosis.infer.fault_sets import FaultSets, Ways, weigh
from fretcheck.diagnosis.infer.linear_gaussian import LinearGaussian
from fretcheck.diagnosis.infer.posterior import Posterior
from fretcheck.diagnosis.model.as_designed import as_designed
from fretcheck.diagnosis.model.forward import ForwardModel
from fretcheck.diagnosis.model.parameters import Botch, Fault, Key
from fretcheck.diagnosis.model.stopped_string import Stop, sharpness_cents

Place = tuple[int, int]  # String and fret

# How often a part is worked on between two readings, and by how much in mm; a string replaced or gone false, an open note that
# slipped, in cents (common practice, no source). Of 21 saddles moved by 2.15 mm 21 are named, 17 with strings as often as
# saddles; of 21 frets moved by 0.40 mm 8, with (0.004, 0.4) 6; nothing unmoved is named in 63 (`tests/worlds`).
MOVED = {
    "fret_position": (0.01, 0.3), "fret_tilt": (0.003, 0.3), "wear": (0.005, 0.3),
    "nut_position": (0.02, 0.8), "nut_skew": (0.01, 0.5), "own_nut": (0.01, 0.5), "nut_height": (0.03, 0.3),
    "slot_height": (0.02, 0.3), "bridge": (0.03, 2.0), "saddle_slant": (0.02, 1.5), "saddle": (0.02, 2.0),
    "string": (0.005, 2.0), "open_note": (0.02, 3.0),
}  # fmt: skip
STILL_MM = 0.05  # A part that was advised to be moved, and lies within this of where it lay, was not
UNMOVED = 1e-3
# By how much a player presses harder on one day than on another, over the neck and on a string (common practice, no source)
DAY_CENTS, DAY_ON_A_STRING_CENTS = 0.3, 0.1
OTHER_HAND_TIMES = 5.0  # The same beside it where another person played
NOTE_CENTS = 0.15  # What a note has to itself on a day beyond the hand's scatter: drift not seen, a string warming
HEARD_CENTS = 0.5  # A change smaller than this is nobody's concern


@dataclass(frozen=True, kw_only=True)
class Amount:
    """How far something moved, mm or cents."""

    means: Reals  # By every set of moved parts, with its spread and its weight
    spreads: Reals
    weights: Reals

    @cached_property
    def change(self) -> float:
        return float(self.weights @ self.means)

    @cached_property
    def u(self) -> float:
        return math.sqrt(self.weights @ (self.spreads**2 + (self.means - self.change) ** 2))

    def less(self, by: float) -> Amount:
        """The same beyond `by`."""
        return replace(self, means=self.means - by)

    def between(self, low: float, high: float) -> float:
        """Probability that it lies there."""
        inside = ndtr((high - self.means) / self.spreads) - ndtr((low - self.means) / self.spreads)
        return float(self.weights @ inside)


@dataclass(frozen=True, kw_only=True)
class Changes:
    """Posterior of all changes."""

    model: ForwardModel
    jacobian: Reals  # Cents of every cell by every parameter
    sets: FaultSets
    faults: tuple[Fault, ...]
    advised: frozenset[Key]
    described_cents: Reals  # Per cell: what the second description alone changes
    described: tuple[Stop, Stop]  # The cells as each describes them

    @cached_property
    def _weights(self) -> Reals:
        weights = np.exp(np.array(self.sets.log_weights))
        return np.asarray(weights / np.sum(weights))

    def _amounts(self, rows: Reals, beside: Reals) -> list[Amount]:
        """Linear functions of the change, one a row, with what is known `beside` added."""
        base = np.einsum("ij,jk,ik->i", rows, self.sets.sound.covariance, rows)
        means = np.array([rows @ one.mean for one in self.sets.sets]) + beside
        spreads = np.sqrt(np.array([base + np.sum((rows @ one.root) ** 2, axis=1) for one in self.sets.sets]) + 1e-12)
        return [
            Amount(means=mean, spreads=spread, weights=self._weights) for mean, spread in zip(means.T, spreads.T, strict=True)
        ]

    @cached_property
    def moved(self) -> list[tuple[Key, float, Amount]]:
        """Every part that may have been moved, the most probable first: which, how probable, and how far (in its own unit)."""
        parts = [number for number, one in enumerate(self.faults) if one.key.kind != "open_note"]
        rows = np.zeros((len(parts), self.jacobian.shape[1]))
        rows[np.arange(len(parts)), [self.faults[number].columns[0] for number in parts]] = 1.0
        answer = []
        for number, amount in zip(parts, self._amounts(rows, np.zeros(len(parts))), strict=True):
            key = self.faults[number].key
            if key in self.advised:
                probability = 1.0 - amount.between(-STILL_MM, STILL_MM)
            else:
                among = [number in one.faults for one in self.sets.sets]
                probability = float(self._weights @ np.array(among))
            answer.append((key, probability, amount))
        return sorted(answer, key=lambda one: -one[1])

    @cached_property
    def notes(self) -> dict[Place, float]:
        """For every note of the neck the probability that it was changed by more than `HEARD_CENTS`, the day's hand left out."""
        columns = [column for one in self.faults if one.key.kind != "open_note" for column in one.columns]
        rows = np.zeros_like(self.jacobian)
        rows[:, columns] = self.jacobian[:, columns]
        amounts = self._amounts(rows, self.described_cents)
        return {
            (cell.string, cell.fret): 1.0 - amount.between(-HEARD_CENTS, HEARD_CENTS)
            for cell, amount in zip(self.model.design.cells, amounts, strict=True)
            if cell.press is None
        }

    def of_part(self, local: str, *, strings: Collection[int], fret: int | None) -> Amount | None:
        """How far a part moved as these strings meet it on the mean, mm: `local` is fret, nut, nut_height or saddle.

        A saddle's move is that of bridge, slant and its own together; what is described differently counts.
        """
        design, parameters = self.model.design, self.model.parameters
        chosen = [
            number
            for number, cell in enumerate(design.cells)
            if cell.press is None and cell.string in strings and (fret is None or cell.fret == fret)
        ]
        if not chosen:
            return None
        here = np.array([name == local for name in parameters.local])
        row = np.where(here, np.mean(parameters.matrix[:, chosen], axis=1), 0.0)
        first, second = (np.mean(getattr(one, local)[chosen]) for one in self.described)
        return self._amounts(row[None, :], np.array([second - first]))[0]

    @cached_property
    def day_cents(self) -> Amount:
        """How much sharper the second day's hand read on the mean."""
        kinds = ("pressure", "finger_low")
        columns = [number for number, key in enumerate(self.model.parameters.keys) if key.kind in kinds]
        row = np.zeros(self.jacobian.shape[1])
        row[columns] = np.mean(self.jacobian[:, columns], axis=0)
        return self._amounts(row[None, :], np.zeros(1))[0]


def changes_between(
    before: Posterior,
    after: Posterior,
    *,
    open_u_cents: tuple[list[float], list[float]],
    advised: Mapping[Key, float] | None = None,
    restrung: Collection[int] = (),
    described_alike: bool = True,
    same_hand: bool = True,
) -> Changes:
    """The changes of a neck between two inspections.

    `open_u_cents`: standard uncertainty of every string's open note, before and after. `advised`: parameters that the first
    inspection advised to move, and by how much: moved or not, they may lie anywhere within that. `restrung`: strings that are
    others now. `described_alike`: whether all else that the notes depend on is described alike. `same_hand`: whether the same
    person played.
    """
    model, keys, asked = after.model, after.parameters.keys, advised or {}
    # half-way between both: exact where a part acts by its square, as the nut's height does
    halfway = 0.5 * (before.mean + after.mean) if before.parameters.keys == keys else after.mean
    jacobian = model.jacobian(halfway)
    place = {(cell.string, cell.fret): number for number, cell in enumerate(model.design.cells) if cell.press is None}
    old, new = _values(before), _values(after)
    common = [one for one in new if one in old]
    index = np.array([place[one] for one in common], dtype=np.intp)
    stops = _described(before, after, restrung, described_alike=described_alike)
    beside = sharpness_cents(stops[1]) - sharpness_cents(stops[0])
    faults = tuple(fault for one in model.parameters.faults if (fault := _moved(one)) is not None)
    sound = LinearGaussian.from_spreads(
        y=np.array([new[one][0] - old[one][0] for one in common]) - beside[index],
        design=jacobian[index],
        noise=np.array([math.hypot(new[one][1], old[one][1], NOTE_CENTS) for one in common]),
        prior_mean=np.zeros(len(keys)),
        prior_spread=[
            abs(asked[key]) + STILL_MM
            if key in asked
            else _spread(key, jacobian[:, number], after.parameters.spreads[number], open_u_cents, restrung, same_hand=same_hand)
            for number, key in enumerate(keys)
        ],
    )
    return Changes(
        model=model,
        jacobian=jacobian,
        sets=weigh(sound, Ways.of(faults)),
        faults=faults,
        advised=frozenset(asked),
        described_cents=beside,
        described=stops,
    )


def _spread(
    key: Key,
    cents: Reals,
    spread: float,
    open_u_cents: tuple[list[float], list[float]],
    restrung: Collection[int],
    *,
    same_hand: bool,
) -> float:
    """Of the change of a parameter where nobody worked on it."""
    hand = 1.0 if same_hand else OTHER_HAND_TIMES
    if key.kind == "open_note" and key.string is not None:
        return math.hypot(*(one[key.string - 1] for one in open_u_cents))
    if key.kind in ("pressure", "finger_low", "own_pressure", "open_common"):
        day = DAY_ON_A_STRING_CENTS if key.kind == "own_pressure" else DAY_CENTS
        touched = np.abs(cents[cents != 0.0])
        return hand * day / float(np.mean(touched)) if len(touched) else UNMOVED
    if key.string in restrung and key.kind in ("log_kappa", "log_beta", "string"):
        return math.sqrt(2.0) * spread
    return UNMOVED


def _moved(fault: Fault) -> Fault | None:
    if fault.key.kind not in MOVED:
        return None
    share, size = MOVED[fault.key.kind]
    return replace(fault, ways=(Botch(share=share, spread=size),))


def _values(posterior: Posterior) -> dict[Place, tuple[float, float]]:
    combined = posterior.combined
    return {
        (cell.string, cell.fret): (float(cents), float(u))
        for cell, cents, u in zip(combined.cells, combined.cents, combined.u_cents, strict=True)
        if cell.press is None
    }


def _described(before: Posterior, after: Posterior, restrung: Collection[int], *, described_alike: bool) -> tuple[Stop, Stop]:
    """The cells as either description has them; strings that stayed have the same stiffness in both."""
    design = after.design
    extra = [cell for cell in design.cells if cell.press is not None]
    constants = [
        (before if number in restrung else after).design.constants[number - 1] for number in range(1, len(design.constants) + 1)
    ]
    neck = design.neck if described_alike else before.design.neck
    return as_designed(neck, constants=constants, extra=extra).stop, design.stop
