"""What a stopped string plays, exactly: geometry, stretch and stiffness.

M. B. Anderson & R. G. Beausoleil, "Classical guitar intonation and compensation: The well-tempered guitar", J. Acoust. Soc. Am.
156(1), 683 (2024), called [AB]; their equations, with the finger's extra depth, a sideways bend and crowns that do not lie in one
plane added by plain geometry.

Conventions
-----------
mm. x from the nut line toward the bridge, z up from the plane through the crowns. Arrays broadcast: strings down, frets across.
Cents are against the open string, which is in tune, and against equal temperament.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Reals = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Ends:
    """Where the string is held: each a scalar or an array of shape (strings, 1) or (strings, frets)."""

    nut_x: Reals
    nut_z: Reals
    crown_x: Reals
    crown_z: Reals
    saddle_x: Reals
    saddle_z: Reals


@dataclass(frozen=True, kw_only=True)
class Touch:
    """How it is stopped. `behind` of the fret lies the finger, `depth` below the line from saddle over crown, `bend` aside."""

    behind: Reals
    depth: Reals
    bend: Reals


@dataclass(frozen=True, kw_only=True)
class Matter:
    """κ = EA/T0; β0 = √(EI/(T0 L0²)); `clamp` is 1 for a string clamped at the fret ([AB]'s case), 0 for one hinged there."""

    kappa: Reals
    beta0: Reals
    clamp: float = 1.0


def stiffness_factor(beta: Reals, clamp: float = 0.0) -> Reals:
    """F(β): 1 + β + (1 + π²/2)β² pinned–clamped [AB]; without the clamp √(1 + π²β²), to second order."""
    return 1.0 + clamp * beta + (clamp**2 + np.pi**2 / 2.0) * beta**2


def open_length(ends: Ends) -> Reals:
    """L0, nut to saddle."""
    return np.hypot(ends.saddle_x - ends.nut_x, ends.saddle_z - ends.nut_z)


def stretch(ends: Ends, touch: Touch) -> tuple[Reals, Reals]:
    """(Qk, Lk): relative stretch by stopping, and the speaking length."""
    behind = np.maximum(touch.behind, 1e-9)
    run = ends.saddle_x - ends.crown_x
    slope = (ends.saddle_z - ends.crown_z) / run
    speaking = np.sqrt(run**2 + (ends.saddle_z - ends.crown_z) ** 2 + touch.bend**2)
    finger_z = ends.crown_z - slope * behind - touch.depth
    to_finger = np.hypot(behind, slope * behind + touch.depth)
    to_nut = np.sqrt((ends.crown_x - behind - ends.nut_x) ** 2 + (ends.nut_z - finger_z) ** 2 + touch.bend**2)
    whole = open_length(ends)
    return (speaking + to_finger + to_nut - whole) / whole, speaking


def stopped_cents(ends: Ends, touch: Touch, matter: Matter, *, semitones: Reals) -> Reals:
    """Deviation from `semitones` above the open string: [AB]'s length, mass, tension and stiffness terms.

    Both ends of the open string at the nut are taken as its stops are: clamped as much as at a fret (pinned at the saddle).
    """
    whole = open_length(ends)
    q, speaking = stretch(ends, touch)
    tension = 1.0 + matter.kappa * q
    beta = matter.beta0 * whole / speaking / np.sqrt(tension)
    ratio = (
        np.log2(whole / speaking)
        + 0.5 * np.log2(1.0 + q)
        + 0.5 * np.log2(tension)
        + np.log2(stiffness_factor(beta, matter.clamp) / stiffness_factor(matter.beta0, matter.clamp))
    )
    return 1200.0 * ratio - 100.0 * semitones


def uneven_mass_cents(extra: Reals, grid: Reals, stop: Reals, end: float) -> Reals:
    """Pitch change of one string's fundamental by mass unevenly laid along it, to first order (Rayleigh).

    Parameters
    ----------
    extra : (points,) relative excess of mass per length on `grid` (mm from the nut line).
    stop : (notes,) where each note's string begins; it ends at `end`.
    """
    u = np.linspace(0.0, 1.0, 65)
    mode = np.sin(np.pi * u) ** 2
    at = stop[:, None] + u * (end - stop)[:, None]
    weighted = np.interp(at, grid, extra) * mode
    mean = np.trapezoid(weighted, u, axis=1) / np.trapezoid(mode, u)
    return -600.0 / np.log(2.0) * mean  # δf/f = −½ of the mean of δμ/μ under sin²
