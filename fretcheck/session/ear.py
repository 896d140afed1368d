"""Blocks of sound in; plucks begun, their running value, and each pluck once, as soon as it has been heard well enough.

Conventions
-----------
Times in seconds of the source's sound. Samples are put on the 24-bit grid first, so that what is measured is what is stored.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from fretcheck.audio.pluck import Onset, Pluck, SetAside
from fretcheck.audio.segmenter import Segmenter
from fretcheck.audio.source import Block
from fretcheck.pitch.reading import NoteReading
from fretcheck.session.sounds import on_grid
from fretcheck.session.take import FIRST_S, LAST_S, STRETCHES_S, read_take, read_whole, suffices

GIVE_UP_S = 1.75
"""A note that is still of no use after so long is asked for again at once, rather than when it has died away."""
LOOK_FROM_S = 0.3
LOOK_EVERY_S = 0.15
"""Sound between two running values: often enough for the eye, seldom enough for the processor."""


@dataclass(frozen=True)
class Began:
    """A pluck has begun."""

    start_s: float


@dataclass(frozen=True)
class Measured:
    """The value of the pluck under way."""

    note: NoteReading
    settled: float
    """0 to 1."""


@dataclass(frozen=True)
class Complete:
    """A pluck that has been heard well enough, or has ended; told once."""

    pluck: Pluck
    note: NoteReading
    start_s: float


@dataclass(frozen=True)
class NoPluck:
    """Sound that was set aside, with the reason."""

    reason: str
    start_s: float
    end_s: float


@dataclass(frozen=True)
class Lost:
    """Frames were lost on their way."""


Heard = Began | Measured | Complete | NoPluck | Lost


class Ear:
    """Listens to one source.

    Parameters
    ----------
    sample_rate : float
        Hz, of the source.
    """

    def __init__(self, sample_rate: float) -> None:
        self.sample_rate = sample_rate
        self._segmenter = Segmenter(sample_rate, longest_s=LAST_S + 1.0)
        self._end_frame = 0
        self._open = False
        """A pluck is under way and has not been told yet."""
        self._onset_frame = 0
        self._stretch = 0
        self._next_look_s = LOOK_FROM_S

    @property
    def level_rms(self) -> float:
        """RMS of the last moment, full scale 1."""
        return self._segmenter.level_rms

    @property
    def now_s(self) -> float:
        """How far the source has been heard."""
        return self._end_frame / self.sample_rate

    def push(self, block: Block) -> Iterator[Heard]:
        """Hear the next block."""
        self._end_frame = block.start_frame + len(block.samples)
        for event in self._segmenter.push(replace(block, samples=on_grid(block.samples))):
            yield from self._finished(event)
        if block.lost:
            yield Lost()
        if self._open:
            yield from self._look()

    def finish(self) -> Iterator[Heard]:
        """The source has ended; judge what was under way."""
        for event in self._segmenter.finish():
            yield from self._finished(event)

    def _finished(self, event: Onset | Pluck | SetAside) -> Iterator[Heard]:
        match event:
            case Onset():
                self._open = True
                self._onset_frame = event.start_frame
                self._stretch = 0
                self._next_look_s = LOOK_FROM_S
                yield Began(event.start_frame / self.sample_rate)
            case Pluck() if self._open:
                self._open = False
                part, note = read_take(event)
                yield Complete(part, note, event.start_s)
            case SetAside() if self._open:
                self._open = False
                yield NoPluck(event.reason, event.start_s, event.end_s)

    def _look(self) -> Iterator[Heard]:
        """Read what rings now: in passing while it settles, and for good at each stretch that may suffice."""
        ringing_s = (self._end_frame - self._onset_frame) / self.sample_rate
        if ringing_s >= STRETCHES_S[self._stretch]:
            yield from self._decide()
        elif ringing_s >= self._next_look_s:
            self._next_look_s = ringing_s + LOOK_EVERY_S
            so_far = self._segmenter.so_far(self._end_frame - self._onset_frame)
            if isinstance(so_far, Pluck):
                yield Measured(read_whole(so_far), min(1.0, ringing_s / FIRST_S))

    def _decide(self) -> Iterator[Heard]:
        stretch_s = STRETCHES_S[self._stretch]
        so_far = self._segmenter.so_far(round(stretch_s * self.sample_rate))
        if so_far is None:
            return
        self._stretch += 1
        if isinstance(so_far, SetAside):
            if stretch_s >= GIVE_UP_S:
                self._open = False
                yield NoPluck(so_far.reason, so_far.start_s, so_far.end_s)
            return
        note = read_whole(so_far)
        last = self._stretch == len(STRETCHES_S)
        if suffices(note) or last or (stretch_s >= GIVE_UP_S and not note.usable):
            self._open = False
            yield Complete(so_far, note, so_far.start_s)
        else:
            yield Measured(note, 1.0)
