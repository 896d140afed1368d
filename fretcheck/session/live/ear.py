"""Blocks of sound in; plucks begun, their running value, and each pluck once, as soon as it has been heard well enough.

Conventions: times in seconds of the source's sound. Samples are put on the 24-bit grid first, so that what is measured is what
is stored.
"""

from dataclasses import replace
from typing import Protocol

from fretcheck.arrays import Reals
from fretcheck.audio.input.source import Block
from fretcheck.audio.segment.pluck import Onset, Pluck, SetAside
from fretcheck.audio.segment.segmenter import Segmenter
from fretcheck.pitch.reading import NoteReading
from fretcheck.pitch.streaming import EVERY_S, StreamingReader
from fretcheck.session.journal.sounds import on_grid
from fretcheck.session.take import FIRST_S, LAST_S, STRETCHES_S, SURE_CENTS, first_part, read_take, reader_for

LOOK_FROM_S = 0.3  # By then it is known where the attack ends, and whether it behaves like a string


class Listener(Protocol):
    """Who is told what the ear hears."""

    def began(self, start_s: float) -> None:
        """A pluck has begun."""

    def measured(self, note: NoteReading, settled: float) -> None:
        """The value of the pluck under way, and how far it has settled, 0 to 1."""

    def complete(self, pluck: Pluck, note: NoteReading) -> None:
        """A pluck has been heard well enough, or has ended; told once."""

    def no_pluck(self, sound: SetAside) -> None:
        """What had begun as a pluck is none."""

    def lost(self) -> None:
        """Frames were lost on their way."""


class Ear:
    """Listens to one source. `sample_rate`: Hz, of the source. `listener`: told at once."""

    def __init__(self, sample_rate: float, listener: Listener) -> None:
        self._listener = listener
        self.sample_rate = sample_rate
        self._segmenter = Segmenter(sample_rate, longest_s=LAST_S + 1.0)
        self._end_frame = 0
        self._open = False  # A pluck is under way and has not been told yet
        self._reader: StreamingReader | None = None  # Of the pluck under way, once it has shown itself to be one
        self._next_look_s = LOOK_FROM_S

    @property
    def level_rms(self) -> float:
        """RMS of the last moment, full scale 1."""
        return self._segmenter.level_rms

    @property
    def follows_pluck(self) -> bool:
        """True while a pluck is under way that has not been told yet."""
        return self._open

    def push(self, block: Block, *, decisive_only: bool = False) -> None:
        """Hear the next block; `decisive_only` leaves running values out, when nobody looks at them or more sound is waiting."""
        self._end_frame = block.start_frame + len(block.samples)
        samples = on_grid(block.samples)
        for event in self._segmenter.push(replace(block, samples=samples)):
            self._finished(event)
        if block.lost:
            self._listener.lost()
        if self._open and self._reader is None:
            self._begin_reading(decisive_only)
        elif self._open:
            self._read_on(samples, decisive_only)

    def finish(self) -> None:
        """The source has ended; judge what was under way."""
        for event in self._segmenter.finish():
            self._finished(event)

    def _finished(self, event: Onset | Pluck | SetAside) -> None:
        match event:
            case Onset():
                self._open = True
                self._reader = None
                self._next_look_s = LOOK_FROM_S
                self._listener.began(event.start_frame / self.sample_rate)
            case Pluck() if self._open:
                self._close()
                self._listener.complete(*read_take(event))
            case SetAside() if self._open:
                self._close()
                self._listener.no_pluck(event)

    def _close(self) -> None:
        self._open = False
        self._reader = None

    def _begin_reading(self, decisive_only: bool) -> None:
        """Read what rings now from its beginning, if it behaves like a string so far."""
        start_frame = self._segmenter.ringing_from
        if start_frame is None or (ringing_s := (self._end_frame - start_frame) / self.sample_rate) < self._next_look_s:
            return
        self._next_look_s = ringing_s + EVERY_S
        so_far = self._segmenter.so_far(self._end_frame - start_frame)
        if isinstance(so_far, Pluck):
            self._reader = reader_for(so_far)
            self._read_on(so_far.samples, decisive_only)
        elif so_far is not None and ringing_s >= LAST_S:
            self._close()
            self._listener.no_pluck(so_far)

    def _read_on(self, samples: Reals, decisive_only: bool) -> None:
        reader = self._reader
        assert reader is not None
        before, decided = reader.current, reader.decided
        note = reader.push(samples, decisive_only=decisive_only)
        if reader.decided > decided:
            self._decide(reader)
        elif note is not None and note is not before and note.f1_hz is not None:
            self._listener.measured(note, _settled(note, reader))

    def _decide(self, reader: StreamingReader) -> None:
        """A length of sound has been heard that may be enough."""
        so_far = self._segmenter.so_far(round(STRETCHES_S[reader.decided - 1] * self.sample_rate))
        note = reader.current
        if so_far is None or note is None:
            return
        if isinstance(so_far, SetAside):
            if reader.exhausted:
                self._close()
                self._listener.no_pluck(so_far)
        elif reader.settled or reader.exhausted:
            self._close()
            self._listener.complete(first_part(so_far, reader.read_frames), note)
        else:
            self._listener.measured(note, _settled(note, reader))


def _settled(note: NoteReading, reader: StreamingReader) -> float:
    """How far a note is from being taken, 0 to 1: by the time it has rung, and by its uncertainty."""
    if not note.usable or not note.u_cents:
        return 0.0
    return min(1.0, reader.duration_s / FIRST_S) * min(1.0, SURE_CENTS / note.u_cents)
