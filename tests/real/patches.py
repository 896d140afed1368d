"""Recorded notes out of a GF1 patch file. The layout is public: a header of 239 bytes, then for each note 96 and its samples."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np

_HEADER, _NOTE = 239, 96


@dataclass(frozen=True)
class PatchNote:
    """One recorded note."""

    name: str
    sample_rate: float
    root_hz: float
    sound: np.ndarray
    """Shape ``(frames,)``, full scale 1."""


def read_patch(path: Path) -> list[PatchNote]:
    """All notes of the patch, at the rates its headers give."""
    data = path.read_bytes()
    if data[:8] != b"GF1PATCH":
        raise ValueError(f"{path} is no patch file")
    count, at, notes = data[_HEADER - 41], _HEADER, []
    for _ in range(count):
        size, _, _, rate = struct.unpack_from("<IIIH", data, at + 8)
        root = struct.unpack_from("<I", data, at + 30)[0]
        modes = data[at + 55]
        kind = {0: "<i1", 1: "<i2", 2: "<u1", 3: "<u2"}[modes & 3]
        full = 2.0 ** (8 * np.dtype(kind).itemsize - 1)
        raw = np.frombuffer(data, dtype=kind, count=size // np.dtype(kind).itemsize, offset=at + _NOTE).astype(float)
        name = data[at : at + 7].split(b"\0")[0].decode("latin1")
        notes.append(PatchNote(name, float(rate), root / 1000.0, (raw - full * bool(modes & 2)) / full))
        at += _NOTE + size
    return notes
