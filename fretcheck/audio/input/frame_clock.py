"""Notices frames that went missing without a word.

Some capture paths drop sound when the computer stalls and report nothing. What gives them away is time: fewer frames have
come than the time since the start is worth. Deliveries are late and bunched, so a single late one proves nothing; but the
least lateness of the last half second returns to what it was, unless frames are gone.

Conventions: times are of a steady clock, seconds; lateness is time passed minus sound received.
"""

from collections import deque

RECENT_S = 0.5
ENOUGH_S = 0.4
MISSING_S = 0.15  # Sound worth this much is gone: well above the jitter of the least lateness, which is a few milliseconds
DRIFT = 1e-3  # Sound clocks run right to 1e-4; the allowance is ten times that


class FrameClock:
    """Told of each delivery, tells how much sound has gone missing before it."""

    def __init__(self, sample_rate: float) -> None:
        self._rate = sample_rate
        self.restart()

    def restart(self) -> None:
        """Begin anew with the next delivery."""
        self._begin_s: float | None = None
        self._frames = 0
        self._recent: deque[tuple[float, float]] = deque()
        self._usual = 0.0
        self._last_s = 0.0

    def missing_s(self, at_s: float, frames: int) -> float:
        """Seconds of sound found missing now that `frames` were delivered at `at_s`; 0 nearly always."""
        if self._begin_s is None:
            self._begin_s = self._last_s = at_s
        self._frames += frames
        lateness = at_s - self._begin_s - self._frames / self._rate
        self._recent.append((at_s, lateness))
        while self._recent[0][0] < at_s - RECENT_S:
            self._recent.popleft()
        least = min(value for _, value in self._recent)
        if at_s - self._begin_s < RECENT_S:
            self._usual = least
            return 0.0
        if at_s - self._recent[0][0] < ENOUGH_S:  # after a stall: what is owed may still be on its way
            return 0.0
        self._usual = min(least, self._usual + DRIFT * (at_s - self._last_s))
        self._last_s = at_s
        gone = least - self._usual
        if gone < MISSING_S:
            return 0.0
        self._usual = least
        return gone
