"""Whole necks of real sound: one recorded pluck a string, resampled to every fret, so that all intervals are known exactly.

The body's resonances move along with the note and B stays as it is, where a real neck's grows by 2^(k/6): such a neck tests
reading, cutting and placing, not the pull of a body; and B has to be left out of a diagnosis.

Conventions
-----------
Frets lie at the description's expected curve, but for those in `sharper_cents`. Deviations in cents from equal temperament above
the string's own open note. A hand's scatter is not added: what differs from the truth is the program's doing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import soundfile
import soxr

from fretcheck.diagnosis.model.as_designed import expected_cents
from fretcheck.neck.description import Neck
from fretcheck.neck.starts import STARTS
from fretcheck.neck.temperament import cents_between
from tests.neck_files import write_neck
from tests.real.plucks import RealPluck, instrument
from tests.synth.nominal import note_frequency_hz

RATE = 44_100
LONGEST_S, FADE_S = 2.5, 0.03
GAPS_S = (0.15, 0.45)
NOISE_DB = -70.0
LEVELS_DB = (-14.0, -6.0)
STRINGS = {
    # one pluck for each string of the neck, the highest string first: by their names' beginnings
    "steel guitar F": ("Steel E5", "Steel B4", "Steel G4", "Steel D4", "Steel A3", "Steel E3"),
    "steel guitar P": ("6 ", "5 ", "4 ", "3 ", "2 ", "1 "),
    "nylon guitar P": ("7 ", "5 ", "4 ", "3 ", "2 ", "1 "),  # 6, its own e, was cut together 1.1 s into the note
    "clean guitar F": ("Clean F65", "Clean F50", "Clean F40", "Clean F30", "Clean F20", "Clean F10"),
    "archtop guitar P": ("8 ", "7 ", "5 ", "3 ", "2 ", "1 "),
    "distorted guitar F": ("Distortion E20", "Distortion B0", "Distortion G0", "Distortion D0", "Distortion A0", "Distortion E0"),
    "fingered bass F": ("Finger Bass GO", "Finger Bass D1", "Finger Bass A1", "Finger Bass EO"),
    "picked bass F": ("Picked Bass GO", "Picked Bass D1", "Picked Bass A1", "Picked Bass E0"),
}
"""Long enough to ring for 0.4 s at the highest fret, the instrument's own strings where the collection has them."""


@dataclass(frozen=True)
class PlayedPluck:
    """One pluck of the recording."""

    string: int
    fret: int
    start_s: float
    deviation_cents: float


def neck_for(label: str) -> Neck:
    """A ready-made neck of that kind, all strings speaking over 648 mm or a bass's length."""
    start = STARTS["bass-4" if "bass" in label else "guitar-6-nylon" if "nylon" in label else "guitar-6-steel"].neck
    return replace(start, name=label, frets=20)


def plucks_for(label: str) -> list[RealPluck]:
    """The recorded plucks of an instrument's strings, string 1 first."""
    return [next(pluck for pluck in instrument(label) if pluck.name.startswith(name)) for name in STRINGS[label]]


def resampled(sound: np.ndarray, rate: float, ratio: float) -> np.ndarray:
    """A pluck sounding `ratio` times as high, at `RATE`."""
    return np.asarray(soxr.resample(sound[: round(LONGEST_S * ratio * rate) + 1], rate * ratio, RATE, quality="VHQ"))


def write_real_neck(
    folder: Path,
    label: str,
    *,
    seed: int = 1,
    sharper_cents: Mapping[int, float] | None = None,
    open_off_cents: Mapping[int, float] | None = None,
) -> tuple[Neck, list[PlayedPluck]]:
    """Write ``neck.toml`` and ``string-1.wav`` … into a folder; the neck, and every pluck as it was made.

    Parameters
    ----------
    sharper_cents : mapping of int to float, optional
        Frets that stand sharp of the expected curve, on every string.
    open_off_cents : mapping of int to float, optional
        By string: how far it is out of tune.
    """
    neck = neck_for(label)
    rng = np.random.default_rng(seed)
    expected = expected_cents(neck)
    truth: list[PlayedPluck] = []
    for string, pluck in enumerate(plucks_for(label), start=1):
        nominal = note_frequency_hz(neck.string(string).note, reference_hz=neck.reference_hz)
        to_open = cents_between(nominal, pluck.filed_hz) + (open_off_cents or {}).get(string, 0.0)
        pieces = [np.zeros(round(0.6 * RATE))]
        at = len(pieces[0])
        for fret in (0, *range(1, neck.frets + 1), 0):
            off = 0.0 if fret == 0 else float(expected[string - 1, fret]) + (sharper_cents or {}).get(fret, 0.0)
            sound = resampled(pluck.sound, pluck.sample_rate, 2.0 ** ((to_open + 100.0 * fret + off) / 1200.0))
            sound = sound[: round(LONGEST_S * RATE)] * 10 ** (rng.uniform(*LEVELS_DB) / 20) / np.max(np.abs(sound))
            sound[-round(FADE_S * RATE) :] *= np.linspace(1.0, 0.0, round(FADE_S * RATE))
            truth.append(PlayedPluck(string, fret, at / RATE, off))
            pieces += [sound, np.zeros(round(rng.uniform(*GAPS_S) * RATE))]
            at += len(pieces[-1]) + len(pieces[-2])
        whole = np.concatenate([*pieces, np.zeros(RATE // 2)])
        whole += 10 ** (NOISE_DB / 20) * rng.standard_normal(len(whole))
        soundfile.write(folder / f"string-{string}.wav", whole, RATE, subtype="PCM_24")
    write_neck(neck, folder / "neck.toml")
    return neck, truth
