"""Where to set a saddle: the place at which most of what the neck may truly be lies within the limit.

For one draw a note m at slope j (cents for each mm that the saddle moves) is within the limit for moves between (−limit − m)/j
and (limit − m)/j; all notes of a string are within for the moves that these intervals share. The best move is the one inside
most draws' intervals.

Conventions: mm, positive toward the bridge; cents. Arrays of draws are the first axis. An interval with low > high is empty.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fretcheck.arrays import Reals

FEWEST_INSIDE = 0.02  # Below this share of draws no place serves; the one that leaves least to either side is then taken
# Places inside so much fewer draws than the best are as good (half the sampling error of 500 draws); their middle is taken
AS_GOOD = 0.005
TILTS = np.linspace(-1.0, 1.0, 11)
STEP_MM = 0.05  # What a bench can set


@dataclass(frozen=True, kw_only=True)
class Moves:
    """For each draw the moves, from `low` to `high`, that bring all of some notes within the limit; shape (draws,)."""

    low: Reals
    high: Reals

    def inside(self, move: float | Reals) -> NDArray[np.bool_]:
        """Whether a move, or one for each draw, serves."""
        return np.asarray((self.low <= move) & (move <= self.high))

    def best(self, *, bound: float, slip: Reals | float = 0.0) -> float:
        """The move of at most `bound`, in steps of `STEP_MM`, that serves in most draws.

        `slip` is by how much the hand misses, for each draw.
        """
        low, high = self.low - slip, self.high - slip
        kept = low <= high
        places = np.arange(-round(bound / STEP_MM), round(bound / STEP_MM) + 1) * STEP_MM
        begun = np.searchsorted(np.sort(low[kept]), places, side="right")
        ended = np.searchsorted(np.sort(high[kept]), places, side="left")
        inside = begun - ended
        most = int(np.argmax(inside))
        if inside[most] < FEWEST_INSIDE * len(low):
            midpoints = 0.5 * (low + high)
            return float(np.clip(np.median(midpoints), -bound, bound))
        good = inside >= inside[most] - AS_GOOD * len(low)
        first = most - int(np.argmin(np.append(good[most::-1], False))) + 1
        last = most + int(np.argmin(np.append(good[most:], False))) - 1
        return float(0.5 * (places[first] + places[last]))


def moves_within(notes: Reals, slopes: Reals, *, limit: float) -> Moves:
    """Moves that bring all `notes`, shape (draws, notes), of these `slopes`, shape (notes,), within ±`limit`."""
    one, other = (-limit - notes) / slopes, (limit - notes) / slopes
    return Moves(low=np.max(np.minimum(one, other), axis=1), high=np.min(np.maximum(one, other), axis=1))


def best_straight(
    strings: Sequence[Moves], sides: Reals, *, bound: float, slant: bool, slip: Reals | float = 0.0, finely: bool = True
) -> tuple[float, float]:
    """Moves of both ends of a straight saddle, treble and bass, that serve in most draws.

    `sides` (shape (strings,)): 1 at the treble end, −1 at the bass end. `bound`: neither end moves further. `slant`: whether
    its ends may move differently. `finely`: whether the slant is looked for to 0.04 of the bound, not to 0.2.
    """
    lows, highs = np.array([one.low for one in strings]), np.array([one.high for one in strings])
    best, most, lacks = (0.0, 0.0), -1.0, np.inf
    rounds = [TILTS] if slant else [np.zeros(1)]
    for tilts in (*rounds, *([0.2 * TILTS] if slant and finely else [])):
        for tilt in (0.5 * (best[0] - best[1]) + bound * tilts).tolist():
            turned = tilt * sides[:, None]
            common = Moves(low=np.max(lows - turned, axis=0), high=np.min(highs - turned, axis=0))
            move = common.best(bound=max(bound - abs(tilt), 0.0), slip=slip)
            share, lacking = float(np.mean(common.inside(move + slip))), float(np.median(common.low - common.high))
            if share > most + AS_GOOD or (share > most - AS_GOOD and lacking < lacks):
                best, most, lacks = (move + tilt, move - tilt), share, lacking
    return best
