"""Reads the recorded notes of a patch file of the Debian package freepats (GPL-2+ with exception; nothing of it is kept here).

The layout of such files is public: a header of 239 bytes, then for each note 96 bytes and its samples.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np

FOLDER = Path("/usr/share/midi/freepats/Tone_000")
_HEADER, _NOTE = 239, 96


@dataclass(frozen=True)
class PatchNote:
    """One recorded note at its own rate."""

    samples: np.ndarray
    sample_rate: float
    root_hz: float


def read_patch(path: Path) -> list[PatchNote]:
    """All notes of the patch."""
    data = path.read_bytes()
    if data[:8] != b"GF1PATCH":
        raise ValueError(f"{path} is no patch file")
    count, at, notes = data[_HEADER - 41], _HEADER, []
    for _ in range(count):
        size, _, _, rate = struct.unpack_from("<IIIH", data, at + 8)
        root = struct.unpack_from("<I", data, at + 30)[0]
        modes = data[at + 55]
        kind = {0: "<i1", 1: "<i2", 2: "<u1", 3: "<u2"}[modes & 3]
        raw = np.frombuffer(data, dtype=kind, count=size // np.dtype(kind).itemsize, offset=at + _NOTE).astype(float)
        if modes & 2:
            raw -= 2.0 ** (8 * np.dtype(kind).itemsize - 1)
        notes.append(PatchNote(raw / 2.0 ** (8 * np.dtype(kind).itemsize - 1), float(rate), root / 1000.0))
        at += _NOTE + size
    return notes
