"""The last stretch of a stream, addressed by frame number.

Conventions: frames are counted from the start of the stream; a tape holds ``[start, end)``.
"""

import numpy as np

from fretcheck.arrays import Reals


class Tape:
    """Appends at one end, forgets at the other; the memory it holds follows what it keeps."""

    def __init__(self, start: int = 0) -> None:
        self._data: Reals = np.empty(4096)
        self._low = 0
        self._high = 0
        self.start = start

    @property
    def end(self) -> int:
        """First frame that is not yet on the tape."""
        return self.start + self._high - self._low

    def append(self, samples: Reals) -> None:
        """Add `samples` of shape ``(frames,)`` at the end."""
        need = self._high + len(samples)
        if need > len(self._data):
            kept = self._high - self._low
            size = max(4096, 2 * (kept + len(samples)))
            data = np.empty(size)
            data[:kept] = self._data[self._low : self._high]
            self._data, self._low, self._high = data, 0, kept
        self._data[self._high : self._high + len(samples)] = samples
        self._high += len(samples)

    def forget_before(self, frame: int) -> None:
        drop = min(max(frame - self.start, 0), self._high - self._low)
        self._low += drop
        self.start += drop

    def view(self, start: int, end: int) -> Reals:
        """Frames ``[start, end)`` as far as they are held; valid until the next append."""
        low = self._low + max(start - self.start, 0)
        high = self._low + min(max(end - self.start, 0), self._high - self._low)
        return self._data[low : max(low, high)]

    def copy(self, start: int, end: int) -> Reals:
        """Like `view`, but the caller's own."""
        return self.view(start, end).copy()
