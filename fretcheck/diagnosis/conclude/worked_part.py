"""One part under work: how far it still has to go, after each pluck, and which pluck would tell most.

What the notes read when the work began is a normal distribution (from an inspection's posterior, or what the design leads to
expect), beside it where the part stood, x. Work moves the part by an unknown m, and every note by its slope times m. A pluck is
note + slope·m + the error of its string's open reference + hand; the distribution is conditioned on each in closed form (C. M.
Bishop, Pattern Recognition and Machine Learning, 2.3.3, from memory). When the part may have been moved, m becomes as wide again
as at first; what was learned of the notes themselves stays.

A fret and a nut go where they belong: −(x + m) is left. A saddle goes where the notes of its strings lie nearest to zero (least
squares). Where an inspection advised moves, what is left of each begins with that move from where the moves before it were to
lead, and changes as these estimates do.

Conventions: mm, positive toward the bridge; cents. The state is (notes over the cells, θ, m, open errors by string).
"""

import copy
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, Self

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.diagnosis.infer.draws import joint_draws
from fretcheck.diagnosis.infer.inference import infer
from fretcheck.diagnosis.infer.scatter import OPEN_UNHEARD_CENTS, USUAL_CENTS
from fretcheck.diagnosis.model.as_designed import as_designed
from fretcheck.diagnosis.model.forward import ForwardModel
from fretcheck.diagnosis.model.note_field import Roughness, note_field
from fretcheck.diagnosis.model.parameters import parameters_of
from fretcheck.diagnosis.observation import Observation
from fretcheck.errors import UsageError
from fretcheck.neck.description import Neck

WorkedPart = Literal["saddle", "fret", "nut", "nut_slots", "string"]
End = Literal["treble", "bass"] | None

# How far a part may have been moved (standard deviation): what work is done in one go; common practice, no source
WIDE_MM = {"saddle": 3.0, "fret": 0.8, "nut": 1.0, "nut_slots": 0.5, "string": 1.0}
# A bench works to a tenth of a millimetre: what is left is done when it is less (common practice, no source)
WORKMANSHIP_MM = 0.1
SURE_TIMES = 1.5  # A move larger than so many standard uncertainties is one to make; a smaller one first asks for another pluck
PLUCKS_TO_TELL = 2  # Fretted plucks since the part was moved, before anything is said to be done
MOST_PLUCKS = 8  # More of them hardly tell more: half the error is then the open note's and the finger's own
# The parameter that a part moves: of all strings, and of one
LOCAL = {"saddle": ("bridge", "saddle"), "fret": ("fret_position", "fret_position"), "nut": ("nut_position", "nut_position"),
         "nut_slots": ("nut_height", "slot_height"), "string": ("bridge", "saddle")}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Place:
    """What is worked on."""

    part: WorkedPart
    string: int | None = None
    fret: int | None = None
    end: End = None
    asked_mm: float | None = None  # The move that an inspection advised; None to find it
    to_clearance_mm: float | None = None  # The clearance at which to stop; nut slots only
    text: str = ""  # The advice in words


@dataclass(frozen=True, kw_only=True)
class ToGo:
    """How far a part still has to go."""

    mm: float
    u_mm: float
    state: Literal["move", "pluck", "done"]  # Whether to move it, to pluck again before it is moved, or to stop


@dataclass(frozen=True, kw_only=True)
class BeforeWork:
    """What the notes of a neck read before the work, jointly with the places of its parts."""

    model: ForwardModel
    mean: Reals  # Of the notes, then θ, shape (cells + parameters,)
    covariance: Reals
    hand_cents: Reals  # Scatter of a single pluck of each cell
    theta: Reals

    @classmethod
    def as_heard(cls, neck: Neck, observations: Sequence[Observation]) -> Self:
        """From the plucks of an inspection."""
        posterior = infer(neck, observations)
        draws = joint_draws(posterior)
        played = np.array([cell.press is None for cell in posterior.design.cells])
        both = np.concatenate([draws.notes[:, played], draws.theta], axis=1)
        design = replace(posterior.design, cells=tuple(cell for cell in posterior.design.cells if cell.press is None))
        usual = float(np.mean(list(posterior.scatter.cents.values())))
        hand = [posterior.scatter.cents.get(cell.string, usual) for cell in design.cells]
        return cls(
            model=ForwardModel(design=design, parameters=parameters_of(design, open_u_cents=[0.0] * len(neck.strings))),
            mean=np.mean(both, axis=0),
            covariance=np.cov(both.T),
            hand_cents=np.array(hand),
            theta=np.asarray(np.mean(draws.theta, axis=0)),
        )

    @classmethod
    def as_designed(cls, neck: Neck) -> Self:
        """Nothing was heard yet: a neck well made."""
        design = as_designed(neck)
        parameters = parameters_of(design, open_u_cents=[0.0] * len(neck.strings))
        model = ForwardModel(design=design, parameters=parameters)
        theta = parameters.prior_mean
        root = parameters.mixing * np.array(parameters.spreads)
        root[parameters.columns("open_note")] = 0.0
        slopes = np.concatenate([model.jacobian(theta), np.eye(len(theta))])
        covariance = slopes @ root @ (slopes @ root).T
        size = len(design.cells)
        covariance[:size, :size] += note_field(design, depth_slope=model.depth_slope(theta)).covariance(Roughness())
        return cls(
            model=model,
            mean=np.concatenate([model.cents(theta), theta]),
            covariance=covariance,
            hand_cents=np.full(size, USUAL_CENTS),
            theta=theta,
        )


class NeckAtWork:
    """What is known of a neck while one part after another is worked on; conditioned on plucks one by one.

    `place`: what is worked on first.
    Raises UsageError: a part that this neck has not got.
    """

    def __init__(self, before: BeforeWork, place: Place) -> None:
        self._before = before
        design = before.model.design
        self._cells = {(cell.string, cell.fret): number for number, cell in enumerate(design.cells)}
        self._size, strings = len(self._cells), len(design.neck.strings)
        self._m = len(before.mean)
        total = self._m + 1 + strings
        self._mean = np.zeros(total)
        self._mean[: self._m] = before.mean
        self._covariance = np.zeros((total, total))
        self._covariance[: self._m, : self._m] = before.covariance
        for string in range(1, strings + 1):
            self.opened(string)
        self._work = np.zeros(self._m)
        self._advised = self._mean.copy()
        self._asked_mm: float | None = 0.0
        self.begin(place)

    # what is worked on

    def begin(self, place: Place) -> None:
        """Work on another part; the one before stays where it is now.

        Its own advice supposed that the one before was moved as advised: where it was not, what is left here makes up for it.
        """
        parts = np.eye(len(self._mean))
        parts[: self._m, self._m] = self._work
        parts[self._m, self._m] = 0.0
        self._mean = parts @ self._mean
        self._covariance = parts @ self._covariance @ parts.T
        if self._asked_mm is None:
            self._advised = self._mean.copy()
        else:
            self._advised[: self._m] += self._work * self._asked_mm
        self.place, self._asked_mm = place, place.asked_mm
        parameters = self._before.model.parameters
        moved = np.zeros(len(parameters.keys))
        for column, share in self._columns(place):
            moved[column] += share
        slopes = np.asarray(self._before.model.jacobian(self._before.theta) @ moved)
        self._work = np.concatenate([slopes, moved])
        self._scope = np.flatnonzero(slopes)
        if not len(self._scope):
            raise UsageError("no note of this neck hangs on that part")
        self._slopes = slopes[self._scope]
        self._goal = np.zeros(len(self._mean))  # What is left to go, but for its sign, as a linear function of the state
        if place.part == "saddle":  # the least squares of its notes
            self._goal[self._scope] = self._slopes / np.sum(self._slopes**2)
        else:
            self._goal[self._size : self._m] = moved / np.sum(moved**2)
        self._goal[self._m] = 1.0
        self.plucks = 0  # Fretted ones of notes that the part moves, since it was moved last
        self._offset = 0.0
        if place.asked_mm is not None:
            self._offset = place.asked_mm + float(self._goal @ self._advised)
        self.moved()

    def _columns(self, place: Place) -> list[tuple[int, float]]:
        """Columns of θ that a millimetre of this work moves, and by how much."""
        parameters = self._before.model.parameters
        common, own = LOCAL[place.part]
        fret = place.fret if place.part == "fret" else None
        column = parameters.column(common, fret=fret)
        if place.string is not None and place.part != "fret":
            column = next((one for one in (parameters.column(own, string=place.string), column) if one is not None), None)
        if column is None:
            raise UsageError("this neck has no such part: nothing to work on there")
        if place.end is None:
            return [(column, 1.0)]
        across = parameters.column("fret_tilt" if place.part == "fret" else "saddle_slant", fret=fret)
        if across is None:
            return [(column, 1.0)]
        return [(column, 0.5), (across, 0.5 if place.end == "treble" else -0.5)]

    @property
    def strings(self) -> tuple[int, ...]:
        """Whose notes the part moves."""
        cells = self._before.model.design.cells
        return tuple(sorted({cells[number].string for number in self._scope}))

    def copy(self) -> Self:
        """As it stands now, to go back to."""
        return copy.deepcopy(self, {id(self._before): self._before})

    # what is heard

    def opened(self, string: int) -> None:
        """The string was plucked open: its notes are counted from there now."""
        at = self._m + string
        self._covariance[at, :] = self._covariance[:, at] = 0.0
        self._mean[at] = 0.0
        self._covariance[at, at] = OPEN_UNHEARD_CENTS**2

    def moved(self) -> None:
        """The part may have been moved."""
        self._covariance[self._m, self._m] += WIDE_MM[self.place.part] ** 2
        self.plucks = 0

    def away(self, string: int, fret: int, cents: float) -> tuple[float, float]:
        """How far a note lies from what is to be expected of it, and the standard deviation of that; 0 of a place unknown."""
        if (string, fret) not in self._cells:
            return 0.0, 0.0
        row = self._row(string, fret)
        return float(cents - row @ self._mean), math.sqrt(float(row @ self._covariance @ row) + self._noise(string, fret))

    def hear(self, string: int, fret: int, cents: float, u_cents: float) -> None:
        """A fretted note was plucked; `cents` from equal temperament above its string's open note."""
        if (string, fret) not in self._cells:
            return
        row = self._row(string, fret)
        cross = self._covariance @ row
        variance = row @ cross + self._noise(string, fret) + u_cents**2
        self._mean = self._mean + cross * ((cents - row @ self._mean) / variance)
        self._covariance = self._covariance - np.outer(cross, cross) / variance
        self.plucks += int(self._cells[string, fret] in self._scope)

    def _row(self, string: int, fret: int) -> Reals:
        number = self._cells[string, fret]
        row = np.zeros(len(self._mean))
        row[[number, self._m + string]] = 1.0
        row[self._m] = self._work[number]
        return row

    def _noise(self, string: int, fret: int) -> float:
        return float(self._before.hand_cents[self._cells[string, fret]] ** 2)

    # what follows

    def to_go(self) -> ToGo | None:
        """How far the part still has to go; None before a note of it was heard, and for parts that are never told in mm."""
        if self.place.part in ("nut_slots", "string") or not self.plucks:
            return None
        mm = self._offset - float(self._goal @ self._mean)
        u = math.sqrt(max(float(self._goal @ self._covariance @ self._goal), 0.0))
        near = abs(mm) <= WORKMANSHIP_MM or (self.plucks >= MOST_PLUCKS and abs(mm) <= u)
        if self.plucks >= PLUCKS_TO_TELL and near:
            return ToGo(mm=mm, u_mm=u, state="done")
        return ToGo(mm=mm, u_mm=u, state="move" if abs(mm) > max(WORKMANSHIP_MM, SURE_TIMES * u) else "pluck")

    def next_note(self) -> tuple[int, int]:
        """The fretted note whose pluck lowers the variance of what is left the most."""
        # a note's row is 1 at its cell and its string's open error, and its slope at m
        of, opened, slope = np.arange(self._size), self._m + 1 + self._before.model.design.string, self._work[: self._size]
        with_goal, spread, moved = self._covariance @ self._goal, np.diag(self._covariance), self._covariance[:, self._m]
        variance = spread[of] + spread[opened] + slope**2 * spread[self._m]
        variance += 2.0 * (self._covariance[of, opened] + slope * (moved[of] + moved[opened]))
        drops = (with_goal[of] + with_goal[opened] + slope * with_goal[self._m]) ** 2 / (variance + self._before.hand_cents**2)
        return list(self._cells)[int(np.argmax(drops))]
