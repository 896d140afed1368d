"""One neck with everything a test may ask: the description as its user would write it, what is heard, the truth, and the work.

Conventions
-----------
`Case` is frozen; work gives another one. mm, cents.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fretcheck.diagnosis.observation import Observation
from fretcheck.neck.description import Measurement, Neck, Sides
from fretcheck.neck.heights import nut_height
from tests.worlds.built import Built, Hand, across
from tests.worlds.faults import FAULTS, Fault
from tests.worlds.fretting import Reals
from tests.worlds.instruments import INSTRUMENTS, Instrument
from tests.worlds.kinds import OWN, WORLDS, World
from tests.worlds.session import Listener, Steadiness
from tests.worlds.sound import best_saddles, sound_neck
from tests.worlds.strung import constants, uneven

U_CLEARANCE_MM = 0.05
"""Feeler gauge: half of it the same on all strings, for it is the same hand and light."""
FILED_MM, PLACED_MM = 0.03, 0.05
"""How well a bench keeps to a height, and to a place: standard deviations."""


@dataclass(frozen=True, kw_only=True)
class Case:
    """A neck of a world, its faults, its player, and the seed that all its chances come from."""

    built: Built
    hand: Hand
    steadiness: Steadiness
    world: World
    instrument: Instrument
    faults: tuple[Fault, ...]
    seed: tuple[int, ...]

    # --- the description -----------------------------------------------------------------------------------------------
    def neck(self, *, setbacks: bool = True, clearance: bool = False, heights: bool = False) -> Neck:
        """As the user writes it: with or without setbacks, every string's clearance, action and relief as measured."""
        rng, moves = np.random.default_rng([*self.seed, 77]), "slant" if self.world.straight_saddle else "per_string"
        neck = replace(self.built.neck, saddle_moves=moves)
        if not setbacks:
            neck = replace(neck, strings=tuple(replace(one, saddle_setback_mm=None) for one in neck.strings))
        rows: list[Measurement] = []
        if clearance:
            gaps = self.built.clearance_mm() + U_CLEARANCE_MM * np.sqrt(0.5) * rng.standard_normal()
            gaps = gaps + U_CLEARANCE_MM * np.sqrt(0.5) * rng.standard_normal(len(gaps))
            rows += [
                Measurement(what="first_fret_clearance", mm=round(float(gap), 3), u_mm=U_CLEARANCE_MM, string=s)
                for s, gap in enumerate(gaps, start=1)
            ]
        if heights:
            sides = self.built.clearance_mm(self.built.neck.octave_fret)[[0, -1]] + 0.1 * rng.standard_normal(2)
            relief = max(self.built.relief_mm + 0.05 * rng.standard_normal(), 0.0)
            neck = replace(neck, action_12_mm=Sides(treble=float(sides[0]), bass=float(sides[1])), relief_mm=float(relief))
        return replace(neck, measured=(*neck.measured, *rows))

    # --- what is heard -------------------------------------------------------------------------------------------------
    def listener(self, session: int = 0) -> Listener:
        """A session on this neck, always the same one for the same number."""
        return Listener(np.random.default_rng([*self.seed, 1000 + session]), self.built, self.hand, self.steadiness)

    def observations(self, *, plucks: int = 2, press_test: bool = False, session: int = 0, **asked: Any) -> list[Observation]:
        """All plucks of a session; `press_test` adds one on the string that shows it most; `asked` as `Listener.session`."""
        listener = self.listener(session)
        heard = listener.session(plucks=plucks, **asked)
        if press_test:
            plain = [
                s for s, one in enumerate(self.built.neck.strings, start=1) if one.construction == "plain" and not one.first_fret
            ]
            heard += listener.press_test(plain[-1] if plain else 1)
        return heard

    # --- the truth -----------------------------------------------------------------------------------------------------
    def true_cents(self) -> Reals:
        """(strings, frets): what each note reads under this player's hand, chance apart; NaN where there is none."""
        return self.built.true_cents(self.hand)

    def hand_free_cents(self) -> Reals:
        """The same, stopped without a hand."""
        return self.built.true_cents(self.hand.lightest())

    def worst(self) -> float:
        """Largest true deviation, unsigned."""
        return float(np.nanmax(np.abs(self.true_cents())))

    def saddle_error_mm(self, *, setbacks: bool = True) -> Reals:
        """How far each saddle sits from where it belongs: from the description or, without one, from where it reads best."""
        if setbacks:
            return self.built.saddle_mm - np.array([one.saddle_setback_mm for one in self.built.neck.strings])
        built = self.built
        none, flat = np.zeros_like(built.nut_mm), np.zeros(built.shape)
        ideal = replace(
            built,
            fret_mm=np.zeros(built.shape[1]),
            tilt_mm=np.zeros(built.shape[1]),
            wear_mm=flat,
            crown_mm=flat,
            crown_height_mm=flat,
            scale_mm=0.0,
            nut_mm=none,
            nut_z=none + self.instrument.nut_height_mm,
            rule_of_18=False,
        )
        return built.saddle_mm - best_saddles(ideal, self.hand)

    def true_mm(self, cause: str, fret: int | None, string: int | None, *, setbacks: bool = True) -> float | None:
        """True value of a cause, in its unit; None where there is no such number.

        A tilt at string 1; of a string's nut slot its own part; of wear the largest shift. The slant is the slope of the line
        through the saddles as they stand, at string 1; `saddle_straight` the offset of the string furthest off.
        """
        built, y = self.built, across(self.built.neck)
        nut_up = built.nut_z - [nut_height(built.neck, s).mm for s in range(1, built.shape[0] + 1)]
        if cause == "fret_wear":
            return float(built.wear_mm.ravel()[np.argmax(np.abs(built.wear_mm))])
        if cause in ("fret_position", "fret_tilt") and fret is not None:
            k = fret - 1
            crown = built.crown_mm[:, k]
            if cause == "fret_position":
                return float(built.fret_mm[k] + crown.mean())
            return float(built.tilt_mm[k] + (crown @ y) / (y @ y))
        if cause == "nut_position":
            return float(built.nut_mm.mean() if string is None else built.nut_mm[string - 1] - built.nut_mm.mean())
        if cause == "nut_height":
            return float(nut_up.mean() if string is None else nut_up[string - 1] - nut_up.mean())
        if cause in ("saddle_position", "saddle_slant", "saddle_straight"):
            off = self.saddle_error_mm(setbacks=setbacks)
            if cause == "saddle_position":
                return float(off.mean() if string is None else off[string - 1])
            return float(off @ y / (y @ y)) if cause == "saddle_slant" else float(off[np.argmax(np.abs(off))]) * built.straight
        if cause == "scale_length":
            return built.scale_mm
        if cause == "string" and string is not None:
            cents = built.unevenness(string)
            return float(cents[fret - 1] if fret else cents[np.nanargmax(np.abs(cents))])
        if cause == "finger_pressure":
            return float(np.nanmean(self.true_cents() - built.true_cents(self.hand.pressed(-self.hand.depth_mm))))
        return None

    # --- the work ------------------------------------------------------------------------------------------------------
    def carry_out(self, moves: Iterable[Any], *, least_clearance_mm: float | Reals = 0.0, work: int = 0) -> Case:
        """The neck after these moves (anything with part, string, fret, end, move_mm, to_clearance_mm), done as a bench does."""
        rng = np.random.default_rng([*self.seed, 500 + work])
        built = self.built
        for move in moves:
            built = _moved(built, move, rng, np.broadcast_to(least_clearance_mm, built.shape[:1]))
        return replace(self, built=built)


def _moved(built: Built, move: Any, rng: np.random.Generator, least: Reals) -> Built:
    by = float(move.move_mm or 0.0)
    string, number, end = move.string, getattr(move, "fret", None), getattr(move, "end", None)
    strings = built.shape[0]
    chosen = np.ones(strings, dtype=bool) if string is None else np.arange(1, strings + 1) == string
    y = across(built.neck)
    along = np.ones(strings) if end is None else (1.0 + y) / 2.0 if end == "treble" else (1.0 - y) / 2.0
    if move.part == "string":
        return _restrung(built, rng, chosen)
    if move.part == "nut_height":
        return _filed(built, move, rng, chosen, least)
    if move.part == "saddle":
        off = PLACED_MM * (rng.standard_normal(strings) if string is not None else rng.standard_normal())
        return replace(built, saddle_mm=built.saddle_mm + chosen * (along * by + off))
    if move.part == "nut":
        full = np.array([one.first_fret == 0 for one in built.neck.strings])
        return replace(built, nut_mm=built.nut_mm + chosen * full * (along * by + PLACED_MM * rng.standard_normal()))
    if move.part == "fret" and number is not None:
        k = number - 1
        places, tilts, worn, crowns = built.fret_mm.copy(), built.tilt_mm.copy(), built.wear_mm.copy(), built.crown_mm.copy()
        lean = {None: 0.0, "treble": 0.5, "bass": -0.5}[end]
        places[k] += by * (1.0 if end is None else 0.5) + PLACED_MM * rng.standard_normal()
        tilts[k] += by * lean
        worn[:, k], crowns[:, k] = 0.0, 0.5 * crowns[:, k]  # it is crowned anew
        return replace(built, fret_mm=places, tilt_mm=tilts, wear_mm=worn, crown_mm=crowns)
    raise ValueError(f"no such work: {move}")


def _filed(built: Built, move: Any, rng: np.random.Generator, chosen: Reals, least: Reals) -> Built:
    """Slots moved by an amount at the nut or, without one, filed to a clearance over fret 1.

    The gauge that told the clearance is used for filing too, so an amount given beside a clearance is what counts. Filing never
    goes below `least`, nor up.
    """
    gaps, target = built.clearance_mm(), getattr(move, "to_clearance_mm", None)
    end = built.ends
    lever = 1.0 - ((end.crown_x[:, 0] - end.nut_x[:, 0]) / (end.saddle_x - end.nut_x)[:, 0]).clip(0.0, 0.5)
    by = np.full_like(gaps, move.move_mm) if move.move_mm is not None else np.minimum(target - gaps, 0.0) / lever
    lowest = np.minimum((least - gaps) / lever, 0.0)
    by = np.where(by < 0.0, np.maximum(np.minimum(by + FILED_MM * rng.standard_normal(len(gaps)), 0.0), lowest), by)
    return replace(built, nut_z=built.nut_z + chosen * by)


def _restrung(built: Built, rng: np.random.Generator, chosen: Reals) -> Built:
    """A new string of the same kind."""
    matter, neck = built.matter, built.neck
    kappa, beta0, extra = matter.kappa.copy(), matter.beta0.copy(), matter.extra.copy()
    for s in np.flatnonzero(chosen):
        string = neck.strings[s]
        factors = np.exp(np.array([OWN.core_rel, OWN.gauge_rel, OWN.modulus_rel]) * rng.standard_normal(3))
        core, gauge, modulus = (float(x) for x in factors)
        kappa[s], beta0[s], _ = constants(string, reference_hz=neck.reference_hz, core=core, gauge=gauge, modulus=modulus)
        extra[s] = uneven(rng, string, OWN.string_cents * float(rng.standard_normal()), frets=neck.frets)
    return replace(built, matter=replace(matter, kappa=kappa, beta0=beta0, extra=extra))


def draw(
    world: str | World,
    faults: Iterable[str] = (),
    *,
    seed: tuple[int, ...],
    instrument: str = "steel",
    hand_cents: float | None = None,
) -> Case:
    """A neck of `world` with `faults` (names of `FAULTS`) put in; everything by chance comes from `seed`.

    `hand_cents` fixes every string's scatter; without it each string has its own from the world's range. The sound neck under the
    fault is the same for the same seed, whatever the fault.
    """
    spec = WORLDS[world] if isinstance(world, str) else world
    built, hand = sound_neck(np.random.default_rng([*seed, 1]), INSTRUMENTS[instrument], spec)
    chance = np.random.default_rng([*seed, 2])
    done: list[Fault] = []
    for name in faults:
        for _ in range(20):  # two faults are of two parts
            trial, fault = FAULTS[name](chance, built)
            if all((one.cause, one.fret, one.string) != (fault.cause, fault.fret, fault.string) for one in done):
                break
        built, done = trial, [*done, fault]
    scatter = np.random.default_rng([*seed, 3]).uniform(*spec.hand_cents, built.shape[0])
    scatter = scatter if hand_cents is None else np.full(built.shape[0], hand_cents)
    steadiness = Steadiness(hand_cents=scatter, world=spec)
    return Case(
        built=built,
        hand=hand,
        steadiness=steadiness,
        world=spec,
        instrument=INSTRUMENTS[instrument],
        faults=tuple(done),
        seed=tuple(seed),
    )
