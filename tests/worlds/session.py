"""What is heard of a neck: plucks in their order, the open string between, drift, warming, slips and the hand.

Conventions
-----------
Strings one after another; on each: open, up the frets, open, and for every further round down or up again and open. Seconds
from the start. A pluck's cents are against the open note interpolated between the open plucks before and after it, as the
session does.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from fretcheck.diagnosis.observation import Observation
from tests.worlds.built import Built, Hand
from tests.worlds.fretting import Reals
from tests.worlds.kinds import World
from tests.worlds.sound import falling

SECONDS_A_PLUCK = 3.0
READING_CENTS = 0.1
WARMING_S = 40.0
TUNED_CENTS = 1.0
LIGHT, FIRM_MM = 0.3, (0.12, 0.30)
"""A light press goes this share of the usual depth, a firm one this much deeper than usual."""
PRESS_FRETS = (1, 5)


@dataclass(frozen=True, kw_only=True)
class Steadiness:
    """This player's scatter: (strings,) cents at the high frets."""

    hand_cents: Reals
    world: World

    def at(self, frets: int) -> Reals:
        """(strings, frets)."""
        return self.hand_cents[:, None] * (1.0 + (self.world.low_fret_growth - 1.0) * falling(frets))


class Listener:
    """One session. The same generator state gives the same session."""

    def __init__(self, rng: np.random.Generator, built: Built, hand: Hand, steadiness: Steadiness) -> None:
        self.rng, self.built, self.hand, self.steadiness = rng, built, hand, steadiness
        self.world = steadiness.world
        self.true = built.true_cents(hand)
        self.scatter = steadiness.at(built.neck.frets)
        self.overtone = built.inharmonicity()
        self.now = 0.0
        self.sharp: dict[int, float] = {}
        """By string: how much sharper the open note is plucked."""
        self.pitches: list[tuple[int, int, float, float]] = []
        """String, fret, cents against the nominal pitch, seconds, of every pluck so far: as heard, without a reference."""

    def _tails(self) -> float:
        nu = self.world.tails
        return float(self.rng.standard_t(nu) * np.sqrt((nu - 2.0) / nu))

    @cached_property
    def _bent(self) -> Reals:
        none = replace(self.hand, bend_rms_mm=np.zeros_like(self.hand.bend_rms_mm))
        return self.built.stopped(self.hand) - self.built.stopped(none)

    def _pluck(self, string: int, fret: int) -> float:
        s, k = string - 1, fret - 1
        bend = self.world.bend_mm * self.rng.standard_normal()
        aside = 0.0
        if self.world.bend_mm:  # the pluck's own bend against the mean one: both by the same geometry, to second order
            aside = self._bent[s, k] * (bend**2 / self.world.bend_mm**2 - 1.0)
        return float(self.true[s, k] + self.scatter[s, k] * self._tails() + aside)

    def string(self, string: int, frets: list[int], *, plucks: int, tuning: float) -> list[Observation]:
        """All plucks of one string."""
        order: list[int] = [0]
        for turn in range(plucks):
            order += (frets if turn % 2 == 0 else frets[::-1]) + [0]
        return against_open(self.play(string, order, tuning=tuning))

    def play(self, string: int, order: list[int], *, tuning: float) -> list[Observation]:
        """Plucks of one string one after another, as heard: in cents against the nominal pitch, without a reference."""
        world, rng = self.world, self.rng
        times = self.now + SECONDS_A_PLUCK * np.arange(len(order))
        self.now = float(times[-1]) + 2.0 * SECONDS_A_PLUCK
        since = times - times[0]
        tune = tuning + world.drift_cents_per_minute * rng.standard_normal() * since / 60.0
        tune -= world.warming_cents * abs(rng.standard_normal()) * (1.0 - np.exp(-since / WARMING_S))
        if world.slip_cents and rng.random() < 1.0 / 6.0:
            tune -= world.slip_cents * (np.arange(len(order)) > rng.integers(1, len(order)))
        if string not in self.sharp:
            self.sharp[string] = float(rng.uniform(*world.open_sharp_cents))
        heard = np.empty(len(order))
        for i, fret in enumerate(order):
            noise = READING_CENTS * rng.standard_normal()
            if fret == 0:
                heard[i] = tune[i] + self.sharp[string] + world.open_scatter_cents * rng.standard_normal() + noise
            else:
                heard[i] = tune[i] + self._pluck(string, fret) + noise
        self.pitches += [(string, fret, float(heard[i]), float(times[i])) for i, fret in enumerate(order)]
        return [self._observation(string, fret, float(heard[i]), float(times[i])) for i, fret in enumerate(order)]

    def _observation(self, string: int, fret: int, cents: float, at: float, press: str | None = None) -> Observation:
        true = float(self.overtone[string - 1, fret])
        u = 0.04 * true + 2e-6
        heard = max(true + u * self.rng.standard_normal(), 1e-7)
        return Observation(
            string=string,
            fret=fret,
            cents=cents,
            u_cents=READING_CENTS,
            start_s=at,
            press=press,  # type: ignore[arg-type]
            inharmonicity=heard,
            u_inharmonicity=u,
        )

    def session(
        self, *, plucks: int, notes: dict[int, list[int]] | None = None, spoiled: tuple[int, int, float] | None = None
    ) -> list[Observation]:
        """Every note `plucks` times, or those of `notes` (frets by string); `spoiled`: string, fret, cents added to a pluck."""
        result: list[Observation] = []
        for string in range(1, self.built.shape[0] + 1):
            asked = list(self.built.neck.frets_of(string)) if notes is None else sorted(notes.get(string, []))
            tuning = TUNED_CENTS * float(self.rng.standard_normal())
            if asked:
                result += self.string(string, asked, plucks=plucks, tuning=tuning)
        if spoiled is not None:
            result = _spoil(result, *spoiled)
        return result

    def press_test(self, string: int, *, plucks: int = 2) -> list[Observation]:
        """Frets 1 and 5 pressed lightly and firmly on one string, after its open note."""
        rng, first = self.rng, self.built.neck.string(string).first_fret
        firm = float(rng.uniform(*FIRM_MM))
        light_cents = self.built.true_cents(self.hand.pressed(-(1.0 - LIGHT) * self.hand.depth_mm))
        firm_cents = self.built.true_cents(self.hand.pressed(firm))
        reference = self.world.open_scatter_cents * rng.standard_normal() / np.sqrt(2.0) + np.mean(self.world.open_sharp_cents)
        result = []
        for fret in PRESS_FRETS:
            for press, cents in (("light", light_cents), ("firm", firm_cents)):
                for _ in range(plucks):
                    s, k = string - 1, first + fret - 1
                    heard = cents[s, k] + self.scatter[s, k] * self._tails() + READING_CENTS * rng.standard_normal() - reference
                    self.now += SECONDS_A_PLUCK
                    result.append(self._observation(string, first + fret, float(heard), self.now, press))
        return result


def against_open(heard: list[Observation]) -> list[Observation]:
    """Plucks of one string as heard, the fretted ones counted from the open note interpolated in time."""
    opens = [one for one in heard if one.fret == 0]
    times, cents = [one.start_s for one in opens], [one.cents for one in opens]
    return [replace(one, cents=one.cents - float(np.interp(one.start_s, times, cents))) if one.fret else one for one in heard]


def _spoil(heard: list[Observation], string: int, fret: int, cents: float) -> list[Observation]:
    for i, one in enumerate(heard):
        if (one.string, one.fret) == (string, fret):
            return [*heard[:i], replace(one, cents=one.cents + cents), *heard[i + 1 :]]
    return heard
