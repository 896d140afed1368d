"""Is the verdict right, and how often is there one? Necks of `tests.worlds`, at limits a stated way from their true worst note.

    python -m tests.benchmarks.verdict --necks 60 [--worlds own mild] [--instruments steel nylon bass banjo] [--spoiled]

Of every neck the margin (limit less true worst note) runs evenly from −3 to +3 cents over the row, and a second time it is
exactly 1 cent. Half of the necks are sound, half have a fault each. Columns: `undecided`, per cent of necks with margins 1 to 3
cents, and at exactly 1 cent; `bad passes`, how many of the necks passed are truly out; `sound fails`, how many of those failed
are truly within; `within 2u`, per cent of notes whose true value lies within 2u of the stated one; `rms`, of stated less true,
cents.

`--observer` gives the same verdicts by the posterior of one who knows the world's spreads and the hand, of sound necks only: what
no diagnosis can better. `--again` compares two sessions of an unchanged neck, the hand 0.03 mm deeper or lighter on the second
day (about 0.3 cent): per cent of necks of which a note, or a part, is said to have changed. `--spoiled` spoils one pluck of two
by 7 or 14 cents and prints how far the note moved from where it stood without that (cents).
"""

from __future__ import annotations

import time
from collections import defaultdict
from dataclasses import dataclass, field, replace

import numpy as np

from fretcheck.diagnosis.diagnose import diagnose
from fretcheck.diagnosis.result import Diagnosis
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.inspection.assemble import Circumstances, judge
from fretcheck.inspection.comparison import compare
from fretcheck.inspection.document import InspectionDocument
from fretcheck.pitch.reading import NoteReading
from fretcheck.session.deviation import inspection_from
from fretcheck.session.placed_reading import Reading
from fretcheck.session.plan import Ask
from tests.benchmarks.processes import each, options, share
from tests.worlds.case import Case, draw
from tests.worlds.observer import sound_draws
from tests.worlds.session import READING_CENTS

FAULTS = ("fret.40", "saddle2.5", "tilt.35", "nutheight.4", "fret.25")
MARGIN_CENTS = 3.0
HANDS = ((0.5, 2), (0.8, 2), (1.0, 2), (0.8, 1))
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
    necks: int
    spoiled: bool = False
    again: bool = False
    observer: bool = False

    @property
    def row(self) -> tuple[str, str, float, int]:
        """What it is counted under."""
        return self.world, self.instrument, self.hand, self.plucks


@dataclass(kw_only=True)
class Outcome:
    """What was said of one neck."""

    job: Job
    judged: list[tuple[float, str | None]] = field(default_factory=list)
    """Margin and decision, evenly spread."""
    at_one: str | None = None
    inside: list[bool] = field(default_factory=list)
    off: list[float] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)
    moved: float | None = None
    changed: tuple[int, int] | None = None
    """Notes and parts, said of a neck that was not touched."""


def judged(case: Case, limit: float, plucks: int, seconds: list[float], **asked: object) -> Diagnosis:
    """Everything asked for and heard."""
    start = time.process_time()
    heard = case.observations(plucks=plucks, **asked)
    result = diagnose(case.neck(), heard, settings=DiagnosisSettings(limit_cents=limit))
    seconds.append(time.process_time() - start)
    return result


def run_one(job: Job) -> Outcome:
    """Two verdicts on one neck."""
    faults = [FAULTS[job.number // 2 % len(FAULTS)]] if job.number % 2 and not job.observer else []
    case = draw(job.world, faults, seed=(job.seed, job.number), instrument=job.instrument, hand_cents=job.hand)
    outcome = Outcome(job=job)
    if job.spoiled:
        return _spoiled(job, case, outcome)
    if job.again:
        return _again(case, outcome)
    margin = MARGIN_CENTS * (2.0 * (job.number + 0.5) / job.necks - 1.0)
    turned = margin if job.number % 4 < 2 else -margin  # sound and faulty necks alike on both sides
    if job.observer:
        return _observed(job, case, outcome, turned)
    for limit in (case.worst() + turned, case.worst() + 1.0):
        result = judged(case, max(limit, 0.5), job.plucks, outcome.seconds)
        if limit == case.worst() + 1.0:
            outcome.at_one = result.verdict.decision
        else:
            outcome.judged.append((turned, result.verdict.decision))
    true = case.true_cents()
    for note in result.notes:
        if note.fret:
            off = note.deviation_cents - float(true[note.string - 1, note.fret - 1])
            outcome.off.append(off)
            outcome.inside.append(abs(off) <= 2.0 * note.u_cents)
    return outcome


def _observed(job: Job, case: Case, outcome: Outcome, turned: float) -> Outcome:
    draws, risk = sound_draws(case, job.world, plucks=job.plucks), DiagnosisSettings().risk
    for margin in (turned, 1.0):
        within = float(np.mean(np.all(np.abs(draws) <= max(case.worst() + margin, 0.5), axis=1)))
        decision = "pass" if within >= 1.0 - risk else "fail" if within <= risk else "undecided"
        outcome.judged.append((margin, decision))
    outcome.at_one = outcome.judged.pop()[1]
    off = draws.mean(axis=0) - case.true_cents().ravel()
    outcome.off, outcome.inside = off.tolist(), (np.abs(off) <= 2.0 * draws.std(axis=0)).tolist()
    outcome.seconds = [0.0]
    return outcome


def _spoiled(job: Job, case: Case, outcome: Outcome) -> Outcome:
    rng = np.random.default_rng([job.seed, job.number, 9])
    strings, frets = case.built.shape
    string = int(rng.integers(1, strings + 1))
    fret = int(rng.integers(case.built.neck.string(string).first_fret + 1, frets + 1))
    cents = float(rng.choice([7.0, 14.0, -7.0, -14.0]))
    shown = []
    for spoiled in (None, (string, fret, cents)):
        result = judged(case, 6.0, job.plucks, outcome.seconds, spoiled=spoiled)
        shown += [one.deviation_cents for one in result.notes if (one.string, one.fret) == (string, fret)]
    outcome.moved = abs(shown[1] - shown[0])
    return outcome


def document(case: Case, session: int) -> InspectionDocument:
    """The inspection that a session makes, its pitches heard without error."""
    listener, neck = case.listener(session), case.neck()
    listener.session(plucks=2)
    notes = [
        Reading(
            ask=Ask(string=string, fret=fret),
            start_s=at,
            note=NoteReading(
                f1_hz=neck.target_hz(string, fret) * 2.0 ** (cents / 1200.0),
                u_cents=READING_CENTS,
                inharmonicity=float(listener.overtone[string - 1, fret]),
                u_inharmonicity=float(0.04 * listener.overtone[string - 1, fret]),
                snr_db=40.0,
                partials=15,
                glide_cents=0.0,
                window_s=(0.05, 1.5),
                remarks=(),
            ),
        )
        for string, fret, cents, at in listener.pitches
    ]
    planned = [(one.string, one.fret) for one in notes]
    inspection = inspection_from(neck, notes, planned=planned, plan="full", source="benchmark", sample_rate_hz=48000.0)
    return judge(inspection, circumstances=Circumstances())


def _again(case: Case, outcome: Outcome) -> Outcome:
    other = replace(case, hand=case.hand.pressed(0.03 if outcome.job.number % 4 < 2 else -0.03))
    said = compare(document(case, 0), document(other, 1))
    outcome.changed = len(said.changed_notes), len(said.parts)
    return outcome


def report(outcomes: list[Outcome]) -> str:
    """The table as text."""
    heads = ("undecided", "at 1 c", "bad passes", "sound fails", "within 2u", "rms", "s")
    lines = [f"{'world':8}{'strings':9}{'hand × plucks':15}{'n':>4}" + "".join(f"{head:>13}" for head in heads)]
    table: dict[tuple[str, str, float, int], list[Outcome]] = defaultdict(list)
    for one in outcomes:
        table[one.job.row].append(one)
    for (world, instrument, hand, plucks), rows in table.items():
        said = [pair for row in rows for pair in row.judged] + [(1.0, row.at_one) for row in rows]
        clear = [decision for row in rows for margin, decision in row.judged if margin >= 1.0]
        passed, failed = ([margin for margin, decision in said if decision == what] for what in ("pass", "fail"))
        off = np.array([value for row in rows for value in row.off])
        cells = (
            share([one == "undecided" for one in clear]),
            share([row.at_one == "undecided" for row in rows]),
            f"{sum(margin < 0 for margin in passed)} of {len(passed)}",
            f"{sum(margin > 0 for margin in failed)} of {len(failed)}",
            share([hit for row in rows for hit in row.inside]),
            f"{np.sqrt(np.mean(off**2)):.2f}",
            f"{np.median([s for row in rows for s in row.seconds]):.2f}",
        )
        hands = f"{hand} × {plucks}"
        lines.append(f"{world:8}{instrument:9}{hands:15}{len(rows):4}" + "".join(f"{cell:>13}" for cell in cells))
    return "\n".join(lines)


def spoiled_report(outcomes: list[Outcome]) -> str:
    """How far a spoiled note moved."""
    lines = [
        "one pluck of two spoiled by 7 or 14 cents: the note moves by (cents)",
        f"{'world':8}{'n':>4}  median   90 %  largest",
    ]
    for world in dict.fromkeys(one.job.world for one in outcomes):
        moved = [one.moved for one in outcomes if one.job.world == world and one.moved is not None]
        lines.append(f"{world:8}{len(moved):4}{np.median(moved):8.2f}{np.quantile(moved, 0.9):7.2f}{max(moved):9.2f}")
    return "\n".join(lines)


def again_report(outcomes: list[Outcome]) -> str:
    """How often an unchanged neck is said to have changed."""
    lines = ["unchanged necks, two sessions: said to have changed (%)", f"{'world':8}{'n':>4}   a note   a part"]
    for world in dict.fromkeys(one.job.world for one in outcomes):
        rows = [one.changed for one in outcomes if one.job.world == world and one.changed is not None]
        lines.append(
            f"{world:8}{len(rows):4}{share([notes > 0 for notes, _ in rows]):>9}{share([parts > 0 for _, parts in rows]):>9}"
        )
    return "\n".join(lines)


def main() -> None:
    """Run and print."""
    parser = options(__doc__, necks=60, worlds=("own", "mild"))
    parser.add_argument("--instruments", nargs="*", default=["steel", "nylon", "bass", "banjo"])
    parser.add_argument("--spoiled", action="store_true")
    parser.add_argument("--again", action="store_true")
    parser.add_argument("--observer", action="store_true")
    asked = parser.parse_args()
    special = asked.spoiled or asked.again
    jobs = [
        Job(
            world=world,
            instrument=instrument,
            hand=hand,
            plucks=plucks,
            seed=asked.seed,
            number=number,
            necks=asked.necks,
            spoiled=asked.spoiled,
            again=asked.again,
            observer=asked.observer,
        )
        for world in asked.worlds
        for instrument in (["steel"] if special else asked.instruments)
        for hand, plucks in (HANDS if instrument == "steel" and not special else ((0.8, 2),))
        for number in range(asked.necks)
    ]
    outcomes = sorted(each(run_one, jobs, processes=asked.jobs), key=lambda one: jobs.index(one.job))
    print((spoiled_report if asked.spoiled else again_report if asked.again else report)(outcomes))


if __name__ == "__main__":
    main()
