"""The sound of one plucked string, and what a room adds to it.

Partials of a stiff string, f_n = n·f0·√(1+B·n²) (H. Fletcher, J. Acoust. Soc. Am. 36, 203, 1964), each decaying on its own,
with the pitch settling from its stretched start, f(t) = f·2^(g·exp(−t/τ)/1200); the phase is that frequency's exact integral.

Conventions
-----------
`f1_hz` is partial 1 of the settled string, f1 = f0·√(1+B): what a measurement is to return. Sound is float64, shape
``(frames,)``, full scale 1, index 0 is the onset. Levels of disturbances are given in dB against the RMS of the sound's
first quarter second, where a note is loudest. Randomness comes from the generator passed in, and from nowhere else.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import log

import numpy as np
from numpy.typing import NDArray

Sound = NDArray[np.float64]

_DECAY_PER_T60 = log(1000.0)  # amplitude falls by 60 dB in T60
_LOUDEST_S = 0.25
_CACHED = 8192  # Frames whose numbers stay near the processor: 25 ms of a pluck of two seconds in place of 39
_HAND_T60_S = 0.06


@dataclass(frozen=True, kw_only=True)
class PluckSpec:
    """Everything that shapes one pluck."""

    f1_hz: float
    """Partial 1 of the settled string."""
    inharmonicity: float = 1e-4
    level: float = 0.3
    """Peak of the sound, full scale 1."""
    duration_s: float = 2.0
    t60_s: float = 4.0
    """Time in which partial 1 falls by 60 dB."""
    decay_growth: float = 0.2
    """Decay rate of partial n is (1 + decay_growth·(n−1)) times that of partial 1."""
    partials: int = 24
    """At most this many; those above 0.45 of the sample rate are left out."""
    pluck_position: float = 0.17
    """Where the string is plucked, as a fraction of its speaking length."""
    pickup_position: float | None = None
    """Where a pickup listens, as a fraction from the bridge; None for a microphone, which hears all partials."""
    glide_cents: float = 0.0
    """How much sharper the note begins than it settles."""
    glide_tau_s: float | None = None
    """Time constant of the glide; None for half of partial 1's, as tension follows the square of the amplitude."""
    split_hz: float = 0.0
    """How far above the first the second plane of vibration sounds, at partial 1."""
    split_growth: float = 0.0
    """The split of partial n is split_hz·n^split_growth: 0 for the same in Hz, 1 for the same in cents."""
    second_plane_db: float | None = None
    """Level of the second plane against the first; None where the string moves in one plane only."""
    body_pull_cents: float = 0.0
    """Partials are displaced by up to this much, each on its own, as resonances of the body do."""
    attack_noise_db: float | None = None
    """Level of the plectrum's click, dB against `level`; None for none."""
    fundamental_db: float = 0.0
    """Extra level of partial 1; −inf leaves it out."""
    stop_s: float | None = None
    """When the hand damps the string."""

    @property
    def f0_hz(self) -> float:
        """Frequency the string would have without stiffness."""
        return self.f1_hz / float(np.sqrt(1.0 + self.inharmonicity))

    @property
    def tau_s(self) -> float:
        """Time constant of the glide."""
        return self.t60_s / _DECAY_PER_T60 / 2.0 if self.glide_tau_s is None else self.glide_tau_s


@dataclass(frozen=True, kw_only=True)
class Mode:
    """One decaying partial, amplitude·exp(−decay·t)·cos(2π·frequency·warped time + phase)."""

    number: int
    frequency_hz: float
    decay_per_s: float
    amplitude: float
    phase: float


def modes(spec: PluckSpec, *, sample_rate: float, rng: np.random.Generator) -> list[Mode]:
    """The partials of a pluck before its peak is set to `spec.level`; two modes a partial where two planes sound."""
    made: list[Mode] = []
    for number in range(1, spec.partials + 1):
        frequency = number * spec.f0_hz * float(np.sqrt(1.0 + spec.inharmonicity * number**2))
        if frequency >= 0.45 * sample_rate:
            break
        frequency *= 2.0 ** (rng.uniform(-1.0, 1.0) * spec.body_pull_cents / 1200.0)
        amplitude = abs(np.sin(np.pi * number * spec.pluck_position)) / number
        if spec.pickup_position is not None:
            amplitude *= abs(np.sin(np.pi * number * spec.pickup_position))
        if number == 1:
            amplitude *= 10.0 ** (spec.fundamental_db / 20.0)
        decay = _DECAY_PER_T60 / spec.t60_s * (1.0 + spec.decay_growth * (number - 1))
        phases = rng.uniform(0.0, 2.0 * np.pi, 2)
        made.append(Mode(number=number, frequency_hz=frequency, decay_per_s=decay, amplitude=amplitude, phase=phases[0]))
        if spec.second_plane_db is not None:
            made.append(
                Mode(
                    number=number,
                    frequency_hz=frequency + spec.split_hz * number**spec.split_growth,
                    decay_per_s=decay,
                    amplitude=amplitude * 10.0 ** (spec.second_plane_db / 20.0),
                    phase=phases[1],
                )
            )
    return made


def warped_time(time_s: Sound, *, glide_cents: float, tau_s: float) -> Sound:
    """Integral of 2^(g·exp(−t/τ)/1200) over time from 0 to `time_s`, by its power series in g: exact to rounding."""
    warped = time_s.copy()
    if glide_cents == 0.0:
        return warped
    order, factor = 1, glide_cents * log(2.0) / 1200.0
    while abs(factor) > 1e-18:
        warped -= factor * tau_s / order * np.expm1(-order * time_s / tau_s)
        order += 1
        factor *= glide_cents * log(2.0) / 1200.0 / order
    return warped


def pluck_sound(spec: PluckSpec, *, sample_rate: float, rng: np.random.Generator) -> Sound:
    """The pluck as it would be recorded, without the room.

    Parameters
    ----------
    spec : PluckSpec
    sample_rate : float
        Hz.
    rng : numpy.random.Generator
        Draws the phases, the pulls of the body and the click.

    Returns
    -------
    ndarray, shape (frames,)
        Peak at `spec.level`.
    """
    time = np.arange(round(spec.duration_s * sample_rate)) / sample_rate
    warped = warped_time(time, glide_cents=spec.glide_cents, tau_s=spec.tau_s)
    made = modes(spec, sample_rate=sample_rate, rng=rng)
    if spec.glide_cents == 0.0:
        sound = _steady(made, len(time), sample_rate=sample_rate)
    else:
        sound = np.zeros_like(time)
        for first in range(0, len(time), _CACHED):
            part = slice(first, first + _CACHED)
            for mode in made:
                # single precision leaves errors 140 dB down and takes a quarter of the time; whole turns are taken off before it
                turns = mode.frequency_hz * warped[part] + mode.phase / (2.0 * np.pi)
                turns -= np.rint(turns)
                fallen = np.exp((-mode.decay_per_s * time[part]).astype(np.float32))
                sound[part] += mode.amplitude * (fallen * np.cos((2.0 * np.pi * turns).astype(np.float32)))
    rise = time < 0.002
    sound[rise] *= np.sin(np.pi / 2.0 * time[rise] / 0.002) ** 2
    peak = float(np.max(np.abs(sound), initial=0.0))
    if peak > 0.0:
        sound *= spec.level / peak
    if spec.attack_noise_db is not None:
        click = rng.standard_normal(len(time)) * np.exp(-time / 0.006)
        sound += spec.level * 10.0 ** (spec.attack_noise_db / 20.0) * click / 3.0
    if spec.stop_s is not None:
        sound *= np.exp(-_DECAY_PER_T60 / _HAND_T60_S * np.maximum(time - spec.stop_s, 0.0))
    return sound


def _steady(made: list[Mode], frames: int, *, sample_rate: float) -> Sound:
    """The sum of modes that keep their frequencies: each a power, of which one product of matrices makes blocks out of few."""
    block = 256
    rate = np.array([complex(-mode.decay_per_s, 2.0 * np.pi * mode.frequency_hz) / sample_rate for mode in made])
    start = np.array([complex(np.log(mode.amplitude), mode.phase) if mode.amplitude else complex(-np.inf, 0.0) for mode in made])
    blocks = np.exp(start + np.arange(0, frames, block)[:, None] * rate)
    inner = np.exp(rate[:, None] * np.arange(block))
    return (blocks.real @ inner.real - blocks.imag @ inner.imag).ravel()[:frames]


def loudness(sound: Sound, *, sample_rate: float) -> float:
    """RMS of the first quarter second: the reference for the levels of everything below."""
    return float(np.sqrt(np.mean(sound[: round(_LOUDEST_S * sample_rate)] ** 2)))


def hum(frames: int, *, sample_rate: float, rng: np.random.Generator, mains_hz: float = 50.0, harmonics: int = 10) -> Sound:
    """Mains hum with its harmonics, RMS 1: harmonic h at 1/h, the even ones 12 dB weaker still."""
    time = np.arange(frames) / sample_rate
    sound = np.zeros(frames)
    for harmonic in range(1, harmonics + 1):
        amplitude = 1.0 / harmonic * (1.0 if harmonic % 2 else 0.25)
        sound += amplitude * np.cos(2.0 * np.pi * mains_hz * harmonic * time + rng.uniform(0.0, 2.0 * np.pi))
    return _unit(sound)


def rumble(frames: int, *, sample_rate: float, rng: np.random.Generator, corner_hz: float = 20.0) -> Sound:
    """Noise of footsteps, traffic and handling, RMS 1: white up to the corner, 24 dB an octave down above it."""
    return _shaped_noise(frames, sample_rate, rng, lambda frequency: 1.0 / (1.0 + (frequency / corner_hz) ** 4))


def white_noise(frames: int, *, rng: np.random.Generator) -> Sound:
    """White noise, RMS 1."""
    return rng.standard_normal(frames)


def pink_noise(frames: int, *, sample_rate: float, rng: np.random.Generator) -> Sound:
    """Noise of equal power an octave above 20 Hz, RMS 1."""
    return _shaped_noise(frames, sample_rate, rng, lambda frequency: 1.0 / np.sqrt(np.maximum(frequency, 20.0)))


def added(sound: Sound, disturbance: Sound, *, relative_db: float, sample_rate: float) -> Sound:
    """`sound` with a disturbance, whose RMS is first set to `relative_db` against the sound's loudness.

    The disturbance may be another pluck: its own loudness is what is set. It is cut, or padded with silence, to fit.
    """
    level = loudness(disturbance, sample_rate=sample_rate)
    if level == 0.0:
        return sound.copy()
    factor = loudness(sound, sample_rate=sample_rate) / level * 10.0 ** (relative_db / 20.0)
    mixed = sound.copy()
    shared = min(len(sound), len(disturbance))
    mixed[:shared] += factor * disturbance[:shared]
    return mixed


def reverberated(
    sound: Sound, *, sample_rate: float, rng: np.random.Generator, t60_s: float = 0.4, relative_db: float = -10.0
) -> Sound:
    """`sound` in a room: the direct sound, and a tail of exponentially decaying noise `relative_db` as strong in energy."""
    time = np.arange(round(t60_s * sample_rate)) / sample_rate
    tail = rng.standard_normal(len(time)) * np.exp(-_DECAY_PER_T60 / t60_s * time)
    response = tail * 10.0 ** (relative_db / 20.0) / np.sqrt(np.sum(tail**2))
    response[0] += 1.0
    length = len(sound) + len(response) - 1
    return np.fft.irfft(np.fft.rfft(sound, length) * np.fft.rfft(response, length), length)[: len(sound)]


def clipped(sound: Sound, *, at_fraction_of_peak: float) -> Sound:
    """`sound` cut off at a fraction of its own peak, as an overdriven input does."""
    limit = at_fraction_of_peak * float(np.max(np.abs(sound)))
    return np.clip(sound, -limit, limit)


def _unit(sound: Sound) -> Sound:
    rms = float(np.sqrt(np.mean(sound**2))) if len(sound) else 0.0
    return sound / rms if rms > 0.0 else sound


def _shaped_noise(frames: int, sample_rate: float, rng: np.random.Generator, gain: Callable[[Sound], Sound]) -> Sound:
    spectrum = np.fft.rfft(rng.standard_normal(frames)) * gain(np.fft.rfftfreq(frames, 1.0 / sample_rate).astype(np.float64))
    return _unit(np.fft.irfft(spectrum, frames))
