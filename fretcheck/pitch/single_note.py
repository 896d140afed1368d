"""One note for a program of one's own: samples in, reading out."""

import numpy as np
from numpy.typing import ArrayLike

from fretcheck.pitch.reader import read_pluck
from fretcheck.pitch.reading import NoteReading


def read_note(samples: ArrayLike, rate: float, *, hint_hz: float | None = None) -> NoteReading:
    """Read the pitch of one pluck: partial 1 of the settled string, with its uncertainty.

    Parameters
    ----------
    samples : array_like, shape (frames,)
        From the onset on, mono, full scale 1; at most the first 1.5 s are read.
    rate : float
        Hz.
    hint_hz : float, optional
        The note that is expected; it settles near ties and forces nothing.

    Raises
    ------
    UsageError
        When the samples are no mono sound, or the rate is too low.

    Examples
    --------
    Ten partials of a string of 220 Hz, stiffness 1e-4, that ring for a second and a half:

    >>> import numpy as np
    >>> time, n = np.arange(72000) / 48000, np.arange(1, 11)[:, None]
    >>> partials = np.exp(-3 * time) / n * np.sin(2 * np.pi * 220 * n * np.sqrt(1 + 1e-4 * n**2) * time)
    >>> note = read_note(0.1 * partials.sum(axis=0), 48000)
    >>> round(note.f1_hz, 2), note.usable
    (220.01, True)
    """
    return read_pluck(np.asarray(samples, dtype=float), rate, hint_hz=hint_hz)
