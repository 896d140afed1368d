"""One piece of work at the bench: what it costs, what it does to the neck, and how a step tells it.

Conventions: mm, positive toward the bridge, heights positive upward. Costs have no unit: the work of setting one saddle is 1.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.diagnosis.conclude.bench import Bench
from fretcheck.diagnosis.conclude.causes import PossibleCause
from fretcheck.diagnosis.result import Finding, Move

How = Literal["string", "saddle", "straight_saddle", "slots", "fret", "seat", "nut"]
Key = tuple[How, int | None, int | None, tuple[int, ...], str | None]
ORDER: tuple[How, ...] = ("string", "saddle", "straight_saddle", "slots", "fret", "seat", "nut")  # Easiest first
CANNOT_BE_UNDONE = ("slots", "fret")
PLACES_TO_MM = 0.05  # Places are told to what a bench can set, slots as they are
RIVAL_FROM = 0.05  # A rival with a smaller share of what is seen is none


@dataclass(frozen=True, kw_only=True)
class Fault:
    """A found cause, as it is judged (`cause`), sized if it is there (`value`, `u`) and told (`finding`)."""

    cause: PossibleCause
    value: float
    u: float
    finding: Finding


@dataclass(frozen=True, kw_only=True)
class Work:
    """One piece of work."""

    how: How
    cost: float
    shifts: tuple[tuple[int, float], ...] = ()  # Columns of θ and by how many mm they are moved
    slots: tuple[int, ...] = ()
    # How much lower these strings' nut slots are made, as far as their least clearance allows; negative raises them
    filed_mm: float = 0.0
    renewed: tuple[int, ...] = ()  # Columns that become those of a sound part: a new string's
    string: int | None = None
    fret: int | None = None
    worn: tuple[int, ...] = ()  # Frets that are crowned anew
    bass_mm: float | None = None  # Of a straight saddle: how far its bass end moves, where `mm` is its treble end's
    u_mm: float | None = None
    fault: Fault | None = None  # The finding that this puts right; None for a setting beyond what was found
    if_high: bool = False  # Slots that are filed only if they turn out to be high

    @property
    def key(self) -> Key:
        """Works of the same key move the same part the same way; a fret's place and its tilt are two."""
        cause = self.fault.finding.cause if self.how == "fret" and self.fault is not None else None
        return (self.how, self.string, self.fret, self.slots, cause)

    def beside(self, other: "Work") -> "Work":
        """This and more of the same as one work, at the cost of this."""
        shifts = dict(self.shifts)
        for column, mm in other.shifts:
            shifts[column] = round(shifts.get(column, 0.0) + mm, 3)
        return replace(
            self,
            shifts=tuple(shifts.items()),
            filed_mm=round(self.filed_mm + other.filed_mm, 2),
            bass_mm=None if self.bass_mm is None or other.bass_mm is None else round(self.bass_mm + other.bass_mm, 2),
            u_mm=self.u_mm if other.u_mm is None or self.fault is not None else other.u_mm,
            fault=self.fault or other.fault,
        )

    @property
    def mm(self) -> float:
        """The move, of a straight saddle at its treble end; of slots what is filed, downward negative."""
        if self.how == "slots":
            return -self.filed_mm
        if self.how in ("straight_saddle", "seat"):
            assert self.bass_mm is not None
            return 2.0 * self.shifts[0][1] - self.bass_mm
        return self.shifts[0][1] if self.shifts else 0.0

    def lost_clearance_mm(self, bench: Bench) -> float:
        """Of filed slots: how much less is left over fret 1."""
        return bench.above_nut * self.filed_mm

    def done(self, bench: Bench, theta: Reals) -> Reals:
        """θ in every draw once this is done."""
        if self.slots:
            return bench.filed(theta, self.slots, self.filed_mm)
        for column, mm in self.shifts:
            theta = bench.moved(theta, column, mm)
        if self.renewed:
            theta = theta.copy()
            columns = list(self.renewed)
            theta[:, columns] = np.array(bench.posterior.parameters.spreads)[columns] * bench.slips[:, columns]
        return theta

    def settled(self, risk: float) -> bool:
        """Whether it may be done outright: it can be undone, or is sure and without rival."""
        if self.how not in CANNOT_BE_UNDONE or self.fault is None:
            return self.how not in CANNOT_BE_UNDONE
        finding = self.fault.finding
        return finding.probability >= 1.0 - risk and not any(one.share >= RIVAL_FROM for one in finding.rivals)


def all_done(bench: Bench, works: Sequence[Work], theta: Reals | None = None) -> Reals:
    """θ once all `works` are done, in whatever order."""
    theta = bench.theta if theta is None else theta
    for one in works:
        theta = one.done(bench, theta)
    return theta


def saddle_set(bench: Bench, string: int, mm: float, *, cost: float, u_mm: float | None, fault: Fault | None = None) -> Work:
    """The saddle of one string, moved."""
    column = bench.saddle_column(string)
    assert column is not None
    return Work(how="saddle", cost=cost, shifts=((column, to_bench(mm)),), string=string, u_mm=u_mm, fault=fault)


def straight_saddle(
    bench: Bench,
    treble_mm: float,
    bass_mm: float,
    *,
    how: How,
    cost: float,
    u_mm: float | None = None,
    fault: Fault | None = None,
) -> Work:
    """A saddle in one piece, moved at both ends; strings between follow."""
    treble_mm, bass_mm = to_bench(treble_mm), to_bench(bass_mm)
    bridge, slant = bench.column("bridge"), bench.column("saddle_slant")
    assert bridge is not None
    shifts = [(bridge, 0.5 * (treble_mm + bass_mm))]
    if slant is not None and treble_mm != bass_mm:
        shifts.append((slant, 0.5 * (treble_mm - bass_mm)))
    return Work(how=how, cost=cost, shifts=tuple(shifts), bass_mm=bass_mm, u_mm=u_mm, fault=fault)


def to_bench(mm: float) -> float:
    """A place as finely as a bench can set it."""
    return round(round(mm / PLACES_TO_MM) * PLACES_TO_MM, 2)


def left_over_fret_1(work: Work, bench: Bench) -> float:
    """What filed slots leave over fret 1 on the mean, once measured."""
    gaps = [max(bench.measured_mm[n] - work.lost_clearance_mm(bench), bench.least_clearance_mm(n)) for n in work.slots]
    return float(np.mean(gaps))


def moves_of(work: Work, bench: Bench) -> tuple[Move, ...]:
    """The public record of a work."""
    mm, u = work.mm, work.u_mm
    match work.how:
        case "string":
            return (Move(part="string", string=work.string),)
        case "saddle" | "straight_saddle" | "seat" if work.bass_mm in (None, mm):
            return (Move(part="saddle", string=work.string, move_mm=mm, u_mm=u),)
        case "saddle" | "straight_saddle" | "seat":
            return (
                Move(part="saddle", end="treble", move_mm=mm, u_mm=u),
                Move(part="saddle", end="bass", move_mm=work.bass_mm, u_mm=u),
            )
        case "slots":
            string = None if len(work.slots) == len(bench.slotted) > 1 else work.slots[0]
            known = set(work.slots) <= set(bench.measured_mm)
            left = round(left_over_fret_1(work, bench), 2) if known and work.filed_mm > 0.0 else None
            return (Move(part="nut_height", string=string, move_mm=mm, u_mm=u, to_clearance_mm=left),)
        case "nut":
            return (Move(part="nut", string=work.string, move_mm=mm, u_mm=u),)
    if work.worn:
        return tuple(Move(part="fret", fret=fret) for fret in work.worn)
    if work.fault is None or work.fault.finding.cause != "fret_tilt":
        return (Move(part="fret", fret=work.fret, move_mm=mm, u_mm=u),)
    return (
        Move(part="fret", fret=work.fret, end="treble", move_mm=mm, u_mm=u),
        Move(part="fret", fret=work.fret, end="bass", move_mm=-mm, u_mm=u),
    )
