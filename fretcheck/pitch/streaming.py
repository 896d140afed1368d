"""The reading of a note while it still rings.

`StreamingReader` is fed the sound of one pluck as it arrives and reads it anew each 50 ms. Every reading is `read_pluck` of all
sound so far, and the last one `read_pluck` of the whole: a note that is heard live and one that is read from a file are
measured by the same code, to the last digit.

Conventions
-----------
Time is counted in frames of the sound pushed in, never by a clock. `settled` is for good: a note that has once been read
closely enough stays read.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fretcheck.errors import UsageError
from fretcheck.pitch.judging import Limits
from fretcheck.pitch.reader import read_pluck
from fretcheck.pitch.reading import NoteReading

Array = NDArray[np.float64]

EVERY_S = 0.05
"""Sound between two readings."""


class StreamingReader:
    """Reads one pluck as it arrives.

    Parameters
    ----------
    sample_rate : float
        Hz.
    hint_hz : float, optional
        The note that is expected; never forced.
    settled_limit_cents : float
        The note counts as settled once its standard uncertainty is below this.
    settled_from : int
        Index at which the attack is over.
    noise_rms : float, optional
        RMS of the room before the onset.
    limits : Limits, optional
        When to raise which flag.
    """

    def __init__(
        self,
        sample_rate: float,
        *,
        hint_hz: float | None = None,
        settled_limit_cents: float = 0.1,
        settled_from: int = 0,
        noise_rms: float | None = None,
        limits: Limits | None = None,
    ) -> None:
        if not settled_limit_cents > 0.0:
            raise UsageError(f"settled_limit_cents = {settled_limit_cents:g} must be above 0")
        self.sample_rate = sample_rate
        self.current: NoteReading | None = None
        """The latest reading; None before the first 50 ms are complete."""
        self.settled = False
        """True once `current` was usable and its uncertainty below the limit."""
        self.settled_at_s: float | None = None
        """How much sound it took."""
        self._hint_hz = hint_hz
        self._limit_cents = settled_limit_cents
        self._settled_from = settled_from
        self._noise_rms = noise_rms
        self._limits = limits
        self._sound = np.zeros(round(4.0 * sample_rate))
        self._frames = 0
        self._read_at = 0

    @property
    def duration_s(self) -> float:
        """Sound pushed in so far."""
        return self._frames / self.sample_rate

    def push(self, samples: Array) -> NoteReading | None:
        """Take the next samples, shape ``(frames,)``, and return the latest reading."""
        needed = self._frames + len(samples)
        if needed > len(self._sound):
            self._sound = np.concatenate([self._sound, np.zeros(max(needed, len(self._sound)))])
        self._sound[self._frames : needed] = samples
        self._frames = needed
        if needed - self._read_at >= EVERY_S * self.sample_rate:
            self._read()
        return self.current

    def finish(self, *, clipped_fraction: float | None = None) -> NoteReading:
        """The reading of all that was pushed in."""
        if self.current is None or self._read_at != self._frames or clipped_fraction is not None:
            self._read(clipped_fraction)
        assert self.current is not None
        return self.current

    def _read(self, clipped_fraction: float | None = None) -> None:
        self.current = read_pluck(
            self._sound[: self._frames],
            self.sample_rate,
            settled_from=self._settled_from,
            noise_rms=self._noise_rms,
            hint_hz=self._hint_hz,
            clipped_fraction=clipped_fraction,
            limits=self._limits,
        )
        self._read_at = self._frames
        u_cents = self.current.u_cents
        if not self.settled and self.current.usable and u_cents is not None and u_cents < self._limit_cents:
            self.settled, self.settled_at_s = True, self.duration_s
