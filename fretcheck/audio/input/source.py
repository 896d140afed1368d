"""Where sound comes from: a file or a microphone, behind one interface.

Conventions: reals are float64, full scale ±1, one channel, shape ``(frames,)``, at the source's own sample rate; nothing that
is measured is ever resampled. Time is counted in frames from the start of the source, never by a wall clock.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol, Self

from fretcheck.arrays import Reals


@dataclass(frozen=True)
class Block:
    """A run of consecutive frames."""

    samples: Reals
    start_frame: int
    lost: bool = False  # True when frames were lost just before this block: what was ringing then is not to be measured


class AudioSource(Protocol):
    """An ordered stream of blocks; a context manager that releases its file or device."""

    name: str
    sample_rate: float

    def blocks(self) -> Iterator[Block]:
        """Yield blocks until the source ends (a file) or is closed (a microphone)."""
        ...

    def close(self) -> None: ...

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
