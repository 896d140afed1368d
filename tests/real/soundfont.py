"""Recorded notes out of an SF2 file, with the key and the fine tuning that its instruments give them.

The layout is the public standard's: SoundFont Technical Specification 2.01, sections 4–8 (chunks `smpl`, `inst`, `ibag`, `igen`,
`shdr`; generators 51, 52 coarse and fine tuning, 53 sample, 58 root key). From memory, checked against the files read here.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np

_COARSE, _FINE, _SAMPLE, _ROOT = 51, 52, 53, 58
_RIGHT = 2
"""Sample type of the right half of a stereo pair."""


@dataclass(frozen=True)
class FontNote:
    """One recorded note of one instrument."""

    instrument: str
    name: str
    """As the sample is called."""
    key: int
    """MIDI number of the note it is filed as."""
    filed_hz: float
    """What the recording sounds at, if the instrument's tuning of it is right."""
    sample_rate: float
    sound: np.ndarray
    """Shape ``(frames,)``, full scale 1."""


def _chunks(data: bytes, start: int, end: int) -> dict[bytes, memoryview]:
    """Chunks by name, those inside lists included."""
    found: dict[bytes, memoryview] = {}
    while start < end:
        name, size = data[start : start + 4], struct.unpack_from("<I", data, start + 4)[0]
        inside = start + 8
        if name in (b"RIFF", b"LIST"):
            found |= _chunks(data, inside + 4, inside + size)
        else:
            found[name] = memoryview(data)[inside : inside + size]
        start = inside + size + size % 2
    return found


def _text(raw: bytes) -> str:
    return raw.split(b"\0")[0].decode("latin1").strip()


@cache
def read_font(path: Path) -> tuple[FontNote, ...]:
    """Every note of every instrument in the file, once each; of stereo pairs the left half."""
    data = path.read_bytes()
    if data[:4] != b"RIFF" or data[8:12] != b"sfbk":
        raise ValueError(f"{path} is no SF2 file")
    chunk = _chunks(data, 0, len(data))
    instruments = list(struct.iter_unpack("<20sH", chunk[b"inst"]))
    bags = [first for first, _ in struct.iter_unpack("<HH", chunk[b"ibag"])]
    generators = list(struct.iter_unpack("<Hh", chunk[b"igen"]))
    headers = list(struct.iter_unpack("<20sIIIIIBbHH", chunk[b"shdr"]))
    notes: dict[tuple[str, int], FontNote] = {}
    for (raw, first), (_, last) in pairwise(instruments):
        for zone in range(first, last):
            settings = dict(generators[bags[zone] : bags[zone + 1]])
            which = settings.get(_SAMPLE)
            if which is None or (_text(raw), which) in notes:
                continue
            name, start, end, _, _, rate, key, correction, _, kind = headers[which]
            if kind & _RIGHT:
                continue
            root = settings.get(_ROOT, -1)
            key = key if root < 0 else root
            # the tuning is what must be added for the note to sound right, so the recording is off by as much the other way
            off = correction + settings.get(_FINE, 0) + 100 * settings.get(_COARSE, 0)
            sound = np.frombuffer(chunk[b"smpl"], "<i2", count=end - start, offset=2 * start) / 32768.0
            filed = 440.0 * 2.0 ** ((key - 69) / 12.0 - off / 1200.0)
            notes[_text(raw), which] = FontNote(_text(raw), _text(name), key, filed, float(rate), sound)
    return tuple(notes.values())
