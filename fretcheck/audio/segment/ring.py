"""The sound that the segmenter is following, and whether it behaves like a string that was plucked.

Conventions: frames and hops count from the start of the stream; bands are powers (see `hops`), seconds where the name says so.
"""

from dataclasses import dataclass, field

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.audio.segment.levels import decibels

# Within so many seconds any string has faded by more than this, in all and on average over the bands
FADES_WITHIN_S, FADE_DB = 1.3, 0.5
# Where all has fallen by more than the first, the old note was stopped; a new one lifts some band by more than the second
STOPPED_DB, RISE_DB = 8.0, 2.0
FEWEST_HOPS = 4


@dataclass
class Ring:
    """One sound from its onset on."""

    start: int
    hop: int
    before: Reals | None  # Powers of the bands just before, where an earlier note was ringing
    noise_rms: float | None
    loudest: float = 0.0
    after: list[Reals] = field(default_factory=list)  # Powers of the bands just after, hop by hop
    quiet_hops: int = 0
    kept: Reals | None = None  # Its first frames, as many as a pluck may have, once it has lasted longer than that

    def adds_nothing(self, allowance: Reals) -> bool:
        """True when, after the onset has passed, the old note rings on as if nothing had been plucked.

        `allowance` is the power by which bands may differ in this room without meaning.
        """
        if self.before is None or len(self.after) < FEWEST_HOPS:
            return False
        after = np.mean(self.after, axis=0)
        if decibels(float(self.before.sum()), float(after.sum())) > STOPPED_DB:
            return False
        least = allowance + 1e-5 * float(after.sum())
        return bool(np.max(10.0 * np.log10((after + least) / (self.before + least))) < RISE_DB)

    def does_not_fade(self, now: Reals | None, *, lasted_s: float, allowance: Reals) -> bool:
        """True when long after its onset the sound is what it was soon after it; `now` are the bands at its end."""
        if now is None or not self.after or lasted_s < FADES_WITHIN_S:
            return False
        then = np.mean(self.after, axis=0)
        by_band = float(np.mean(10.0 * np.log10((then + allowance) / (now + allowance))))
        return abs(decibels(float(then.sum()), float(now.sum()))) < FADE_DB and abs(by_band) < FADE_DB
