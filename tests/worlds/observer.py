"""The ideal observer: it knows a world's spreads and a fault's size, and nothing of the neck before it.

Conventions
-----------
Data are the means of each note's readings, string after string; of a high nut also the mean measured clearance. Covariance is
taken from drawn sound necks, so heavy tails and signs by chance count as Gaussian: an observer that knew them would do a little
better. Faults shift the mean as they do on one still neck.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tests.worlds.built import Built, across
from tests.worlds.case import Case, draw
from tests.worlds.fretting import Reals

DRAWS, TESTED = 900, 120
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


def heard(case: Case) -> Reals:
    """Mean of each note's readings, and the mean clearance."""
    strings, frets = case.built.shape
    total, count = np.zeros((strings, frets)), np.zeros((strings, frets))
    for one in case.observations():
        if one.fret:
            total[one.string - 1, one.fret - 1] += one.cents
            count[one.string - 1, one.fret - 1] += 1
    gaps = [one.mm for one in case.neck(clearance=True).measured if one.what == "first_fret_clearance"]
    return np.append((total / count).ravel(), np.mean(gaps))


def _seen(built: Built, case: Case) -> Reals:
    return np.append(built.stopped(case.hand).ravel(), built.clearance_mm().mean())


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
    sound = np.array([heard(draw(world, seed=(base + 1, n))) for n in range(DRAWS)])
    fresh = np.array([heard(draw(world, seed=(base, n))) for n in range(max(necks, TESTED))])
    all_of_them = suspects(draw(world, seed=(base + 1, 0)))
    for clearance, faults in ((False, ASKED[:-1]), (True, ASKED[-1:])):
        seen = slice(None) if clearance else slice(-1)
        mean, covariance = sound.mean(axis=0)[seen], np.cov(sound[:, seen].T)
        precision = np.linalg.inv(covariance + 1e-6 * np.eye(len(mean)))
        them = [replace(one, shift=one.shift[seen]) for one in all_of_them]
        threshold = float(np.quantile([_named(one[seen], mean, precision, them)[1] for one in fresh], 1.0 - share))
        for fault in faults:
            right = 0
            for n in range(necks):
                case = draw(world, [fault], seed=(base, n))
                named, ratio = _named(heard(case)[seen], mean, precision, them)
                true = case.faults[0]
                same = (named.cause, named.fret, named.string) == (true.cause, true.fret, true.string)
                right += ratio > threshold and same and named.size * (true.size or 1.0) > 0
            rows.append(DetectionRow(world=world, fault=fault, sound_named=share, right=right / necks))
    return rows
