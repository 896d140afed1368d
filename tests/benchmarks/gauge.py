"""Do a gauge study's intervals hold? ``python -m tests.benchmarks.gauge [--studies 300] [--worlds own mild]``

Simulated studies: necks of `tests.worlds`, read by operators of whom each presses deeper or lighter than the next (standard
deviation 0.03 mm), and each time a little otherwise (0.03 mm: about 0.3 cent on all notes of that inspection). The truth is the
scatter of the same necks under very many inspections and operators. Printed: per cent of 90 % intervals that hold it (wanted:
85 to 95), mean estimate over truth (squares), and median width (upper end over lower).
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import numpy as np

from fretcheck.diagnosis.infer.scatter import combine, hand_scatter
from fretcheck.lots.gauge.gauge_study import gauge_study
from tests.benchmarks.processes import each, options
from tests.worlds.case import Case, draw
from tests.worlds.session import Listener

OPERATOR_MM, DAY_MM = 0.03, 0.03
DESIGNS = ((5, 3, 2), (3, 2, 2), (5, 1, 3), (10, 3, 2))
"""Necks, operators, repeats."""
TRUTHS = 40


@dataclass(frozen=True, kw_only=True)
class Job:
    """One study; below 0 a set of inspections that tells the truth."""

    world: str
    design: tuple[int, int, int]
    number: int
    seed: int


def read(case: Case, rng: np.random.Generator, operator_mm: float) -> np.ndarray:
    """(strings, frets) as one inspection hears them, two plucks a note."""
    hand = case.hand.pressed(operator_mm + DAY_MM * rng.standard_normal())
    heard = Listener(rng, case.built, hand, case.steadiness).session(plucks=2)
    found = combine(heard, hand_scatter(heard))
    values = np.full(case.built.shape, np.nan)
    for cell, cents in zip(found.cells, found.cents, strict=True):
        values[cell.string - 1, cell.fret - 1] = cents
    return values


def run_one(job: Job) -> tuple[Job, dict[str, tuple[float, float, float]]]:
    """Estimates and intervals of one study; of a truth, squares."""
    necks, operators, repeats = job.design
    rng = np.random.default_rng([job.seed, abs(job.number), 3, job.number < 0])
    cases = [draw(job.world, [], seed=(job.seed, job.number % 1000, n), hand_cents=0.8) for n in range(necks)]
    if job.number < 0:
        case = cases[0]
        readings = np.array([read(case, rng, 0.0) for _ in range(TRUTHS)])
        people = np.array([case.built.true_cents(case.hand.pressed(OPERATOR_MM * rng.standard_normal())) for _ in range(200)])
        return job, {"truth": (float(np.var(readings, axis=0, ddof=1).mean()), float(np.var(people, axis=0, ddof=1).mean()), 0.0)}
    who = OPERATOR_MM * rng.standard_normal(operators)
    values = np.array([[[read(case, rng, mm).ravel() for _ in range(repeats)] for mm in who] for case in cases])
    strings, frets = cases[0].built.shape
    found = gauge_study(values, np.repeat(np.arange(strings), frets).tolist(), list(range(frets)) * strings)
    said = {"repeatability": found.repeatability, "gauge": found.gauge, "reproducibility": found.reproducibility}
    return job, {name: (one.cents, *one.interval) for name, one in said.items() if one is not None}


def main() -> None:
    """Run and print."""
    parser = options(__doc__, necks=0, worlds=("own", "mild"))
    parser.add_argument("--studies", type=int, default=300)
    asked = parser.parse_args()
    for world in asked.worlds:
        truths = [Job(world=world, design=(1, 1, 1), number=-n, seed=asked.seed) for n in range(1, 41)]
        squares = np.array([said["truth"] for _, said in each(run_one, truths, processes=asked.jobs)]).mean(axis=0)
        true = {
            "repeatability": squares[0] ** 0.5,
            "reproducibility": squares[1] ** 0.5,
            "gauge": (squares[0] + squares[1]) ** 0.5,
        }
        print(f"{world}: true {', '.join(f'{name} {value:.3f}' for name, value in true.items())} cents", flush=True)
        for design in DESIGNS:
            jobs = [Job(world=world, design=design, number=n, seed=asked.seed) for n in range(1, asked.studies + 1)]
            found: dict[str, list[tuple[float, float, float]]] = defaultdict(list)
            for _, said in each(run_one, jobs, processes=asked.jobs):
                for name, one in said.items():
                    found[name].append(one)
            for name, rows in found.items():
                if design[1] == 1 and name != "repeatability":
                    continue
                values = np.array(rows)
                held = np.mean((values[:, 1] <= true[name]) & (true[name] <= values[:, 2]))
                ratio, width = (
                    np.mean(values[:, 0] ** 2) / true[name] ** 2,
                    np.median(values[:, 2] / np.maximum(values[:, 1], 1e-3)),
                )
                print(
                    f"  {design} {len(rows)} studies, {name}: held {held:.1%}, estimate {ratio:.2f}, width {width:.1f}",
                    flush=True,
                )


if __name__ == "__main__":
    main()
