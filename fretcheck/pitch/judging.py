"""What is wrong with a reading, judged by limits that have a name each.

Conventions
-----------
Levels in dB, pitch in cents, times in seconds. A limit is the value at which the flag is raised.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_FEWEST_TOPS = 3


@dataclass(frozen=True, kw_only=True)
class Limits:
    """When a flag is raised. The defaults keep a reading that is good to 0.5 cents and doubt the rest."""

    clipped_fraction: float = 1e-4
    """Share of frames at full scale, or on a flat top."""
    quiet_rms: float = 1e-5
    """Full scale 1; below this there is nothing to hear (−100 dB)."""
    quiet_snr_db: float = 3.0
    """String against noise in the band of its partials."""
    shortest_s: float = 0.25
    """Stretch that can be fitted."""
    fewest_frames: int = 6
    other_string_db: float = -12.0
    """Strongest line that belongs neither to the string nor to the mains, against the string's strongest."""
    glide_left_cents: float = 1.0
    """Pitch still to fall at the end of the stretch."""
    beating_level: float = 0.15
    """Level of a second plane of vibration against the first, where it is beyond doubt."""
    hum_db: float = -3.0
    """Mains hum against the string."""
    explained: float = 0.45
    """Share of the spectrum's peaks that lie on the string's comb."""
    scatter_cents: float = 8.0
    """How far partials stray from a stiff string's."""
    wander_cents: float = 2.5
    """How far the pitch strays from settling smoothly, root mean square."""
    unsure_cents: float = 0.5
    """Standard uncertainty."""
    lead: float = 0.25
    """Distance to the next candidate note, in peaks' worth."""


def flat_tops(sound: Array) -> NDArray[np.intp]:
    """Frames that sit on a flat top: three or more neighbours at the very largest value, in at least three places.

    A decaying string reaches its largest value once, and so do the rounded tops of a low note in few bits.
    """
    top = float(np.max(np.abs(sound), initial=0.0))
    if top == 0.0 or len(sound) < 3:
        return np.zeros(0, dtype=np.intp)
    at = np.flatnonzero(np.abs(sound) >= top * (1.0 - 1e-6))
    neighbours = (np.diff(at) == 1) & (np.diff(np.sign(sound[at])) == 0.0)
    found = at[1:-1][neighbours[:-1] & neighbours[1:]]
    places = int(np.sum(np.diff(found) > 1)) + 1
    return np.asarray(found if len(found) and places >= _FEWEST_TOPS else found[:0])
