"""Is what `compare` says of two inspections true? Necks of `tests.worlds`, heard twice, with nothing or one part moved between.

    python -m tests.benchmarks.comparison --necks 40 [--worlds own mild] [--instruments steel]

Columns, in per cent of necks: `changed` and `moved`, unchanged necks with a note reported changed or a part reported moved;
`saddle` and `fret`, necks with a saddle moved by 2.15 mm or a fret by 0.40 mm for which that part is named; `other`, of those
necks, with another part named beside it; `2u`, stated moves of these parts within two standard uncertainties of the true ones.
"""

from __future__ import annotations

import time
from collections import defaultdict
from dataclasses import dataclass
from types import SimpleNamespace

from fretcheck.diagnosis.infer.inference import infer
from fretcheck.diagnosis.infer.posterior import Posterior
from fretcheck.diagnosis.infer.scatter import open_uncertainty
from fretcheck.diagnosis.model.parameters import Key
from fretcheck.inspection.changes import Changes, changes_between
from fretcheck.inspection.work_done import SURE
from tests.benchmarks.processes import each, options, share
from tests.worlds.case import Case, draw

SADDLE_MM, FRET_MM, FRET = 2.15, 0.40, 7
HANDS = ((0.8, 2), (0.8, 1))
"""Scatter of the hand, cents, and plucks a note."""


@dataclass(frozen=True, kw_only=True)
class Job:
    """One neck of one row."""

    world: str
    instrument: str
    hand: float
    plucks: int
    seed: int
    number: int

    @property
    def row(self) -> tuple[str, str, float, int]:
        """What it is counted under."""
        return self.world, self.instrument, self.hand, self.plucks


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What was said of one neck."""

    job: Job
    changed: bool
    moved: bool
    named: dict[str, bool]
    other: dict[str, bool]
    within: dict[str, bool]


def said_of(job: Job) -> Outcome:
    """The three comparisons of one neck: nothing moved, a saddle, a fret."""
    case = draw(job.world, [], seed=(job.seed, job.number), instrument=job.instrument, hand_cents=job.hand)
    strings = len(case.built.neck.strings)
    string = 1 + job.number % strings
    first = _heard(case, job, session=0)
    still = _changes(first, _heard(case, job, session=1))
    named, other, within = {}, {}, {}
    for name, key, local, move in (
        ("saddle", Key(kind="saddle", string=string), "saddle", {"part": "saddle", "string": string, "move_mm": SADDLE_MM}),
        ("fret", Key(kind="fret_position", fret=FRET), "fret", {"part": "fret", "fret": FRET, "move_mm": FRET_MM}),
    ):
        nothing = {"string": None, "fret": None, "end": None, "to_clearance_mm": None}
        worked = case.carry_out([SimpleNamespace(**nothing | move)])
        found = _changes(first, _heard(worked, job, session=1))
        sure = {one for one, probability, _ in found.moved if probability >= SURE}
        named[name], other[name] = key in sure, bool(sure - {key})
        amount = found.of_part(local, strings=[string] if local == "saddle" else range(1, strings + 1), fret=key.fret)
        moves = worked.built.saddle_mm - case.built.saddle_mm, worked.built.fret_mm - case.built.fret_mm
        true = moves[0][string - 1] if local == "saddle" else moves[1][FRET - 1]
        within[name] = amount is not None and abs(amount.change - float(true)) <= 2.0 * amount.u
    return Outcome(
        job=job,
        changed=any(probability >= SURE for probability in still.notes.values()),
        moved=any(probability >= SURE for _, probability, _ in still.moved),
        named=named,
        other=other,
        within=within,
    )


def _heard(case: Case, job: Job, *, session: int) -> tuple[Posterior, list[float]]:
    plucks = case.observations(plucks=job.plucks, session=session)
    neck = case.neck()
    return infer(neck, plucks), open_uncertainty(plucks, len(neck.strings))


def _changes(first: tuple[Posterior, list[float]], second: tuple[Posterior, list[float]]) -> Changes:
    return changes_between(first[0], second[0], open_u_cents=(first[1], second[1]))


def main() -> None:
    """Run and print."""
    parser = options(__doc__, necks=40, worlds=("own", "mild"))
    parser.add_argument("--instruments", nargs="*", default=["steel"])
    asked = parser.parse_args()
    jobs = [
        Job(world=world, instrument=instrument, hand=hand, plucks=plucks, seed=asked.seed, number=number)
        for world in asked.worlds
        for instrument in asked.instruments
        for hand, plucks in HANDS
        for number in range(asked.necks)
    ]
    rows: dict[tuple[str, str, float, int], list[Outcome]] = defaultdict(list)
    start = time.monotonic()
    for outcome in each(said_of, jobs, processes=asked.jobs):
        rows[outcome.job.row].append(outcome)
    print("world   strings  hand plucks  changed moved saddle fret other 2u")
    for (world, instrument, hand, plucks), own in sorted(rows.items()):
        shares = (
            share([one.changed for one in own]),
            share([one.moved for one in own]),
            share([one.named["saddle"] for one in own]),
            share([one.named["fret"] for one in own]),
            share([other for one in own for other in one.other.values()]),
            share([within for one in own for within in one.within.values()]),
        )
        print(f"{world:8}{instrument:8}{hand:5.1f}{plucks:6d}    ", *(f"{one:>6}" for one in shares), flush=True)
    print(f"{asked.necks} necks a row, {time.monotonic() - start:.0f} s")


if __name__ == "__main__":
    main()
