"""Pitch of the whole string over time, from the turn of its partials between neighbouring frames.

Conventions
-----------
Log frequency against the partials' fitted ones; times in seconds after the onset.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fretcheck.pitch.glide import CENTS, Glide
from fretcheck.pitch.partial_fit import PartialFit

Array = NDArray[np.float64]

_TRACK_EVIDENCE = 60.0  # fall in χ² that makes a glide likely; the noise of the track is only roughly known
_WANDER_PARTS = 10
_WANDER_NOISE_CENTS = 0.3  # parts noisier than this count for less
_TAU_GRIDS_S = (np.geomspace(0.03, 1.1, 13), np.geomspace(0.75, 1.33, 17), np.geomspace(0.97, 1.03, 9))
"""Time constants that are tried, and then parts of the best of them."""


def pitch_track(fit: PartialFit) -> tuple[Array, Array, Array]:
    """Log frequency of the whole string over time against the partials' fitted ones: times, values and weights (1/variance)."""
    frames = fit.frames
    turn = frames.turn * np.exp(-2j * np.pi * frames.step_s * (fit.frequency_hz - frames.reference_hz))
    angle = 2.0 * np.pi * frames.step_s * fit.frequency_hz
    weight = frames.surety * (fit.follows * angle**2)
    total = weight.sum(axis=1)
    track = (weight * np.angle(turn) / angle).sum(axis=1) / np.maximum(total, 1e-300)
    return 0.5 * (fit.frames.time_s[1:] + fit.frames.time_s[:-1]), track, total / 2.0


def wander_cents(fit: PartialFit) -> float:
    """How far the pitch strays from settling smoothly: root mean square of its tenths, less what noise accounts for."""
    time, track, weight = pitch_track(fit)
    if fit.glide is not None:
        track = track - np.log1p(fit.glide.excess(time))
    edges = np.linspace(0, len(time), min(_WANDER_PARTS, len(time)) + 1).astype(int)
    most = (CENTS / _WANDER_NOISE_CENTS) ** 2
    square, weights = 0.0, 1e-300
    for first, last in pairwise(edges):
        total = float(np.sum(weight[first:last]))
        if total > 0.0:
            mean = float(np.sum(weight[first:last] * track[first:last])) / total
            square += min(total, most) * (mean**2 - 1.0 / total)
            weights += min(total, most)
    return float(np.sqrt(max(0.0, square / weights))) * CENTS


def glide_of_track(fit: PartialFit) -> Glide | None:
    """A first glide from the pitch over time, which no whole turn of phase can mislead; moves the partials to their end."""
    time, track, weight = pitch_track(fit)
    if not np.any(weight > 0.0):
        return None
    mean = float(np.average(track, weights=weight))
    flat = float(np.sum(weight * (track - mean) ** 2))
    total, moment = float(np.sum(weight)), float(np.sum(weight * track))
    best = (0.0, 0.0, 0.0, 0.0)
    for grid in _TAU_GRIDS_S:
        taus = grid if best[0] == 0.0 else grid * best[2]
        shapes = np.exp(-time[None, :] / taus[:, None])
        centres = shapes @ weight / total
        norms = shapes**2 @ weight - total * centres**2
        sizes = (shapes @ (weight * track) - centres * moment) / norms
        gains = np.where(sizes > 0.0, sizes**2 * norms, 0.0)
        at = int(np.argmax(gains))
        if gains[at] > best[0]:
            best = (float(gains[at]), float(sizes[at]), float(taus[at]), float(mean - sizes[at] * centres[at]))
    gain, c, tau, end = best
    if gain < _TRACK_EVIDENCE or gain < 0.3 * flat:
        return None
    fit.frequency_hz = fit.frequency_hz * np.exp(end * fit.follows)
    return Glide(c, tau)
