"""The reading of a note while it still rings.

`StreamingReader` is fed the sound of one pluck as it arrives. It gives a running estimate each 50 ms, and settles as soon as the
uncertainty is small enough. Every reading is `read_pluck` of the first so many frames, and which lengths are decisive does not
depend on how the sound was cut up: a note that is heard live and one that is read from a file are measured by the same code on
the same samples, to the last digit.

Conventions: time is counted in frames of the sound pushed in, never by a clock. `settled` is for good: what a note was read to
be when it had been heard closely enough, it stays.
"""

from collections.abc import Callable, Sequence

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.errors import UsageError
from fretcheck.pitch.reader import read_pluck
from fretcheck.pitch.reading import NoteReading

EVERY_S = 0.05  # Sound between two readings


class StreamingReader:
    """Reads one pluck as it arrives.

    `sample_rate`: Hz. `settled_limit_cents`: the note is settled once its standard uncertainty is no larger than this.
    `decides_at_s`: lengths of sound, ascending, at which that is looked at; after the last one nothing more is read. Each 50
    ms, without end, where none are given. `hint_hz`: the note that is expected; never forced. `settled_from`: index at which
    the attack is over. `noise_rms`: RMS of the room before the onset. `clipped`: share of clipped frames in the sound it is
    given, 0 to 1; `read_pluck` finds it by itself otherwise.
    Raises UsageError for a limit that is not positive, or lengths that do not ascend.
    """

    def __init__(
        self,
        sample_rate: float,
        *,
        settled_limit_cents: float = 0.1,
        decides_at_s: Sequence[float] | None = None,
        hint_hz: float | None = None,
        settled_from: int = 0,
        noise_rms: float | None = None,
        clipped: Callable[[Reals], float] | None = None,
    ) -> None:
        if not settled_limit_cents > 0.0:
            raise UsageError(f"settled_limit_cents = {settled_limit_cents:g} must be above 0")
        decisive = None if decides_at_s is None else [round(seconds * sample_rate) for seconds in decides_at_s]
        if decisive is not None and (not decisive or decisive[0] < 1 or np.any(np.diff(decisive) < 1)):
            raise UsageError(f"decides_at_s = {tuple(decides_at_s or ())} must be lengths above 0, each longer than the last")
        self.sample_rate = sample_rate
        self.current: NoteReading | None = None  # The latest reading; None before the first 50 ms are complete
        self.read_frames = 0  # How much sound `current` was read from
        self.settled = False  # True once a decisive reading was usable and its uncertainty within the limit
        self.decided = 0  # How many decisive lengths have been heard
        self._limit_cents = settled_limit_cents
        self._decisive = decisive
        self._hint_hz = hint_hz
        self._settled_from = settled_from
        self._noise_rms = noise_rms
        self._clipped = clipped
        self._sound = np.empty(round(1.25 * sample_rate))
        self._frames = 0

    @property
    def duration_s(self) -> float:
        """Sound pushed in so far."""
        return self._frames / self.sample_rate

    @property
    def exhausted(self) -> bool:
        """True when all decisive lengths have been heard."""
        return self._decisive is not None and self.decided == len(self._decisive)

    def push(self, samples: Reals, *, decisive_only: bool = False) -> NoteReading | None:
        """Take the next samples, shape ``(frames,)``, and return the latest reading.

        `samples`: what follows on what was pushed before. `decisive_only`: leave running readings out: nobody looks at them
        now, or more sound is waiting.
        """
        self._append(samples)
        while (length := self._next_decisive()) is not None and length <= self._frames:
            self.decided += 1
            if not self.settled:
                note = self._read(length)
                self.settled = note.usable and note.u_cents is not None and note.u_cents <= self._limit_cents
        if not (decisive_only or self.settled or self.exhausted):
            every = EVERY_S * self.sample_rate
            length = round(self._frames // every * every)
            if length > self.read_frames:
                self._read(length)
        return self.current

    def finish(self) -> NoteReading:
        """The reading, once the sound has ended: the settled one, or that of all there is up to the last decisive length."""
        if self.current is None or not (self.settled or self.exhausted or self.read_frames == self._frames):
            self._read(self._frames)
        assert self.current is not None
        return self.current

    def _append(self, samples: Reals) -> None:
        needed = self._frames + len(samples)
        if needed > len(self._sound):
            longer = np.empty(max(needed, round(1.5 * len(self._sound))))
            longer[: self._frames] = self._sound[: self._frames]
            self._sound = longer
        self._sound[self._frames : needed] = samples
        self._frames = needed

    def _next_decisive(self) -> int | None:
        if self._decisive is None:
            return round((self.decided + 1) * EVERY_S * self.sample_rate)
        return None if self.exhausted else self._decisive[self.decided]

    def _read(self, frames: int) -> NoteReading:
        sound = self._sound[:frames]
        self.current = read_pluck(
            sound,
            self.sample_rate,
            settled_from=self._settled_from,
            noise_rms=self._noise_rms,
            hint_hz=self._hint_hz,
            clipped_fraction=None if self._clipped is None else self._clipped(sound),
        )
        self.read_frames = frames
        return self.current
