"""The settling of a pluck's pitch: it begins sharp, by the stretch of its own swing, and falls as that dies away.

The stretch goes with the square of the swing, so the fall is tied to the decay of the note's power; by how much is open to a few
ratios, which are averaged by what they explain. All partials of one string glide alike.

Conventions: log frequency over time is log f + c·exp(−t/τ), t from the onset: f is the settled pitch, c positive when the note
begins sharp.
"""

from dataclasses import dataclass

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.pitch.partials.correlated import blocks, variance
from fretcheck.pitch.partials.phase_lines import PhaseLines
from fretcheck.units import CENTS_PER_NEPER

# Chosen on recorded notes by how the halves of a note agree and how far one pluck reads alike played 1 to 3 times as fast.
_RATIOS = np.array([0.2, 0.3, 0.45, 0.67, 1.0, 1.5])  # of the glide's time constant to the power's
# of the logarithm, about a ratio of 1: 0.3 to 1.2 read alike; one ratio alone errs by a cent where it is wrong
_RATIO_SPREAD = 0.5
# small glides and large: of one prior of 2.5 cents, halves of real notes differ by 2.2 instead of 2.0 (90 %)
_PRIORS_CENTS = np.array([0.5, 3.0])
# of the variance that the partials' scatter shows: they beat, and beats look like glides in many partials at once; with 4 the
# halves of real notes agree in 88 %, with 20 in 93, with 25 or 30 in 95
# By half of the instruments (A, B), 90 % of them differ by 2.55 and 1.84 with 12, 2.15 and 2.03 with 25, 2.03 and 2.24 with 40
_WIDENED = 25.0
_DECAY_S = (0.03, 3.0)  # of the power: a muted note's, and twice the longest window's
_FREEDOM, _TURNS = 5.0, 5  # Student weights over the partials
_LEAST_U = 0.01 / CENTS_PER_NEPER  # of one partial's glide, so that a synthetic one does not rule alone
_SHAPE = 0.15  # of the glide taken off, for its shape is known no better: glides of 20 to 60 cents left 13 to 20 %


@dataclass(frozen=True)
class Glide:
    """What is believed of the glide; means over the priors and ratios."""

    c: float
    lowered: Reals  # By how much it has raised the log frequency of each partial's line, shape ``(partials,)``
    # The same for each prior and ratio, one standard deviation down and up, shape ``(2·priors·ratios, partials)``
    lowerings: Reals
    shares: Reals  # Weights of those rows
    phase: Reals  # What it has added to each partial's phase beyond its line, shape ``(partials, frames)``

    def u_of(self, influence: Reals) -> float:
        """Standard uncertainty that it leaves in a sum of log frequencies with those weights, shape ``(partials,)``."""
        spread = self.shares @ ((self.lowerings - self.lowered) @ influence) ** 2
        return float(np.sqrt(spread + (_SHAPE * (self.lowered @ influence)) ** 2))


def pooled_glide(lines: PhaseLines, time_s: Reals, power: Reals) -> Glide:
    """Fit it; `power` is that of all partials together, shape ``(frames,)``."""
    taus = _RATIOS * decay_time_s(power, time_s)
    gained = -taus * np.exp(-time_s[:, None] / taus)  # integral of the excess, (frames, ratios)
    weight, total = lines.weight, lines.energy[:, None]
    angle = 2.0 * np.pi * lines.frequency_hz[:, None]
    slope = lines.influence @ gained
    out = time_s - (weight @ time_s)[:, None] / total
    curved = gained - (weight @ gained / total)[:, None, :] - slope[:, None, :] * out[:, :, None]  # (partials, frames, ratios)
    pull = weight[:, :, None] * curved
    pull /= np.sum(pull * curved, axis=1, keepdims=True) * angle[:, :, None]
    each = np.einsum("pmj,pm->pj", pull, lines.strayed)
    left = lines.strayed[:, :, None] - each[:, None, :] * angle[:, :, None] * curved
    c, u2 = _pooled(each, variance(blocks(pull * left, axis=1), axis=1) + _LEAST_U**2)
    prior = (_PRIORS_CENTS[:, None] / CENTS_PER_NEPER) ** 2  # (priors, ratios) from here on
    # the logarithm of how much likelier the note is with a glide of that prior than without, and of the ratio's own prior
    evidence = 0.5 * (c**2 / u2 - c**2 / (u2 + prior) - np.log1p(prior / u2)) - 0.5 * (np.log(_RATIOS) / _RATIO_SPREAD) ** 2
    shares = np.exp(evidence - np.max(evidence))
    shares /= np.sum(shares)
    shrunk = c * prior / (prior + u2)
    u = np.sqrt(prior * u2 / (prior + u2))
    believed = np.sum(shares * shrunk, axis=0)
    return Glide(
        c=float(np.sum(believed)),
        lowered=slope @ believed,
        lowerings=np.concatenate([each * slope for each in (*(shrunk - u), *(shrunk + u))], axis=1).T,
        shares=np.concatenate([shares, shares]).ravel() / 2.0,
        phase=angle * (curved @ believed),
    )


def decay_time_s(power: Reals, time_s: Reals) -> float:
    """Time constant of the power, by a line through its logarithm that follows the power itself."""
    weight = power / power.sum()
    level = np.log(power + 1e-30)
    out = time_s - weight @ time_s
    rate = -float((weight * out) @ level) / float((weight * out) @ out)
    return float(np.clip(1.0 / max(rate, 1e-6), *_DECAY_S))


def _pooled(each: Reals, own: Reals) -> tuple[Reals, Reals]:
    """Mean over the partials and its widened variance, for each column: Student weights, and a scatter beside their own."""
    mean = np.median(each, axis=0)
    scatter = np.zeros(each.shape[1])
    robust = np.ones_like(each)
    for _ in range(_TURNS):
        left2 = (each - mean) ** 2
        scatter = np.maximum(0.0, np.average(left2 - own, axis=0, weights=robust / (own + scatter)))
        robust = (_FREEDOM + 1.0) / (_FREEDOM + left2 / (own + scatter))
        weight = robust / (own + scatter)
        mean = np.sum(weight * each, axis=0) / np.sum(weight, axis=0)
    spread2 = np.sum(weight**2 * ((each - mean) ** 2 + own), axis=0) / np.sum(weight, axis=0) ** 2
    return mean, _WIDENED * spread2
