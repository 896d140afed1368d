"""Faults put into a sound neck, and what each is called.

Conventions
-----------
mm, cents; signs as on the neck's axis: positive toward the bridge, a nut too high is positive.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from tests.worlds.built import Built, across
from tests.worlds.sound import LOWERED, wear
from tests.worlds.strung import uneven


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One fault: the cause's name, where, and how much (signed; None where it is not one number)."""

    cause: str
    fret: int | None = None
    string: int | None = None
    size: float | None = None


Injected = tuple[Built, Fault]


def _sign(rng: np.random.Generator) -> float:
    return float(rng.choice([-1.0, 1.0]))


def _some_fret(rng: np.random.Generator, built: Built) -> int:
    """Not the last two: nobody plays there first, and a fault there moves one or two notes by half."""
    return int(rng.integers(2, built.neck.frets - 2))


def fret(size: float) -> Callable[[np.random.Generator, Built], Injected]:
    """A fret `size` away from where the careful workshop would have put it."""

    def put(rng: np.random.Generator, built: Built) -> Injected:
        number, out = _some_fret(rng, built), size * _sign(rng)
        places = built.fret_mm.copy()
        places[number - 1] = out
        return replace(built, fret_mm=places), Fault(cause="fret_position", fret=number, size=out)

    return put


def tilt(size: float) -> Callable[[np.random.Generator, Built], Injected]:
    """A fret `size` out at string 1 and as much the other way at the last."""

    def put(rng: np.random.Generator, built: Built) -> Injected:
        number, out = _some_fret(rng, built), size * _sign(rng)
        tilts = built.tilt_mm.copy()
        tilts[number - 1] = out
        return replace(built, tilt_mm=tilts), Fault(cause="fret_tilt", fret=number, size=out)

    return put


def saddle(size: float) -> Callable[[np.random.Generator, Built], Injected]:
    """One string's saddle `size` from where it was set."""

    def put(rng: np.random.Generator, built: Built) -> Injected:
        string, out = int(rng.integers(1, built.shape[0] + 1)), size * _sign(rng)
        places = built.saddle_mm.copy()
        places[string - 1] += out
        return replace(built, saddle_mm=places), Fault(cause="saddle_position", string=string, size=out)

    return put


def slant(size: float) -> Callable[[np.random.Generator, Built], Injected]:
    """The whole saddle turned: `size` out at string 1, as much the other way at the last."""

    def put(rng: np.random.Generator, built: Built) -> Injected:
        out = size * _sign(rng)
        turned = built.saddle_mm + out * across(built.neck)
        return replace(built, saddle_mm=turned), Fault(cause="saddle_slant", size=out)

    return put


def nut_height(size: float) -> Callable[[np.random.Generator, Built], Injected]:
    """All slots too high."""
    return lambda rng, built: (replace(built, nut_z=built.nut_z + size), Fault(cause="nut_height", size=size))


def nut_place(size: float) -> Callable[[np.random.Generator, Built], Injected]:
    """The nut as a whole."""

    def put(rng: np.random.Generator, built: Built) -> Injected:
        out = size * _sign(rng)
        moved = built.nut_mm + out * np.array([one.first_fret == 0 for one in built.neck.strings])
        return replace(built, nut_mm=moved), Fault(cause="nut_position", size=out)

    return put


def false_string(worst_cents: float) -> Callable[[np.random.Generator, Built], Injected]:
    """One string whose mass is so uneven that its worst note is off by this much."""

    def put(rng: np.random.Generator, built: Built) -> Injected:
        number = int(rng.integers(1, built.shape[0] + 1))
        string = built.neck.string(number)
        extras = built.matter.extra.copy()
        extras[number - 1] = uneven(rng, string, worst_cents * _sign(rng), frets=built.neck.frets)
        return replace(built, matter=replace(built.matter, extra=extras)), Fault(cause="string", string=number)

    return put


def rule_of_18(rng: np.random.Generator, built: Built) -> Injected:
    """Each step 17/18 of the rest."""
    return replace(built, rule_of_18=True), Fault(cause="layout_rule")


def worn(low: float, high: float) -> Callable[[np.random.Generator, Built], Injected]:
    """Crowns worn at frets 1 to 5 under the plain strings."""

    def put(rng: np.random.Generator, built: Built) -> Injected:
        shift = wear(rng, built, float(rng.uniform(low, high)))
        heights = built.crown_height_mm - LOWERED * np.abs(shift)
        return replace(built, wear_mm=shift, crown_height_mm=heights), Fault(cause="fret_wear")

    return put


FAULTS: dict[str, Callable[[np.random.Generator, Built], Injected]] = {
    "fret.40": fret(0.40),
    "fret.25": fret(0.25),
    "tilt.35": tilt(0.35),
    "saddle2.5": saddle(2.5),
    "slant1.2": slant(1.2),
    "nutheight.4": nut_height(0.4),
    "nutplace.9": nut_place(0.9),
    "string6": false_string(6.0),
    "rule18": rule_of_18,
    "wear": worn(0.3, 0.6),
}
