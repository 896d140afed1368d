"""A false string: its mass is spread unevenly, so that its notes are out although every fret is right.

By Rayleigh's principle a small relative excess of mass δ(x) lowers partial 1 of the stretch from a to b by the fraction
½·∫δ(x)·2·sin²(π(x−a)/(b−a))dx/(b−a) (Lord Rayleigh, The Theory of Sound, vol. 1, § 140, from memory).

Conventions
-----------
A profile is the relative excess of mass at evenly spaced points from nut (0) to saddle (1), linear in between; stops are
fractions of the same way.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import log

import numpy as np

from tests.synth.string_matter import Reals

_CENTS_PER_RELATIVE = 1200.0 / log(2.0)
_STEPS = 400
_WAVES = 3
_POINTS = 41


def shift_cents(profile: Sequence[float] | Reals, stops: Reals) -> Reals:
    """Shift in cents of the string stopped at each of `stops` and sounding from there to the saddle.

    >>> shift_cents((0.01, 0.01), np.array([0.0, 0.5])).round(2)  # evenly heavy: equally flat everywhere
    array([-8.66, -8.66])
    """
    inside = (np.arange(_STEPS) + 0.5) / _STEPS
    weight = 2.0 * np.sin(np.pi * inside) ** 2 / _STEPS
    points = stops[:, None] + (1.0 - stops[:, None]) * inside
    excess = np.interp(points, np.linspace(0.0, 1.0, len(profile)), profile)
    return np.asarray(-0.5 * _CENTS_PER_RELATIVE * (excess @ weight))


def random_profile(peak_cents: float, rng: np.random.Generator, *, frets: int) -> tuple[float, ...]:
    """A smooth random profile that puts the worst of the notes at frets 1 to `frets` out by `peak_cents`, sharp or flat.

    The notes are taken against the open string, which is in tune. Drawn again until at least a third of the peak remains
    after the best that moving nut and saddle could do, a + b(γ − 1) over the frets: a string that they would cure is not
    told from their being out of place by any ear.
    """
    gamma = 2.0 ** (np.arange(1, frets + 1) / 12.0)
    nut_and_saddle = np.column_stack([np.ones(frets), gamma - 1.0])
    x = np.linspace(0.0, 1.0, _POINTS)
    while True:
        weights, phases = rng.standard_normal(_WAVES), rng.uniform(0.0, 2.0 * np.pi, _WAVES)
        profile = weights @ np.cos(np.pi * np.arange(1, _WAVES + 1)[:, None] * x + phases[:, None])
        shifts = shift_cents(profile, 1.0 - 1.0 / np.concatenate(([1.0], gamma)))
        heard = shifts[1:] - shifts[0]
        remains = heard - nut_and_saddle @ np.linalg.lstsq(nut_and_saddle, heard, rcond=None)[0]
        peak = np.max(np.abs(heard))
        if np.max(np.abs(remains)) >= peak / 3.0:
            return tuple(float(value) for value in peak_cents / peak * profile)
