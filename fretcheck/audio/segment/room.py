"""The quiet of the room, learned while nothing sounds.

Conventions: powers are mean squares, full scale 1, as in `hops`. The floor follows a falling level at once and a rising one
slowly, and does not follow anything that stands out of it.
"""

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.audio.segment.hops import BANDS

QUIETEST = 10**-9.5  # −95 dB: below it there is nothing but rounding of 16 bits
STANDS_OUT = 4.0  # Four times the floor's power, 6 dB: more than a level averaged over 65 ms of noise reaches by chance
LEAST_ALLOWANCE = np.full(BANDS, QUIETEST / BANDS)  # By how much band powers may differ without meaning in the quietest room
_UP, _DOWN, _BANDS_RATE = 0.01, 0.1, 0.02


class Room:
    """Power of the room's own sound, in all and by band; `power` is None until some quiet has been heard."""

    def __init__(self) -> None:
        self.power: float | None = None
        self._bands = np.zeros(BANDS)
        # Added to both sides of a comparison of band powers, so that noise compares as equal
        self.allowance: Reals = LEAST_ALLOWANCE

    @property
    def known_power(self) -> float:
        """The floor, or the least it can be while it is unknown."""
        return QUIETEST if self.power is None else max(self.power, QUIETEST)

    def learn(self, level: float, bands: Reals) -> None:
        """Take one hop at which nothing sounds."""
        if self.power is None:
            self.set(level, bands)
            return
        if level > STANDS_OUT * self.known_power:
            return
        self.power += (_DOWN if level < self.power else _UP) * (level - self.power)
        self._bands += _BANDS_RATE * (bands - self._bands)
        self._allow()

    def set(self, level: float, bands: Reals) -> None:
        """Take `level` as the floor at once: the sound has been standing still for long."""
        self.power = level
        self._bands = bands.copy()
        self._allow()

    def forget(self) -> None:
        """Back to knowing nothing."""
        self.power = None
        self._bands = np.zeros(BANDS)
        self._allow()

    def _allow(self) -> None:
        self.allowance = 4.0 * self._bands + LEAST_ALLOWANCE
