"""Strings that slip in the midst of an inspection: is it noticed, and is anything kept that does not belong? Readings, no sound.

    python -m tests.benchmarks.slips [--sessions 200]

A steel guitar's plan `deciding`, its first round; a hand of 0.8 cents, open notes 0.3. Before one of the fretted plucks of one
string, drawn at random, that string slips. The player plucks what is asked for, tunes a string that is said to be out of tune or
to have slipped (to 1.5 cents, by a tuner of his own), and leaves a slip of less than 20 cents, which nobody hears, as it is.
Noticed: the program says that the string has moved. Wrong: a note kept that reads more than `WRONG_CENTS` off what was played.
"""

from __future__ import annotations

import argparse
import itertools
from dataclasses import dataclass, replace

import numpy as np

from fretcheck.neck.starts import start
from fretcheck.session import events
from fretcheck.session.deviation import inspection_from
from fretcheck.session.live.runner import Runner
from fretcheck.session.plan import deciding_plan
from tests.session.bench import Player

NECK = start("guitar-6-steel").neck
PLAN = deciding_plan(NECK, look_for_mm=0.3, most_plucks=130)
SLIPS_CENTS = (-60.0, -12.0, 12.0, 60.0)
HAND_CENTS, OPEN_CENTS, TUNED_CENTS = 0.8, 0.3, 1.5
INAUDIBLE_CENTS = 20.0
WRONG_CENTS = 5.0
"""Five times the scatter of a note counted from its open one (0.8 and twice 0.3 cents), and less than half of the least slip."""


@dataclass(frozen=True)
class Outcome:
    """Of one session."""

    noticed: bool
    wrong: int
    further: int
    """Plucks beyond the plan's."""
    finished: bool


def play(slip_cents: float, seed: int) -> Outcome:
    """One session to the end of its first round."""
    chance = np.random.default_rng([seed, 7, round(slip_cents + 100)])
    numbers = itertools.count(1)
    runner = Runner(
        NECK,
        replace(PLAN, growth=None),
        keep=lambda taken, pluck: replace(taken, number=next(numbers)),
        clock=itertools.count().__next__,
        tune_within_cents=5.0,
    )
    player = Player(runner)
    tuned = dict.fromkeys(PLAN.strings, 0.0)
    fretted = [index for index, ask in enumerate(PLAN.asks) if ask.fret]
    slips_at = PLAN.asks[fretted[int(chance.integers(len(fretted)))]]
    slipped = noticed = False
    plucks = 0
    while runner.ask is not None and plucks < 4 * len(PLAN.asks):
        ask = runner.ask
        if ask == slips_at and not slipped:
            slipped = True
            tuned[ask.string] += slip_cents
        off = tuned[ask.string] + (HAND_CENTS if ask.fret else OPEN_CENTS) * float(chance.standard_normal())
        plucks += 1
        for event in player.pluck(ask.string, ask.fret, cents=off):
            moved = isinstance(event, events.Drifted) and event.string == slips_at.string
            noticed |= slipped and moved
            if isinstance(event, events.OutOfTune) or (moved and abs(tuned[slips_at.string]) > INAUDIBLE_CENTS):
                tuned[ask.string] = TUNED_CENTS * float(chance.standard_normal())
    kept = inspection_from(NECK, runner.taken, planned=PLAN.notes).readings
    wrong = [one for one in kept if one.used and one.fret and abs(one.deviation_cents or 0.0) > WRONG_CENTS]
    return Outcome(noticed, len(wrong), plucks - len(PLAN.asks), runner.ask is None)


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--sessions", type=int, default=200, help="of each slip")
    count = parser.parse_args().sessions
    print("slip, cents  sessions  noticed  nothing wrong kept  came to the end  further plucks")
    for slip in SLIPS_CENTS:
        ran = [play(slip, seed) for seed in range(count)]
        shares = [100.0 * np.mean(one) for one in
                  ([x.noticed for x in ran], [x.wrong == 0 for x in ran], [x.finished for x in ran])]  # fmt: skip
        further = np.median([x.further for x in ran])
        print(f"{slip:>+11.0f}{count:>10}{shares[0]:>8.1f}%{shares[1]:>19.1f}%{shares[2]:>16.1f}%{further:>16.0f}")


if __name__ == "__main__":
    main()
