"""How many plucks until all is decided, and is it decided rightly? Necks of `tests.worlds`, played as plan `deciding` asks.

    python -m tests.benchmarks.deciding --necks 60 [--worlds own mild] [--rows sound fret.40 …] [--look-for 0.20] [--full]
        [--every-note]

The player's hand is 0.8 c; every pluck counts, open ones included. The limit lies exactly 1 cent beyond the neck's true worst
note (rows ending in `-out`: 1 cent short of it). Columns: plucks, median and 90 %; `undecided`, `pass` and `fail` in per cent of
necks; `right`: the first finding is the fault's part and direction; `false`: something is found that is not the fault; choosing
and a whole round between batches, ms of processor (median); `unheard`: share of notes not heard at the end. `--full` adds two
plucks of every note, judged the same; `--every-note` goes on, once decided, until each is heard once.
`dent`: one note that the first round leaves out reads 3 cents beyond the limit; `dent-any`: any note does; such passes are false.
No other note tells of such a dent, so whatever the plan, it passes where its note is not among those heard: of dents anywhere a
plan of n different notes lets at least 1 − n/120 through.
"""

from __future__ import annotations

import time
from collections import defaultdict
from dataclasses import dataclass, field

import numpy as np

from fretcheck.diagnosis.conclude.deciding import MOST_PLUCKS, Deciding
from fretcheck.diagnosis.conclude.next_notes import LOOK_FOR_MM, MOST_NOTES, MOST_STRINGS, what_is_open
from fretcheck.diagnosis.diagnose import diagnose
from fretcheck.diagnosis.observation import Observation
from fretcheck.diagnosis.result import Diagnosis, Finding
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.session.plan import first_round
from tests.benchmarks.processes import each, options, share
from tests.worlds.case import Case, draw
from tests.worlds.faults import Fault
from tests.worlds.session import TUNED_CENTS, against_open

HAND_CENTS = 0.8
MARGIN_CENTS = 1.0
DENT_CENTS = 3.0
BETWEEN_VISITS_CENTS = 0.5
"""How far a string has moved when it is played again some minutes later."""
ROWS = ("sound", "sound-out", "fret.40", "fret.25", "tilt.35", "saddle2.5", "wear", "wear-out", "dent", "dent-any")
DENTS = ("dent", "dent-any")
INSTRUMENTS = ("nylon", "bass", "banjo")


@dataclass(frozen=True, kw_only=True)
class Job:
    """One neck of one row."""

    world: str
    row: str
    seed: int
    number: int
    look_for_mm: float
    how: str
    """``deciding``, ``full`` or ``every note``."""


@dataclass(kw_only=True)
class Outcome:
    """What it came to."""

    job: Job
    plucks: int
    decision: str | None
    worst_margin: float
    right: bool | None
    false: bool
    unheard: float
    choosing_ms: list[float] = field(default_factory=list)
    round_ms: list[float] = field(default_factory=list)


class Player:
    """Plucks what is asked for on one neck."""

    def __init__(self, case: Case, dent: tuple[int, int, float] | None) -> None:
        self.listener = case.listener()
        if dent is not None:
            string, fret, cents = dent
            self.listener.true[string - 1, fret - 1] = cents
        self.tuned = TUNED_CENTS * self.listener.rng.standard_normal(case.built.shape[0])
        self.heard: dict[int, list[Observation]] = defaultdict(list)

    def pluck(self, notes: list[tuple[int, int]], *, closing: bool) -> None:
        """String by string, each from its open note on, and back to it where `closing`."""
        for string in sorted({string for string, _ in notes}, reverse=True):
            order = [0, *sorted(fret for own, fret in notes if own == string), *([0] if closing else [])]
            tuning = self.tuned[string - 1] + (BETWEEN_VISITS_CENTS * self.listener.rng.standard_normal() if not closing else 0.0)
            self.heard[string] += self.listener.play(string, order, tuning=float(tuning))

    @property
    def observations(self) -> list[Observation]:
        """All plucks so far."""
        return [one for _, own in sorted(self.heard.items()) for one in against_open(own)]


def run_one(job: Job) -> Outcome:
    """Play one neck to its end."""
    name = job.row.removesuffix("-out")
    faults = [name] if name not in ("sound", *DENTS, *INSTRUMENTS) else []
    case = draw(
        job.world,
        faults,
        seed=(job.seed, job.number),
        instrument=name if name in INSTRUMENTS else "steel",
        hand_cents=HAND_CENTS,
    )
    neck = case.neck()
    limit = case.worst() + (-MARGIN_CENTS if job.row.endswith("-out") else MARGIN_CENTS)
    settings = DiagnosisSettings(limit_cents=max(limit, 0.3))
    strings = range(1, len(neck.strings) + 1)
    asked = [(string, fret) for string in strings for fret in neck.frets_of(string)]
    begun = first_round(neck, strings)
    dent, margin = None, MARGIN_CENTS
    if name in DENTS:
        rng = np.random.default_rng([job.seed, job.number, 5])
        places = sorted(set(asked) - begun) if name == "dent" else asked
        string, fret = places[int(rng.integers(len(places)))]
        dent, margin = (string, fret, float(rng.choice([-1.0, 1.0])) * (limit + DENT_CENTS)), -DENT_CENTS
    elif job.row.endswith("-out"):
        margin = -MARGIN_CENTS
    if job.how == "full":
        listener = case.listener()
        if dent is not None:
            listener.true[dent[0] - 1, dent[1] - 1] = dent[2]
        heard = listener.session(plucks=2)
        return _outcome(job, case, margin, heard, diagnose(neck, heard, asked=asked, settings=settings))
    player, deciding = Player(case, dent), Deciding(neck, asked, settings=settings, look_for_mm=job.look_for_mm)
    player.pluck(sorted(begun), closing=True)
    times = []
    while True:
        heard = player.observations
        start = time.process_time()
        now = deciding.round(heard, plucks=len(heard))
        times.append(1e3 * (time.process_time() - start))
        if not now.notes:
            break
        player.pluck(list(now.notes), closing=False)
    if job.how == "every note":
        rest = set(asked) - {(one.string, one.fret) for one in heard}
        player.pluck(sorted(rest), closing=False)
        heard = player.observations
        deciding.most_plucks = len(heard) + MOST_NOTES + MOST_STRINGS
        while (now := deciding.round(heard, plucks=len(heard))).notes:
            player.pluck(list(now.notes), closing=False)
            heard = player.observations
    outcome = _outcome(job, case, margin, heard, diagnose(neck, heard, asked=asked, must_hear=begun, settings=settings))
    outcome.round_ms = times
    fresh = what_is_open(neck, heard, asked=asked, settings=settings, look_for_mm=job.look_for_mm)
    start = time.process_time()
    fresh.choose()
    outcome.choosing_ms = [1e3 * (time.process_time() - start)]
    return outcome


def _outcome(job: Job, case: Case, margin: float, heard: list[Observation], said: Diagnosis) -> Outcome:
    return Outcome(
        job=job,
        plucks=len(heard),
        decision=said.verdict.decision,
        worst_margin=margin,
        right=_is(said.findings[0], case.faults[0]) if case.faults and said.findings else False if case.faults else None,
        false=any(not any(_is(one, fault) for fault in case.faults) for one in said.findings),
        unheard=float(np.mean([one.plucks == 0 for one in said.notes if one.fret > 0])),
    )


def _is(finding: Finding, fault: Fault) -> bool:
    value = finding.value_mm if finding.value_mm is not None else finding.value_cents
    same = (finding.cause, finding.fret, finding.string) == (fault.cause, fault.fret, fault.string)
    return same and (fault.size is None or value is None or value * fault.size > 0)


def report(outcomes: list[Outcome]) -> str:
    """The table as text."""
    heads = ("median", "90 %", "undecided", "pass", "fail", "right", "false", "unheard", "choose ms", "round ms")
    lines = [f"{'world':8}{'row':18}{'n':>4}" + "".join(f"{head:>11}" for head in heads)]
    table: dict[tuple[str, str, str], list[Outcome]] = defaultdict(list)
    for one in outcomes:
        table[one.job.world, one.job.row, one.job.how].append(one)
    for (world, row, how), rows in table.items():
        plucks = [one.plucks for one in rows]
        choosing = [t for one in rows for t in one.choosing_ms]
        rounds = [t for one in rows for t in one.round_ms]
        cells = (
            f"{np.median(plucks):.0f}",
            f"{np.quantile(plucks, 0.9):.0f}",
            *(share([one.decision == what for one in rows]) for what in ("undecided", "pass", "fail")),
            share([one.right for one in rows if one.right is not None]),
            share([one.false for one in rows]),
            f"{100.0 * np.mean([one.unheard for one in rows]):.0f}",
            f"{np.median(choosing):.0f}" if choosing else "–",
            f"{np.median(rounds):.0f}" if rounds else "–",
        )
        name = row + {"deciding": "", "full": " full × 2", "every note": " every"}[how]
        lines.append(f"{world:8}{name:18}{len(rows):4}" + "".join(f"{cell:>11}" for cell in cells))
    return "\n".join(lines)


def main() -> None:
    """Run and print."""
    parser = options(__doc__, necks=60, worlds=("own", "mild"))
    parser.add_argument("--rows", nargs="*", default=list(ROWS))
    parser.add_argument("--look-for", type=float, default=LOOK_FOR_MM, help="mm")
    parser.add_argument("--full", action="store_true", help="full × 2 beside it")
    parser.add_argument("--every-note", action="store_true", help="and until every note is heard once")
    asked = parser.parse_args()
    jobs = [
        Job(world=world, row=row, seed=asked.seed, number=number, look_for_mm=asked.look_for, how=how)
        for world in asked.worlds
        for row in asked.rows
        for how in ("deciding", *(["full"] if asked.full else []), *(["every note"] if asked.every_note else []))
        for number in range(asked.necks)
    ]
    outcomes = sorted(each(run_one, jobs, processes=asked.jobs), key=lambda one: jobs.index(one.job))
    print(f"budget {MOST_PLUCKS} plucks, hand {HAND_CENTS:g} c, looking for {asked.look_for:g} mm")
    print(report(outcomes))


if __name__ == "__main__":
    main()
