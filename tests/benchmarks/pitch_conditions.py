"""The plucks of the pitch benchmark: every condition makes sounds whose true pitch is known.

Conventions
-----------
A condition's `make` draws one pluck of a given note; all draws come from the generator passed in. Notes are B0 to E6; their
decay times fall with pitch as strings' do (T60 = 4 s·√(110 Hz/f), at most 6 s).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tests.synth import pluck
from tests.synth.pluck import PluckSpec

RATE = 48_000.0
NOTES = (23, 28, 33, 40, 45, 50, 55, 59, 64, 69, 76, 83, 88)
"""MIDI numbers: B0 E1 A1 E2 A2 D3 G3 B3 E4 A4 E5 B5 E6."""
QUICK_NOTES = (23, 40, 55, 64, 88)


@dataclass(frozen=True)
class Sample:
    """One pluck and its truth."""

    sound: np.ndarray
    f1_hz: float
    spec: PluckSpec
    sigma: float
    """RMS of the white noise."""
    seed: int
    """Seed of the clean sound's generator."""


@dataclass(frozen=True)
class Condition:
    """A class of plucks."""

    name: str
    target: str
    make: Callable[[float, int], Sample]
    bounded: bool = False
    """True where the Cramér–Rao bound is that of the very model."""


def conditions() -> list[Condition]:
    """All of them; clean ones first."""
    clean = [
        Condition(f"clean {duration:g} s {snr} dB", "≤ 0.01" if duration >= 1 and snr >= 40 else "–", _clean(duration, snr), True)
        for duration in (0.5, 1.0, 2.0, 3.0)
        for snr in (20, 40, 60)
    ]
    disturbed = [
        Condition("hum 50 Hz −20 dB", "≤ 0.01", _with(disturb=_hum(50.0))),
        Condition("hum 60 Hz −20 dB", "≤ 0.01", _with(disturb=_hum(60.0))),
        Condition("rumble −20 dB", "≤ 0.01", _with(disturb=_rumble)),
        Condition("glide ≤ 8 c", "≤ 0.4", _with(_glide), True),
        Condition("two planes, same split in Hz", "≤ 0.1", _with(_planes(0.0))),
        Condition("two planes, same split in cents", "≤ 0.25", _with(_planes(1.0))),
        Condition("two planes and a glide", "≤ 0.5", _with(lambda rng: _planes(0.0)(rng) | _glide(rng))),
        Condition("body resonances ±1 c", "≤ 0.35", _with(lambda rng: {"body_pull_cents": 1.0})),
        Condition("neighbour string −20 dB", "–", _with(disturb=_neighbour)),
        Condition(
            "clipped at 0.7 of peak",
            "–",
            _with(disturb=lambda sound, f1, rng: pluck.clipped(sound, at_fraction_of_peak=0.7)),
        ),
        Condition(
            "reverberation 0.4 s, −10 dB",
            "–",
            _with(disturb=lambda sound, f1, rng: pluck.reverberated(sound, sample_rate=RATE, rng=rng)),
        ),
        Condition("a workshop: a little of all", "–", _with(_workshop, disturb=_workshop_noise)),
    ]
    return clean + disturbed


def t60_s(f1_hz: float) -> float:
    """Decay time of a string of that pitch."""
    return min(6.0, 4.0 * (110.0 / f1_hz) ** 0.5)


def _draw(f1_hz: float, seed: int, duration_s: float, **more: float) -> tuple[PluckSpec, np.random.Generator]:
    rng = np.random.default_rng(seed)
    cents = rng.uniform(-50.0, 50.0)
    spec = PluckSpec(
        f1_hz=f1_hz * 2.0 ** (cents / 1200.0),
        inharmonicity=float(np.exp(rng.uniform(np.log(1e-5), np.log(3e-4)))),
        t60_s=t60_s(f1_hz),
        duration_s=duration_s,
        partials=40,
        pluck_position=rng.uniform(0.08, 0.3),
        **({"attack_noise_db": -20.0} | more),
    )
    return spec, rng


def _sample(spec: PluckSpec, seed: int, rng: np.random.Generator, snr_db: float, disturb=None) -> Sample:
    sound = pluck.pluck_sound(spec, sample_rate=RATE, rng=np.random.default_rng(seed + 1))
    sigma = pluck.loudness(sound, sample_rate=RATE) * 10.0 ** (-snr_db / 20.0)
    sound = sound + sigma * pluck.white_noise(len(sound), rng=rng)
    if disturb is not None:
        sound = disturb(sound, spec.f1_hz, rng)
    return Sample(sound, spec.f1_hz, spec, sigma, seed + 1)


def _clean(duration_s: float, snr_db: float) -> Callable[[float, int], Sample]:
    def make(f1_hz: float, seed: int) -> Sample:
        spec, rng = _draw(f1_hz, seed, duration_s, attack_noise_db=None)
        return _sample(spec, seed, rng, snr_db)

    return make


def _with(shape=None, disturb=None) -> Callable[[float, int], Sample]:
    def make(f1_hz: float, seed: int) -> Sample:
        more = {} if shape is None else shape(np.random.default_rng(seed + 2))
        spec, rng = _draw(f1_hz, seed, 1.5, **more)
        return _sample(spec, seed, rng, 60.0, disturb)

    return make


def _glide(rng: np.random.Generator) -> dict[str, float]:
    """The stretch follows the square of the swing: the pitch falls in half the time in which the amplitude does."""
    return {"glide_cents": rng.uniform(1.0, 8.0)}


def _planes(growth: float):
    return lambda rng: {
        "split_hz": rng.uniform(0.05, 0.3),
        "second_plane_db": rng.uniform(-12.0, -6.0),
        "split_growth": growth,
    }


def _workshop(rng: np.random.Generator) -> dict[str, float]:
    return {
        "glide_cents": rng.uniform(1.0, 5.0),
        "split_hz": rng.uniform(0.05, 0.3),
        "second_plane_db": rng.uniform(-18.0, -10.0),
        "body_pull_cents": 0.3,
    }


def _workshop_noise(sound, f1_hz, rng):
    room = pluck.pink_noise(len(sound), sample_rate=RATE, rng=rng)
    mixed = pluck.added(_hum(50.0)(sound, f1_hz, rng, -40.0), room, relative_db=-40.0, sample_rate=RATE)
    return pluck.added(mixed, pluck.rumble(len(sound), sample_rate=RATE, rng=rng), relative_db=-30.0, sample_rate=RATE)


def _hum(mains_hz: float):
    def disturb(sound, f1_hz, rng, relative_db=-20.0):
        noise = pluck.hum(len(sound), sample_rate=RATE, rng=rng, mains_hz=mains_hz * rng.uniform(0.999, 1.001))
        return pluck.added(sound, noise, relative_db=relative_db, sample_rate=RATE)

    return disturb


def _rumble(sound, f1_hz, rng):
    return pluck.added(sound, pluck.rumble(len(sound), sample_rate=RATE, rng=rng), relative_db=-20.0, sample_rate=RATE)


def _neighbour(sound, f1_hz, rng):
    semitones = rng.choice([-12, -9, -5, -4, 4, 5, 9, 12])
    other = float(np.clip(f1_hz * 2.0 ** ((semitones + rng.uniform(-0.3, 0.3)) / 12.0), 31.0, 1300.0))
    spec = PluckSpec(f1_hz=other, duration_s=1.5, t60_s=t60_s(other), partials=40)
    return pluck.added(sound, pluck.pluck_sound(spec, sample_rate=RATE, rng=rng), relative_db=-20.0, sample_rate=RATE)
