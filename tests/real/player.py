"""A player of real sound before a live session: plucks what is asked for, and again where it is asked for again.

The sound is that of `necks`: one recorded pluck a string, resampled to the fret that is asked for, at its expected curve. No two
plucks are equally loud. Noise goes on between them.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np

from fretcheck.audio.cues import CuePlayer
from fretcheck.audio.input.source import Block
from fretcheck.diagnosis.model.as_designed import expected_cents
from fretcheck.neck.temperament import cents_between
from fretcheck.session import events
from fretcheck.session.journal.journal import Journal
from fretcheck.session.live.live_session import LiveSession
from fretcheck.session.live.runner import Runner
from fretcheck.session.plan import Ask, Plan
from tests.real.necks import FADE_S, LEVELS_DB, LONGEST_S, NOISE_DB, RATE, neck_for, plucks_for, resampled

BLOCK = 1024
MOST_PLUCKS = 4


class RealPlayer:
    """Plays a plan on a neck of real sound.

    Parameters
    ----------
    folder : Path
        For the session's journal.
    label : str
        Of the instrument, see `necks.STRINGS`.
    tune_within_cents : float, optional
        As the runner takes it.
    """

    def __init__(self, folder: Path, label: str, plan: Plan, *, seed: int = 1, tune_within_cents: float | None = None) -> None:
        self.neck = neck_for(label)
        self.events: list[events.Event] = []
        self.plucks_of: Counter[Ask] = Counter()
        """How often each ask of the plan was plucked; asks that are alike are counted together."""
        self.tuning_cents: Counter[int] = Counter()
        """By string, how far it is off; may be changed at any time."""
        self._plucks = plucks_for(label)
        self._expected = expected_cents(self.neck)
        self._rng = np.random.default_rng(seed)
        self._at = 0
        journal = Journal.create(folder, self.neck, plan)
        self.runner = Runner(
            self.neck,
            plan,
            keep=journal.keep,
            clock=itertools.count().__next__,
            step_back=False,
            tune_within_cents=tune_within_cents,
        )
        self.session = LiveSession(self.runner, journal, tell=self.events.append, cues=CuePlayer(), behind=lambda: True)
        self.session.begin(source=label, sample_rate=RATE)
        self.session.start()
        self._hear(np.zeros(RATE // 2))

    def through(self, *, before: Callable[[Ask], None] = lambda ask: None) -> RealPlayer:
        """Play what is asked for to the end; a note that is not taken after four plucks is left out.

        `before` is called with what is asked for, before it is plucked. A string that is said to be out of tune is tuned.
        """
        while (ask := self.runner.ask) is not None:
            before(ask)
            for _ in range(MOST_PLUCKS):
                step = self.runner.step
                self.plucks_of[ask] += 1
                known = len(self.events)
                self._hear(self._sound(ask))
                for event in self.events[known:]:
                    if isinstance(event, events.OutOfTune):
                        self.tuning_cents[ask.string] -= event.cents
                if self.runner.ask is not ask or self.runner.step != step:
                    break
            else:
                self.session.command("skip")
        return self

    def _sound(self, ask: Ask) -> np.ndarray:
        pluck = self._plucks[ask.string - 1]
        off = float(self._expected[ask.string - 1, ask.fret]) if ask.fret else 0.0
        cents = cents_between(self.neck.target_hz(ask.string, ask.fret), pluck.filed_hz) + off + self.tuning_cents[ask.string]
        sound = resampled(pluck.sound, pluck.sample_rate, 2.0 ** (cents / 1200.0))[: round(LONGEST_S * RATE)].copy()
        sound *= 10 ** (self._rng.uniform(*LEVELS_DB) / 20) / np.max(np.abs(sound))
        sound[-round(FADE_S * RATE) :] *= np.linspace(1.0, 0.0, round(FADE_S * RATE))
        return np.concatenate([sound, np.zeros(round(self._rng.uniform(0.5, 0.8) * RATE))])

    def _hear(self, sound: np.ndarray) -> None:
        sound = sound + 10 ** (NOISE_DB / 20) * self._rng.standard_normal(len(sound))
        for start in range(0, len(sound), BLOCK):
            samples = sound[start : start + BLOCK]
            self.session.take(Block(samples=samples, start_frame=self._at))
            self._at += len(samples)
