"""Recordings of necks as built, for tests that go the whole way from sound to verdict."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import soundfile

from fretcheck.neck.description import Neck
from tests.neck_files import write_neck
from tests.synth.recording import PlayedNote, Take, plan_take, record
from tests.synth.strung_neck import BuiltNeck


def write_recordings(
    folder: Path, built: BuiltNeck, played: Mapping[int, Sequence[int]], *, take: Take, seed: int = 1, subtype: str = "PCM_16"
) -> list[PlayedNote]:
    """Write neck.toml and a recording of each string, and return what was truly played.

    Parameters
    ----------
    played : mapping
        String → frets in order of playing, 0 the open string.
    """
    neck: Neck = built.neck
    write_neck(neck, folder / "neck.toml")
    truth: list[PlayedNote] = []
    for string, frets in played.items():
        rng = np.random.default_rng([seed, string])
        notes = plan_take(built, string, frets, rng, take=take)
        sound = record(notes, rng, take=take)
        soundfile.write(folder / f"string-{string}.wav", sound.samples, round(sound.sample_rate), subtype=subtype)
        truth += notes
    return truth


def cents_off(document: dict, truth: Sequence[PlayedNote]) -> list[float]:
    """Error of each pitch in cents; every note must have been found in its place, on its fret, usable and without flags."""
    errors = []
    for note in truth:
        near = [r for r in document["readings"] if r["string"] == note.string and abs(r["start_s"] - note.start_s) < 0.1]
        assert [(r["fret"], r["used"], r["flags"]) for r in near] == [(note.fret, True, [])], note
        errors.append(1200.0 * float(np.log2(near[0]["f1_hz"] / note.f1_hz)))
    assert len(document["readings"]) == len(truth)
    return errors
