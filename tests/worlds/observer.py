"""The ideal observer: it knows a world's spreads, the hand's scatter on each string and a fault's size, and nothing of the neck.

Conventions
-----------
Data are the means of each note's readings, string after string; of a high nut also the mean measured clearance. The covariance of
true notes is taken from drawn sound necks, that of hand, reading and open plucks added. All is taken as Gaussian, so an observer
that knew the heavy tails and the signs by chance would do a little better. Faults shift the mean as they do on one still neck.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from tests.worlds.built import Built, across
from tests.worlds.case import U_CLEARANCE_MM, Case, draw
from tests.worlds.fretting import Reals
from tests.worlds.kinds import WORLDS
from tests.worlds.session import READING_CENTS

DRAWS, TESTED = 900, 120
PRIOR_SEED = 99
OPEN_SHARE = {1: 0.5, 2: 0.375}
"""Variance of a string's mean reference over that of an open pluck: two, or three (1/16 + 1/4 + 1/16), all notes between them."""
SOUND_NAMED = {"own": 0.05, "mild": 0.10, "hard": 0.20}
ELSEWHERE_NAMED = 0.08
ASKED = ("fret.40", "fret.25", "tilt.35", "saddle2.5", "nutheight.4")


@dataclass(frozen=True, kw_only=True)
class Suspect:
    """One fault of known size."""

    cause: str
    fret: int | None
    string: int | None
    size: float
    shift: Reals


@dataclass(frozen=True, kw_only=True)
class DetectionRow:
    """How often the fault is named rightly when `sound_named` of sound necks are called faulty."""

    world: str
    fault: str
    sound_named: float
    right: float


def notes_heard(case: Case, plucks: int = 2) -> Reals:
    """Mean of each note's readings, string after string."""
    strings, frets = case.built.shape
    total, count = np.zeros((strings, frets)), np.zeros((strings, frets))
    for one in case.observations(plucks=plucks):
        if one.fret:
            total[one.string - 1, one.fret - 1] += one.cents
            count[one.string - 1, one.fret - 1] += 1
    return np.asarray((total / count).ravel())


def heard(case: Case) -> Reals:
    """Mean of each note's readings, and the mean clearance."""
    gaps = [one.mm for one in case.neck(clearance=True).measured if one.what == "first_fret_clearance"]
    return np.append(notes_heard(case), np.mean(gaps))


def _seen(built: Built, case: Case) -> Reals:
    return np.append(built.stopped(case.hand).ravel(), built.clearance_mm().mean())


def _truth(case: Case) -> Reals:
    return np.append(case.true_cents().ravel(), case.built.clearance_mm().mean())


def noise(case: Case, plucks: int = 2) -> Reals:
    """Covariance of `heard` about the truth; one open pluck more than rounds, interpolated, for each string's reference."""
    strings, frets = case.built.shape
    world = case.world
    single = (case.steadiness.at(frets) ** 2 + READING_CENTS**2).ravel() / plucks
    sharp = (world.open_sharp_cents[1] - world.open_sharp_cents[0]) ** 2 / 12.0
    reference = OPEN_SHARE[plucks] * (world.open_scatter_cents**2 + READING_CENTS**2) + sharp
    covariance = np.diag(np.append(single, 0.0)) + U_CLEARANCE_MM**2 * np.diag(np.append(0.0 * single, 0.5 + 0.5 / strings))
    covariance[:-1, :-1] += np.kron(np.eye(strings), np.full((frets, frets), reference))
    return covariance


@cache
def _sound_notes(world: str, instrument: str) -> tuple[Reals, Reals]:
    truths = np.array([draw(world, seed=(PRIOR_SEED, n), instrument=instrument).true_cents().ravel() for n in range(DRAWS)])
    return truths.mean(axis=0), np.cov(truths.T)


def sound_draws(case: Case, world: str, *, plucks: int, draws: int = 2000) -> Reals:
    """Draws of all notes of a sound neck from the posterior of one who knows the world's spreads: (draws, notes)."""
    mean, spread = _sound_notes(world, case.instrument.name)
    gain = np.linalg.solve(spread + noise(case, plucks)[:-1, :-1], spread).T
    middle = mean + gain @ (notes_heard(case, plucks) + np.mean(case.world.open_sharp_cents) - mean)
    chance = np.random.default_rng(case.seed)
    return chance.multivariate_normal(middle, spread - gain @ spread, size=draws, method="eigh", check_valid="ignore")


def suspects(case: Case) -> list[Suspect]:
    """All single faults of the benchmark, on this neck."""
    built, frets, strings = case.built, case.built.shape[1], case.built.shape[0]
    base = _seen(built, case)
    found: list[Suspect] = []

    def add(cause: str, size: float, changed: Built, fret: int | None = None, string: int | None = None) -> None:
        shift = _seen(changed, case) - base
        found.append(Suspect(cause=cause, fret=fret, string=string, size=size, shift=shift))

    for k in range(1, frets + 1):
        unit = (np.arange(1, frets + 1) == k).astype(float)
        for size in (-0.40, -0.25, 0.25, 0.40):
            add("fret_position", size, replace(built, fret_mm=built.fret_mm + size * unit), fret=k)
        for size in (-0.35, 0.35):
            add("fret_tilt", size, replace(built, tilt_mm=built.tilt_mm + size * unit), fret=k)
    for s in range(1, strings + 1):
        unit = (np.arange(1, strings + 1) == s).astype(float)
        for size in (-2.5, 2.5):
            add("saddle_position", size, replace(built, saddle_mm=built.saddle_mm + size * unit), string=s)
    add("nut_height", 0.4, replace(built, nut_z=built.nut_z + 0.4))
    for size in (-0.9, 0.9):
        add("nut_position", size, replace(built, nut_mm=built.nut_mm + size * np.abs(np.sign(across(built.neck) + 2.0))))
    return found


def _named(data: Reals, mean: Reals, precision: Reals, them: Sequence[Suspect]) -> tuple[Suspect, float]:
    shifts = np.array([one.shift for one in them])
    weighed = shifts @ precision
    ratio = weighed @ (data - mean) - 0.5 * np.sum(weighed * shifts, axis=1)
    best = int(np.argmax(ratio))
    return them[best], float(ratio[best])


def observe(job: tuple[str, int, int]) -> list[DetectionRow]:
    """All faults of one world: name, first seed, necks tested a fault."""
    world, base, necks = job
    share, rows = SOUND_NAMED.get(world, ELSEWHERE_NAMED), []
    truths = np.array([_truth(draw(world, seed=(base + 1, n))) for n in range(DRAWS)])
    mean, spread = truths.mean(axis=0), np.cov(truths.T)
    mean[:-1] -= np.mean(WORLDS[world].open_sharp_cents)
    all_of_them = suspects(draw(world, seed=(base + 1, 0)))

    def named(case: Case, seen: slice) -> tuple[Suspect, float]:
        precision = np.linalg.inv((spread + noise(case))[seen, seen])
        them = [replace(one, shift=one.shift[seen]) for one in all_of_them]
        return _named(heard(case)[seen], mean[seen], precision, them)

    for seen, faults in ((slice(-1), ASKED[:-1]), (slice(None), ASKED[-1:])):
        fresh = [named(draw(world, seed=(base, n)), seen)[1] for n in range(max(necks, TESTED))]
        threshold = float(np.quantile(fresh, 1.0 - share))
        for fault in faults:
            right = 0
            for n in range(necks):
                case = draw(world, [fault], seed=(base, n))
                found, ratio = named(case, seen)
                true = case.faults[0]
                same = (found.cause, found.fret, found.string) == (true.cause, true.fret, true.string)
                right += ratio > threshold and same and found.size * (true.size or 1.0) > 0
            rows.append(DetectionRow(world=world, fault=fault, sound_named=share, right=right / necks))
    return rows
