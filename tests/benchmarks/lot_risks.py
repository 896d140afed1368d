"""Are the promised risks of a lot held? ``python -m tests.benchmarks.lot_risks --necks 500 [--worlds own mild] [--pool FILE]``

Every neck of `tests.worlds` (half with a fault, hand 0.8 cent, two plucks a note) is diagnosed once and judged at limits from 3
cents below to 4 above its true worst note; at one of -3 to 0 and one of 0 to 3, evenly over the necks, it is inspected to the
end as a lot's next step says: what decides is plucked again, up to twice. Shops then draw lots of these necks (60 of which
a stated number are truly out) and go by the plan.

sound lots: every neck at least 2 cents within (2 to 4, evenly; and all at exactly 2), accepted at the first reading.
risks: a lot with the good number of bad necks is refused with the maker's risk at most, one with the bad number accepted with the
buyer's (wanted: within 2 points). `open`: lots that two further inspections left undecided; `as bad`: those then decided with
undecided counted as bad.
"""

from __future__ import annotations

import pickle
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from fretcheck.diagnosis.conclude.notes import asked_notes, drawn_notes
from fretcheck.diagnosis.conclude.verdict import judge, pluck_again
from fretcheck.diagnosis.infer.draws import joint_draws
from fretcheck.diagnosis.infer.inference import infer
from fretcheck.diagnosis.observation import Observation
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.lots.acceptance.lot_record import PlanPart
from fretcheck.lots.acceptance.plans import attribute_plan
from fretcheck.lots.acceptance.risks import StatedRisks, acceptance_probability, plan_for_risks
from tests.benchmarks.processes import each, options
from tests.worlds.case import Case, draw

FAULTS = ("fret.40", "saddle2.5", "tilt.35", "nutheight.4", "fret.25")
MARGINS = tuple(np.arange(-3.0, 4.01, 0.25).tolist())
ROUNDS, SHOPS, LOT = 2, 2000, 60
PLANS = (
    (1, 6, plan_for_risks(lot=LOT, risks=StatedRisks(good=1, bad=6))),
    (2, 10, plan_for_risks(lot=LOT, risks=StatedRisks(good=2, bad=10))),
    (1, 12, attribute_plan(lot=LOT, aql=2.5)),
)


@dataclass(frozen=True, kw_only=True)
class Job:
    """One neck."""

    world: str
    seed: int
    number: int
    necks: int


@dataclass(frozen=True, kw_only=True)
class Judged:
    """One neck: its decision at each of `MARGINS` at the first reading; margin and decisions, inspection after inspection."""

    world: str
    first: tuple[str | None, ...]
    ends: tuple[tuple[float, tuple[str | None, ...]], ...]
    faulty: bool


def _decide(case: Case, heard: list[Observation], limits: list[float]) -> list[tuple[str | None, tuple[tuple[int, int], ...]]]:
    """Decision and the notes to pluck again at each limit, by one posterior."""
    neck, settings = case.neck(), DiagnosisSettings()
    asked = asked_notes(neck, heard, None, judge_open_notes=False)
    posterior = infer(neck, heard)
    drawn = drawn_notes(posterior, joint_draws(posterior), heard, asked, limit_cents=limits[0], settings=settings)
    said = []
    for limit in limits:
        verdict = judge(drawn, asked, asked, neck=neck, limit_cents=limit, settings=settings)
        again = pluck_again(drawn, asked, asked, limit_cents=limit) if verdict.decision == "undecided" else ()
        said.append((verdict.decision, again))
    return said


def run_one(job: Job) -> Judged:
    """Judge one neck at all margins, and to the end at two."""
    faults = [FAULTS[job.number // 2 % len(FAULTS)]] if job.number % 2 else []
    case = draw(job.world, faults, seed=(job.seed, job.number), hand_cents=0.8)
    heard = case.observations(plucks=2)
    share = (job.number + 0.5) / job.necks
    turned = [3.0 * share, -3.0 * ((share * 7.0) % 1.0)]
    worst = case.worst()
    said = _decide(case, heard, [max(worst + margin, 0.3) for margin in (*MARGINS, *turned)])
    ends = []
    for place, margin in enumerate(turned):
        decision, again = said[len(MARGINS) + place]
        course, plucks, limit = [decision], list(heard), max(worst + margin, 0.3)
        for turn in range(1, ROUNDS + 1):
            if decision != "undecided" or not again:
                break
            notes: dict[int, list[int]] = {}
            for string, fret in again:
                notes.setdefault(string, []).append(fret)
            plucks += case.observations(plucks=2, notes=notes, session=10 * (place + 1) + turn)
            decision, again = _decide(case, plucks, [limit])[0]
            course.append(decision)
        ends.append((limit - worst, tuple(course)))
    return Judged(world=job.world, first=tuple(one for one, _ in said[: len(MARGINS)]), ends=tuple(ends), faulty=bool(faults))


def sound_lots(pool: list[Judged]) -> None:
    """Lots of sound necks, 2 cents within or more."""
    rng = np.random.default_rng(5)
    sound = [one for one in pool if not one.faulty]
    for what, least, most in (("2 to 4 c within", 2.0, 4.0), ("all exactly 2 c within", 2.0, 2.0)):
        places = [n for n, margin in enumerate(MARGINS) if least <= margin <= most]
        for good, bad, plan in PLANS:
            accepted = 0
            for _ in range(SHOPS):
                margins = rng.choice(places, size=plan.sample)
                drawn = [sound[n].first[m] for n, m in zip(rng.integers(len(sound), size=plan.sample), margins, strict=True)]
                accepted += sum(one != "pass" for one in drawn) <= plan.accept
            print(f"sound lots, {what}, plan {good}/{bad} ({plan.sample}, {plan.accept}): accepted {accepted / SHOPS:.1%} (90)")
        passed = np.mean([one.first[place] == "pass" for one in sound for place in places])
        print(f"  of {len(sound)} sound necks pass at the first reading {passed:.1%}")


def risks(pool: list[Judged]) -> None:
    """Maker's and buyer's risk, as promised and as held."""
    rng = np.random.default_rng(6)
    ends = [(margin, course[-1]) for one in pool for margin, course in one.ends]
    for least in (1.0, 0.0):
        within = [said for margin, said in ends if margin > least]
        out = [said for margin, said in ends if margin < -least]
        _risks(f"{least:g} to 3 c from the limit", within, out, rng)


def _risks(what: str, within: list[str | None], out: list[str | None], rng: np.random.Generator) -> None:
    print(f" necks {what}:")
    for name, said in (("within", within), ("out", out)):
        shares = {kind: f"{said.count(kind) / len(said):.1%}" for kind in ("pass", "fail", "undecided")}
        print(f"  {len(said)} necks truly {name}, at the end: {shares}")
    for good, bad, plan in PLANS:
        for kind, count in (("good", good), ("bad", bad)):
            promised = acceptance_probability(sample=plan.sample, accept=plan.accept, lot=LOT, bad=count)
            shares = np.mean([_outcome(plan, count, within, out, rng) for _ in range(SHOPS)], axis=0)
            wrong = ("refused", 1 - promised, shares[1], shares[3]) if kind == "good" else ("accepted", promised, *shares[[0, 0]])
            print(
                f"plan {good}/{bad} ({plan.sample}, {plan.accept}), {kind} lot with {count}: {wrong[0]} {wrong[2]:.1%}"
                f" (promised {wrong[1]:.1%}), open {shares[2]:.1%}, {wrong[0]} with undecided as bad {wrong[3]:.1%}"
            )


def _outcome(
    plan: PlanPart, bad: int, within: list[str | None], out: list[str | None], rng: np.random.Generator
) -> tuple[bool, bool, bool, bool]:
    """Accepted, refused, open; refused with undecided counted as bad."""
    drawn_bad = int(rng.hypergeometric(bad, LOT - bad, plan.sample))
    said = [out[n] for n in rng.integers(len(out), size=drawn_bad)]
    said += [within[n] for n in rng.integers(len(within), size=plan.sample - drawn_bad)]
    failed, open_ = said.count("fail"), len(said) - said.count("fail") - said.count("pass")
    accepted, refused = failed + open_ <= plan.accept, failed > plan.accept
    return accepted, refused, not accepted and not refused, not accepted


def main() -> None:
    """Diagnose, or read what was diagnosed, and print."""
    parser = options(__doc__, necks=500, worlds=("own", "mild"))
    parser.add_argument("--pool", type=Path, help="file the diagnosed necks are kept in, and read from when it is there")
    asked = parser.parse_args()
    if asked.pool is not None and asked.pool.exists():
        pool = pickle.loads(asked.pool.read_bytes())
    else:
        jobs = [
            Job(world=world, seed=asked.seed, number=number, necks=asked.necks)
            for world in asked.worlds
            for number in range(asked.necks)
        ]
        pool = list(each(run_one, jobs, processes=asked.jobs))
        if asked.pool is not None:
            asked.pool.write_bytes(pickle.dumps(pool))
    for world in asked.worlds:
        own = [one for one in pool if one.world == world]
        print(f"{world}: {len(own)} necks")
        sound_lots(own)
        risks(own)


if __name__ == "__main__":
    main()
