"""Recorded plucks out of a GF1 patch file (the layout of its headers: public format, MEMORY)."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np


@dataclass(frozen=True)
class PatchSample:
    """One recorded note."""

    name: str
    sample_rate: float
    root_hz: float
    sound: np.ndarray


def read_patch(path: Path) -> list[PatchSample]:
    """All samples of the first layer, 16-bit, full scale 1."""
    data = path.read_bytes()
    assert data[:8] == b"GF1PATCH"
    count = data[129 + 63 + 6]
    at, found = 129 + 63 + 47, []
    for _ in range(count):
        header = data[at : at + 96]
        size = struct.unpack_from("<I", header, 8)[0]
        rate = struct.unpack_from("<H", header, 20)[0]
        root = struct.unpack_from("<I", header, 30)[0]
        modes = header[55]
        assert modes & 1, "8-bit samples are not expected"
        raw = np.frombuffer(data[at + 96 : at + 96 + size], "<u2" if modes & 2 else "<i2").astype(float)
        sound = (raw - 32768.0 * bool(modes & 2)) / 32768.0
        found.append(PatchSample(header[:7].split(b"\0")[0].decode("latin1"), float(rate), root / 1000.0, sound))
        at += 96 + size
    return found
