"""Streams with a known list of plucks, and the disturbances of a workshop, for the tests and benchmarks of `audio`.

Conventions
-----------
Times are seconds from the start of the stream; levels are peaks, full scale 1, unless called dB.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.signal

from fretcheck.audio.input.source import Block
from fretcheck.audio.segment.pluck import Pluck, SetAside
from fretcheck.audio.segment.segmenter import Segmenter
from tests.synth.pluck import PluckSpec, hum, pink_noise, pluck_sound


@dataclass(frozen=True)
class Stream:
    """Samples and the times at which plucks truly begin."""

    samples: np.ndarray
    sample_rate: float
    onsets_s: tuple[float, ...]
    f1_hz: tuple[float, ...]


def string_stream(
    rng,
    *,
    sample_rate=24_000.0,
    f1_hz=(110.0, 116.5, 123.5, 130.8),
    levels_db=(0.0, -20.0, 0.0, -20.0),
    gap_s=1.5,
    lead_s=0.7,
    peak=0.3,
    damped=True,
    noise_db=-60.0,
    hum_db=None,
    mains_hz=50.0,
    **spec,
):
    """A string plucked at each pitch in turn; `damped`: the new pluck ends the old note, else the old one rings on.

    `noise_db` and `hum_db` are RMS against `peak`.
    """
    total = lead_s + gap_s * len(f1_hz) + 1.0
    samples = np.zeros(round(total * sample_rate))
    onsets = []
    for index, frequency in enumerate(f1_hz):
        begin = lead_s + index * gap_s + rng.uniform(-0.05, 0.05)
        start = round(begin * sample_rate)
        level = peak * 10 ** (levels_db[index % len(levels_db)] / 20)
        last = index == len(f1_hz) - 1
        if damped and start:
            fade = round(0.015 * sample_rate)
            samples[start - fade : start] *= np.linspace(1.0, 0.0, fade)
            samples[start:] = 0.0
        sound = pluck_sound(
            PluckSpec(
                f1_hz=frequency,
                level=level,
                duration_s=min(len(samples) - start, round((gap_s + 0.2) * sample_rate) if damped and not last else len(samples))
                / sample_rate,
                **{"inharmonicity": 1e-4, "attack_noise_db": -20.0, "t60_s": 4.0} | spec,
            ),
            sample_rate=sample_rate,
            rng=rng,
        )
        if last:
            stop = round(gap_s * sample_rate)
            sound[stop:] *= np.exp(-np.arange(len(sound) - stop) / (0.01 * sample_rate))
        samples[start : start + len(sound)] += sound[: len(samples) - start]
        onsets.append(start / sample_rate)
    samples += peak * 10 ** (noise_db / 20) * pink_noise(len(samples), sample_rate=sample_rate, rng=rng)
    if hum_db is not None:
        samples += peak * 10 ** (hum_db / 20) * hum(len(samples), sample_rate=sample_rate, rng=rng, mains_hz=mains_hz)
    return Stream(samples, sample_rate, tuple(onsets), tuple(f1_hz))


def voice(rng, *, seconds, sample_rate, f0_hz=120.0, level=0.1):
    """Syllables of a speaking voice: pulses of wandering pitch through three formants, 3 to 5 syllables a second."""
    count = round(seconds * sample_rate)
    time = np.arange(count) / sample_rate
    slow = np.interp(time, np.arange(0.0, seconds + 0.2, 0.1), rng.normal(0.0, 0.08, len(np.arange(0.0, seconds + 0.2, 0.1))))
    phase = np.cumsum(f0_hz * 2.0**slow) / sample_rate
    sound = np.diff(np.floor(phase), prepend=0.0) + 0.01 * rng.standard_normal(count)
    for centre, width in ((600 * 2 ** rng.uniform(-0.5, 0.5), 90), (1300, 110), (2500, 160)):
        radius = np.exp(-np.pi * width / sample_rate)
        sound = scipy.signal.lfilter([1.0], [1.0, -2 * radius * np.cos(2 * np.pi * centre / sample_rate), radius**2], sound)
    sound = scipy.signal.lfilter([1.0], [1.0, -np.exp(-2 * np.pi * 100 / sample_rate)], sound)
    syllables = np.clip(np.sin(2 * np.pi * (rng.uniform(3.0, 5.0) * time + rng.uniform())), 0.0, 1.0) ** 0.7
    sound *= syllables
    return level * sound / np.max(np.abs(sound))


def door_slam(rng, *, sample_rate, level=0.3):
    """A thud: noise below 400 Hz and a panel's modes, gone in a third of a second."""
    time = np.arange(round(0.5 * sample_rate)) / sample_rate
    thud = scipy.signal.lfilter(*scipy.signal.butter(2, 400.0, fs=sample_rate), rng.standard_normal(len(time)))
    sound = thud / np.max(np.abs(thud)) * np.exp(-time / 0.03)
    for mode in (72.0, 113.0, 171.0):
        sound += 0.4 * np.exp(-time / 0.05) * np.sin(2 * np.pi * mode * time)
    return level * sound / np.max(np.abs(sound))


def squeak(rng, *, sample_rate, level=0.03, seconds=0.12):
    """A fingertip along a wound string: a narrow band that slides, with a soft beginning."""
    time = np.arange(round(seconds * sample_rate)) / sample_rate
    pitch = np.linspace(1_800.0, 2_900.0, len(time)) * (1 + 0.01 * rng.standard_normal(len(time)))
    sound = np.sin(2 * np.pi * np.cumsum(pitch) / sample_rate) + 0.3 * rng.standard_normal(len(time))
    return level * sound * np.sin(np.pi * time / seconds) ** 2


def mix(samples, addition, *, at_s, sample_rate):
    """Add `addition` to `samples` in place, at `at_s`."""
    start = round(at_s * sample_rate)
    end = min(len(samples), start + len(addition))
    samples[start:end] += addition[: end - start]


def blocks_of(samples, size, *, start=0):
    """`samples` cut into blocks of `size` frames (the last shorter)."""
    for low in range(0, len(samples), size):
        yield Block(samples=samples[low : low + size], start_frame=start + low)


def segment(samples, sample_rate, *, block=1024, **options):
    """All events of `samples`."""
    segmenter = Segmenter(sample_rate, **options)
    events = [event for item in blocks_of(samples, block) for event in segmenter.push(item)]
    return events + segmenter.finish()


def plucks_in(events):
    return [event for event in events if isinstance(event, Pluck)]


def set_aside_in(events):
    return [event for event in events if isinstance(event, SetAside)]


def matched(stream, plucks, *, within_s=0.03):
    """(found, missed, extra) against the true onsets."""
    starts = [pluck.start_s for pluck in plucks]
    found = sum(any(abs(start - true) <= within_s for start in starts) for true in stream.onsets_s)
    extra = sum(all(abs(start - true) > within_s for true in stream.onsets_s) for start in starts)
    return found, len(stream.onsets_s) - found, extra
