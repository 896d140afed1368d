"""How sharp a stopped string sounds: exact geometry of one string at one fret.

M. B. Anderson & R. G. Beausoleil, "Classical guitar intonation and compensation: The well-tempered guitar",
J. Acoust. Soc. Am. 156(1), 683 (2024), here [AB]. A string pressed down gets longer, hence tighter, hence sharper; its
stiffness weighs more the shorter it is; and a nut, fret or saddle off its place changes the lengths.

Conventions: mm, cents; positive is sharp. Displacements on the neck's axis: nut, fret and saddle positive toward the bridge
([AB] count the nut's setback the other way: ΔN = −nut). All arguments are arrays of one broadcast shape. Every operation is
analytic, so a complex argument passes through: `partials` takes the derivatives by a complex step, exact to rounding (J. N.
Lyness & C. B. Moler, SIAM J. Numer. Anal. 4, 202, 1967).
"""

import math
from dataclasses import dataclass, fields, replace

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.units import CENTS_PER_NEPER

_STEP = 1e-40


@dataclass(frozen=True, kw_only=True)
class Stop:
    """A string stopped at a fret. Arrays of one broadcast shape, in mm where nothing else is said."""

    scale: Reals  # X0: from the design nut line to the scale length's end, along this string
    ratio: Reals  # γ = 2^(k/12), k semitones above the open string
    fret: Reals
    nut: Reals
    saddle: Reals  # Designed setback and displacement together: ΔS
    nut_height: Reals  # b: string at the nut above the plane of the frets
    saddle_height: Reals  # Saddle above the plane of the frets: b + c
    finger: Reals  # d: the finger's distance behind the fret
    relief: Reals  # How far the hollow of the neck lowers this fret's crown below the line from the nut to the last fret
    log_kappa: Reals  # ln κ, κ = EA/T0 of what carries the tension
    log_beta: Reals  # ln β0, β0 = √(EI/(T0·L0²)) of the open string
    end: Reals  # How stiffly the ends hold: 0 pinned–pinned, 1 pinned–clamped, 2 clamped–clamped
    depth: Reals  # How far the finger presses the string below the straight line from the saddle over the fret
    cents: Reals  # Whatever else sharpens the note


LOCALS = tuple(field.name for field in fields(Stop) if field.name not in ("scale", "ratio"))  # The quantities a fault can change


def lengths(stop: Stop) -> tuple[Reals, Reals, Reals]:
    """Of the open string and of the part that speaks, and Q, by what share stopping makes the whole string longer.

    [AB], with the finger's depth added.
    """
    b, d = stop.nut_height + stop.relief, stop.finger
    on_axis = stop.scale / stop.ratio - stop.fret + stop.saddle
    whole = stop.scale + stop.saddle - stop.nut
    saddle_height = stop.saddle_height + stop.relief
    open_length = np.sqrt(whole**2 + (stop.saddle_height - stop.nut_height) ** 2)
    speaking = np.sqrt(on_axis**2 + saddle_height**2)
    fall = saddle_height * d / on_axis + stop.depth
    behind = np.sqrt(d**2 + fall**2) + np.sqrt((whole - on_axis - d) ** 2 + (b + fall) ** 2)
    return open_length, speaking, (speaking + behind - open_length) / open_length


def stiffness_factor(beta: Reals, end: Reals) -> Reals:
    """F(β): how much stiffness raises the fundamental, to second order.

    1 + eβ + (e² + π²/2)β²: e = 0 gives √(1 + π²β²), 1 and 2 the pinned–clamped and the clamped–clamped string of [AB].
    """
    return np.asarray(1.0 + end * beta + (end**2 + 0.5 * math.pi**2) * beta**2)


def sharpness_cents(stop: Stop) -> Reals:
    """Deviation of the stopped note from equal temperament above its own open note ([AB], four terms), in cents."""
    open_length, speaking, q = lengths(stop)
    tension = 1.0 + np.exp(stop.log_kappa) * q
    beta0 = np.exp(stop.log_beta)
    beta = beta0 * (open_length / speaking) / np.sqrt(tension)
    stiffer = stiffness_factor(beta, stop.end) / stiffness_factor(beta0, stop.end)
    nepers = np.log(open_length / (stop.ratio * speaking) * stiffer) + 0.5 * np.log((1.0 + q) * tension)
    return np.asarray(CENTS_PER_NEPER * nepers + stop.cents)


def partials(stop: Stop) -> dict[str, Reals]:
    """Derivative of `sharpness_cents` by each of `LOCALS`, same shape as the arguments."""
    shape = np.broadcast_shapes(*(np.shape(getattr(stop, field.name)) for field in fields(stop)))
    nudges = 1j * _STEP * np.eye(len(LOCALS)).reshape(len(LOCALS), len(LOCALS), *(1 for _ in shape))
    nudged = replace(stop, **{name: getattr(stop, name) + nudge for name, nudge in zip(LOCALS, nudges, strict=True)})
    return dict(zip(LOCALS, np.imag(sharpness_cents(nudged)) / _STEP, strict=True))
