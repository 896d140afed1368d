"""Recordings of invented strings for the tests, made from the pluck synthesis."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from tests.synth.pluck import PluckSpec, pluck_sound

RATE = 44100
NOTES = {1: "E4", 2: "B3", 3: "G3"}
OPEN_HZ = {1: 329.6276, 2: 246.9417, 3: 195.9977}  # equal temperament, A4 = 440 Hz, CALC
FRETS = 3
ROOM_RMS = 3e-5

NECK_TOML = """\
name = "Three-string test neck"
serial = "T-3"
scale_length_mm = 600.0
frets = 3
tolerance_cents = 3.0

[[strings]]
note = "E4"
gauge_mm = 0.254
construction = "plain"
material = "steel"

[[strings]]
note = "B3"
gauge_mm = 0.330
construction = "plain"
material = "steel"

[[strings]]
note = "G3"
gauge_mm = 0.432
construction = "plain"
material = "steel"
"""


def string_sound(
    open_hz: float,
    frets: Sequence[int],
    *,
    seed: int = 1,
    rate: int = RATE,
    cents: Sequence[float] | None = None,
    level: float = 0.4,
) -> NDArray[np.float64]:
    """One string plucked at `frets` in order, 1.6 s each, after 0.4 s of a quiet room."""
    rng = np.random.default_rng(seed)
    gap = np.zeros(int(0.15 * rate))
    parts = [np.zeros(int(0.4 * rate))]
    for fret, off in zip(frets, cents or [0.0] * len(frets), strict=True):
        spec = PluckSpec(
            f1_hz=open_hz * 2 ** ((100 * fret + off) / 1200),
            inharmonicity=3e-5 * 2 ** (fret / 6),
            level=level,
            duration_s=1.6,
            t60_s=3.0,
            stop_s=1.5,
        )
        parts += [pluck_sound(spec, sample_rate=rate, rng=rng), gap]
    sound = np.concatenate(parts)
    return sound + ROOM_RMS * rng.standard_normal(sound.size)


def write_strings(folder: Path, *, suffix: str = "wav", frets: Sequence[int] = (0, 1, 2, 3, 0)) -> Path:
    """Three strings' recordings and their neck.toml."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "neck.toml").write_text(NECK_TOML, encoding="utf-8")
    for number, hz in OPEN_HZ.items():
        write(folder / f"string-{number}.{suffix}", string_sound(hz, frets, seed=number))
    return folder


def write(path: Path, sound: NDArray[np.float64], *, rate: int = RATE, subtype: str | None = None) -> None:
    """Write a sound file."""
    soundfile.write(path, sound, rate, subtype=subtype)
