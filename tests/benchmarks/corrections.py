"""What the advice is worth: necks of `tests.worlds` are corrected as advised, in the generator itself, and judged there.

    python -m tests.benchmarks.corrections --necks 40 [--worlds own mild] [--faults 0 1 2]

Three limits: 0.5, 1.5 and 3 cents beyond what the median sound neck of the world reads (60 drawn). Slots are filed to ±0.03 mm,
places set to ±0.05 mm, never below the least clearance. A plan that ends in a measurement gets it (±0.05 mm) and is made again;
notes to be plucked again are plucked again once. Per cent of necks unless said:

`told, 1 c`  of necks truly within by a cent or more, those told to change something; `within`, of all within; `passed`, of those
             that the program passes;
`after`      truly within after the work, `of` the necks that some work can bring there (least worst note by linear programming
             over all parts at least 0.3 cent within: ±0.05 mm of a place is worth that);
`surplus`    moves beyond the fewest that serve (slots count as one), where the limit leaves the neck as described under this hand
             a cent or more: mean number;
`shelf`      nut moved though less than that serves;
`worse`      of all steps, those that leave the truly worst note more than 0.5 cent worse;
`in 90 %`    true worst note after the work within its stated interval.
Below: stated probability of being within, binned, against the share that is.
"""

from __future__ import annotations

import itertools
import re
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog

from fretcheck.diagnosis.diagnose import diagnose
from fretcheck.diagnosis.result import Diagnosis
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.neck.description import Measurement, Neck
from fretcheck.neck.heights import first_fret_clearance
from tests.benchmarks.processes import each, options, share
from tests.worlds.built import Built
from tests.worlds.case import Case, draw

Reals = NDArray[np.float64]
FAULT_SETS: dict[int, tuple[tuple[str, ...], ...]] = {
    0: ((),),
    1: (("fret.40",), ("saddle2.5",), ("nutheight.4",), ("tilt.35",)),
    2: (("fret.40", "saddle2.5"), ("fret.40", "nutheight.4"), ("saddle2.5", "nutheight.4"), ("fret.40", "fret.40")),
}
BEYOND_CENTS = (0.5, 1.5, 3.0)
BENCH_CENTS = 0.3
SLOT_LOWER_MM = 0.20
BINS = (0.0, 0.25, 0.5, 0.75, 0.9, 1.001)


@dataclass(frozen=True, kw_only=True)
class Job:
    """One neck at one limit."""

    world: str
    faults: int
    limit: float
    seed: int
    number: int


@dataclass(kw_only=True)
class Outcome:
    """What was advised and what came of it; cents are the truly worst notes."""

    job: Job
    before: float
    after: float
    best: float
    """By all work there is."""
    described: float
    """Of the neck as described under this hand."""
    told: bool
    decision: str | None
    moves: int
    fewest: int | None
    shelf: bool
    shelf_needed: bool
    steps: list[float] = field(default_factory=list)
    """How much worse each step left the neck."""
    stated: float | None = None
    interval: tuple[float, float] | None = None


def least_clearance(neck: Neck) -> Reals:
    """What each string leaves over fret 1 with its slot 0.20 mm lower than designed."""
    numbers = range(1, len(neck.strings) + 1)
    return np.array([first_fret_clearance(neck, number).mm - SLOT_LOWER_MM * lever(neck, number) for number in numbers])


def lever(neck: Neck, number: int) -> float:
    """What a string's slot does to its clearance over its first fret, as a share."""
    return neck.speaking_length_mm(number, neck.frets_of(number)[0]) / neck.speaking_length_mm(number, 0)


def advised(case: Case, limit: float) -> Diagnosis:
    """The diagnosis, after the measurement and the plucks that it asks for."""
    settings, heard, clearance, frets = DiagnosisSettings(limit_cents=limit), case.observations(), False, frozenset[int]()
    for session in (1, 2, 3):
        neck = _with_places(case, replace(case.neck(clearance=clearance), saddle_moves="per_string"), frets)
        result = diagnose(neck, heard, settings=settings)
        asks = [step for step in result.corrections if step.kind == "measure"]
        if not asks:
            break
        again = [note for step in asks for note in step.notes]
        if again:
            notes: dict[int, list[int]] = defaultdict(list)
            for string, fret in again:
                notes[string].append(fret)
            heard = heard + case.observations(session=session, notes=notes)
        clearance = clearance or any("first_fret_clearance" in step.text for step in asks)
        frets |= {int(number) for step in asks for number in re.findall(r"nut_to_fret@(\d+)", step.text)}
    return result


def _with_places(case: Case, neck: Neck, frets: Iterable[int]) -> Neck:
    """The description with these frets' places, measured from the nut under the outer strings to ±0.05 mm."""
    ends, last = case.built.ends, len(neck.strings)
    rows = []
    for fret in sorted(frets):
        slips = 0.05 * np.random.default_rng([*case.seed, 78, fret]).standard_normal(2)
        for string, slip in zip((1, last), slips.tolist(), strict=True):
            mm = float(ends.crown_x[string - 1, fret - 1] - np.broadcast_to(ends.nut_x, ends.crown_x.shape)[string - 1, 0])
            rows.append(Measurement(what="nut_to_fret", mm=round(mm + slip, 2), u_mm=0.05, fret=fret, string=string))
    return replace(neck, measured=(*neck.measured, *rows))


# --- the fewest moves that serve ---------------------------------------------------------------------------------------
def _parts(case: Case) -> dict[str, list[tuple[Reals, float, float]]]:
    """Of each part that can be moved: (cents a mm at every note, least mm, most mm), several where it has several."""
    built = case.built
    strings, frets = built.shape
    here = built.stopped(case.hand)

    def slope(changed: Built, by: float) -> Reals:
        return (changed.stopped(case.hand) - here).ravel() / by

    rows: dict[str, list[tuple[Reals, float, float]]] = {}
    for s in range(strings):
        unit = (np.arange(strings) == s).astype(float)
        rows[f"saddle {s}"] = [(slope(replace(built, saddle_mm=built.saddle_mm + unit), 1.0), -4.0, 4.0)]
        lower = float(min((least_clearance(case.neck())[s] - built.clearance_mm()[s]) / lever(built.neck, s + 1), 0.0))
        by = min(lower, -0.05)
        slot = (slope(replace(built, nut_z=built.nut_z + by * unit), by), lower, 0.0)
        rows.setdefault("nut_height", []).append(slot)
    full = np.array([one.first_fret == 0 for one in built.neck.strings], dtype=float)
    rows["nut"] = [(slope(replace(built, nut_mm=built.nut_mm + 0.5 * full), 0.5), -2.0, 2.0)]
    for k in range(frets):
        unit = (np.arange(frets) == k).astype(float)
        place = slope(replace(built, fret_mm=built.fret_mm + 0.2 * unit), 0.2)
        lean = slope(replace(built, tilt_mm=built.tilt_mm + 0.2 * unit), 0.2)
        rows[f"fret {k}"] = [(place, -0.6, 0.6), (lean, -0.6, 0.6)]
    return {name: columns for name, columns in rows.items() if any(low < high for _, low, high in columns)}


def _least_worst(cents: Reals, columns: list[tuple[Reals, float, float]]) -> float:
    """Least possible largest unsigned deviation, linear programming."""
    a = np.array([column for column, _, _ in columns]).T.reshape(len(cents), -1)
    ones = np.ones((len(cents), 1))
    over, under = np.hstack([a, -ones]), np.hstack([-a, -ones])
    bounds = [(low, high) for _, low, high in columns] + [(0.0, None)]
    fit = linprog(
        np.r_[np.zeros(len(columns)), 1.0],
        A_ub=np.vstack([over, under]),
        b_ub=np.r_[-cents, cents],
        bounds=bounds,
        method="highs",
    )
    return float(fit.fun)


def fewest(case: Case, limit: float, *, most: int = 4) -> tuple[int | None, float, bool]:
    """Fewest moves that bring every note within (None beyond `most`), the best by all work, whether the nut's place is needed."""
    cents = case.true_cents().ravel()
    heard = ~np.isnan(cents)
    cents = cents[heard]
    parts = {
        name: [(np.nan_to_num(column[heard]), low, high) for column, low, high in columns]
        for name, columns in _parts(case).items()
    }
    best = _least_worst(cents, [column for columns in parts.values() for column in columns])
    easier = [column for name, columns in parts.items() if name != "nut" for column in columns]
    shelf = _least_worst(cents, easier) > limit >= best
    if np.all(np.abs(cents) <= limit):
        return 0, best, shelf
    out = np.abs(cents) > limit
    touching = {name: np.any([np.abs(column) > 0.2 for column, _, _ in columns], axis=0) for name, columns in parts.items()}
    useful = [name for name in parts if np.any(touching[name] & out)]
    for count in range(1, most + 1):
        for chosen in itertools.combinations(useful, count):
            if np.all(np.any([touching[name] for name in chosen], axis=0)[out]):
                columns = [column for name in chosen for column in parts[name]]
                if _least_worst(cents, columns) <= limit:
                    return count, best, shelf
    return None, best, shelf


def described_cents(case: Case) -> float:
    """Worst note of the neck as described, these strings and this hand, the body as it is."""
    built = case.built
    none = np.zeros(built.shape)
    plain = replace(
        built,
        fret_mm=np.zeros(built.shape[1]),
        tilt_mm=np.zeros(built.shape[1]),
        wear_mm=none,
        crown_mm=none,
        scale_mm=0.0,
        nut_mm=0.0 * built.nut_mm,
        nut_z=0.0 * built.nut_z + case.instrument.nut_height_mm,
        saddle_mm=np.array([one.saddle_setback_mm for one in built.neck.strings]),
    )
    return float(np.nanmax(np.abs(plain.true_cents(case.hand))))


def run_one(job: Job) -> Outcome:
    """One neck, advised and worked on."""
    sets = FAULT_SETS[job.faults]
    case = draw(job.world, sets[job.number % len(sets)], seed=(job.seed, job.number))
    result = advised(case, job.limit)
    steps = [step for step in result.corrections if step.kind != "measure" and step.moves]
    count, best, shelf_needed = fewest(case, job.limit)
    moves = [move for step in steps for move in step.moves]
    parts = {(move.part, None if move.part in ("nut_height", "nut") else move.string, move.fret) for move in moves}
    outcome = Outcome(
        job=job,
        before=case.worst(),
        after=case.worst(),
        best=best,
        described=described_cents(case),
        told=bool(moves),
        decision=result.verdict.decision,
        moves=len(parts),
        fewest=count,
        shelf=any(move.part == "nut" for move in moves),
        shelf_needed=shelf_needed,
    )
    now = case
    for number, step in enumerate(steps):
        now = now.carry_out(step.moves, least_clearance_mm=least_clearance(case.neck()), work=number)
        outcome.steps.append(now.worst() - outcome.after)
        outcome.after = now.worst()
    if result.predicted is not None:
        outcome.stated, outcome.interval = result.predicted.probability_within, result.predicted.worst_90
    return outcome


def report(outcomes: list[Outcome]) -> str:
    """Tables as text."""
    heads = ("n", "told, 1 c", "within", "passed", "after", "of", "surplus", "shelf", "worse", "in 90 %")
    lines = [f"{'world':7}{'faults':7}{'limit':>6}" + "".join(f"{head:>10}" for head in heads)]
    table: dict[tuple[str, int, float], list[Outcome]] = defaultdict(list)
    for one in outcomes:
        table[one.job.world, one.job.faults, one.job.limit].append(one)
        table[one.job.world, one.job.faults, np.inf].append(one)
        table[one.job.world, 9, np.inf].append(one)
    for (world, faults, limit), rows in sorted(table.items()):
        clear = [one.told for one in rows if one.before <= one.job.limit - 1.0]
        within = [one.told for one in rows if one.before <= one.job.limit]
        can = [one for one in rows if one.best <= one.job.limit - BENCH_CENTS]
        counted = [one.moves - one.fewest for one in rows if one.fewest is not None and one.described <= one.job.limit - 1.0]
        steps = [worse > 0.5 for one in rows for worse in one.steps]
        hits = [one.interval[0] <= one.after <= one.interval[1] for one in rows if one.interval is not None]
        cells = (
            str(len(rows)),
            f"{share(clear)}/{len(clear)}",
            f"{share(within)}/{len(within)}",
            share([one.told for one in rows if one.decision == "pass"]),
            share([one.after <= one.job.limit for one in can]),
            str(len(can)),
            f"{np.mean(counted):.2f}" if counted else "–",
            share([one.shelf for one in rows if not one.shelf_needed]),
            f"{share(steps)}/{len(steps)}",
            share(hits),
        )
        name, at = "all" if faults == 9 else str(faults), "all" if np.isinf(limit) else f"{limit:.1f}"
        lines.append(f"{world:7}{name:7}{at:>6}" + "".join(f"{cell:>10}" for cell in cells))
    lines += ["", "stated P of being within after the work, against truth"]
    for world in dict.fromkeys(one.job.world for one in outcomes):
        for low, high in itertools.pairwise(BINS):
            rows = [one for one in outcomes if one.job.world == world and one.stated is not None and low <= one.stated < high]
            if rows:
                stated = 100.0 * np.mean([one.stated for one in rows])
                lines.append(
                    f"{world:7}{stated:5.0f} %  true {share([one.after <= one.job.limit for one in rows])} of {len(rows)}"
                )
    return "\n".join(lines)


def limits(world: str, seed: int) -> list[float]:
    """Three, to half a cent."""
    median = float(np.median([draw(world, seed=(seed + 1, number)).worst() for number in range(60)]))
    return [round(2.0 * (median + beyond)) / 2.0 for beyond in BEYOND_CENTS]


def main() -> None:
    """Run and print."""
    parser = options(__doc__, necks=40, worlds=("own", "mild"))
    parser.add_argument("--faults", nargs="*", type=int, default=[0, 1, 2])
    asked = parser.parse_args()
    jobs = [
        Job(world=world, faults=faults, limit=limit, seed=asked.seed, number=number)
        for world in asked.worlds
        for limit in limits(world, asked.seed)
        for faults in asked.faults
        for number in range(asked.necks)
    ]
    print(report(list(each(run_one, jobs, processes=asked.jobs))))


if __name__ == "__main__":
    main()
