"""The reading of a note while it still rings.

`StreamingReader` is fed the sound of one pluck as it arrives. It gives a running estimate each 50 ms, and settles as soon as the
uncertainty is small enough. Every reading is `read_pluck` of the first so many frames, and which lengths are decisive does not
depend on how the sound was cut up: a note that is heard live and one that is read from a file are measured by the same code on
the same samples, to the last digit.

Conventions: time is counted in frames of the sound pushed in, never by a clock. `settled` is for good: what a note was read to
be when it had been heard closely enough, it stays.
"""

from collections.abc import Sequence

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.pitch.reader import read_pluck
from fretcheck.pitch.reading import NoteReading

EVERY_S = 0.05  # Sound between two readings


class StreamingReader:
    """Reads one pluck as it arrives.

    `sample_rate`: Hz. `settled_limit_cents`: the note is settled once its standard uncertainty is no larger than this.
    `decides_at_s`: lengths of sound, ascending, at which that is looked at; after the last one nothing more is read.
    `settled_from`, `noise_rms`: as for `read_pluck`.
    """

    def __init__(
        self,
        sample_rate: float,
        *,
        settled_limit_cents: float,
        decides_at_s: Sequence[float],
        settled_from: int = 0,
        noise_rms: float | None = None,
    ) -> None:
        self.sample_rate = sample_rate
        self.current: NoteReading | None = None  # The latest reading; None before the first 50 ms are complete
        self.read_frames = 0  # How much sound `current` was read from
        self.settled = False  # True once a decisive reading was usable and its uncertainty within the limit
        self.decided = 0  # How many decisive lengths have been heard
        self._limit_cents = settled_limit_cents
        self._decisive = [round(seconds * sample_rate) for seconds in decides_at_s]
        self._settled_from = settled_from
        self._noise_rms = noise_rms
        self._sound: Reals = np.empty(0)

    @property
    def duration_s(self) -> float:
        """Sound that may be read, so far."""
        return len(self._sound) / self.sample_rate

    @property
    def exhausted(self) -> bool:
        """True when all decisive lengths have been heard."""
        return self.decided == len(self._decisive)

    def push(self, samples: Reals, *, decisive_only: bool = False) -> NoteReading | None:
        """Take the next samples, shape ``(frames,)``, and return the latest reading.

        `samples`: what follows on what was pushed before. `decisive_only`: leave running readings out: nobody looks at them
        now, or more sound is waiting.
        """
        if not self.exhausted:
            self._sound = np.concatenate((self._sound, samples))
        while not self.exhausted and (length := self._decisive[self.decided]) <= len(self._sound):
            self.decided += 1
            if not self.settled:
                note = self._read(length)
                self.settled = note.usable and note.u_cents is not None and note.u_cents <= self._limit_cents
        if not (decisive_only or self.settled or self.exhausted):
            every = EVERY_S * self.sample_rate
            length = round(len(self._sound) // every * every)
            if length > self.read_frames:
                self._read(length)
        return self.current

    def finish(self) -> NoteReading:
        """The reading, once the sound has ended: the settled one, or that of all there is up to the last decisive length."""
        if self.current is None or not (self.settled or self.exhausted or self.read_frames == len(self._sound)):
            return self._read(len(self._sound))
        return self.current

    def _read(self, frames: int) -> NoteReading:
        self.read_frames = frames
        self.current = read_pluck(
            self._sound[:frames], self.sample_rate, settled_from=self._settled_from, noise_rms=self._noise_rms
        )
        return self.current
