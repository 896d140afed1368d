"""The coarse pitch is never an octave or a partial off, on sums of sinusoids made here."""

from __future__ import annotations

import zlib

import numpy as np
import pytest

from fretcheck.pitch.coarse import coarse_pitch
from fretcheck.pitch.partials.band import Band
from tests.benchmarks.pitch_conditions import RATE as SAMPLE_RATE
from tests.benchmarks.pitch_conditions import conditions
from tests.synth.pluck import added, hum, pink_noise, rumble

RATE = 44_100.0
NOTES = range(23, 89, 3)
"""MIDI numbers, B0 30.9 Hz to E6 1319 Hz."""


def string_sound(f1_hz, *, seed, weak_fundamental=False, inharmonicity=1e-4):
    """Decaying partials by their formula (Fletcher 1964, MEMORY), independent of the package's own synthesis."""
    rng = np.random.default_rng(seed)
    time = np.arange(round(0.8 * RATE)) / RATE
    at = rng.uniform(0.08, 0.45)
    sound = np.zeros_like(time)
    for n in range(1, 33):
        frequency = n * f1_hz * np.sqrt((1 + inharmonicity * n * n) / (1 + inharmonicity))
        if frequency > 0.4 * RATE:
            break
        size = abs(np.sin(np.pi * n * at)) / n * (0.01 if weak_fundamental and n == 1 else 1.0)
        decay = (1.7 + f1_hz / 200.0) * (1 + 0.2 * (n - 1))
        sound += size * np.exp(-decay * time) * np.cos(2 * np.pi * frequency * time + rng.uniform(0, 7))
    return sound + 1e-3 * np.max(np.abs(sound)) * rng.standard_normal(len(time))


def with_neighbour(sound, f1_hz, seed):
    other = f1_hz * 2 ** (np.random.default_rng(seed).choice([-12, -7, -5, 4, 5, 7]) / 12)
    return added(sound, string_sound(other, seed=seed + 1), relative_db=-20.0, sample_rate=RATE)


def with_noise(make):
    def disturbed(sound, f1_hz, seed):
        noise = make(len(sound), sample_rate=RATE, rng=np.random.default_rng(seed))
        return added(sound, noise, relative_db=-20.0, sample_rate=RATE)

    return disturbed


def hum_of(mains_hz):
    return with_noise(lambda frames, *, sample_rate, rng: hum(frames, sample_rate=sample_rate, rng=rng, mains_hz=mains_hz))


DISTURBANCES = {
    "none": lambda sound, f1_hz, seed: sound,
    "hum 50": hum_of(50.0),
    "hum 60": hum_of(60.0),
    "rumble": with_noise(rumble),
    "pink noise": with_noise(pink_noise),
    "neighbour": with_neighbour,
}


@pytest.mark.parametrize("weak_fundamental", [False, True])
@pytest.mark.parametrize("disturbance", DISTURBANCES)
def test_the_right_note(disturbance, weak_fundamental):
    """Within 30 cents: enough to tell a note, an octave or a partial; the fit does the rest."""
    wrong = []
    for midi in NOTES:
        for inharmonicity in (1e-5, 2e-4):
            f1_hz = 440.0 * 2 ** ((midi - 69) / 12)
            sound = string_sound(f1_hz, seed=midi, weak_fundamental=weak_fundamental, inharmonicity=inharmonicity)
            coarse = coarse_pitch(Band(DISTURBANCES[disturbance](sound, f1_hz, midi), RATE), start_s=0.01)
            if coarse is None or abs(1200 * np.log2(coarse.f1_hz / f1_hz)) > 30.0:
                wrong.append((midi, inharmonicity, None if coarse is None else coarse.f1_hz / f1_hz))
    assert wrong == []


def test_two_partials_suffice_for_a_high_note_at_a_low_rate():
    """8 kHz holds two partials of E6."""
    time = np.arange(6_400) / 8_000.0
    sound = sum(np.exp(-7 * n * time) * np.cos(2 * np.pi * 1318.51 * n * time) / n for n in (1, 2))
    coarse = coarse_pitch(Band(sound, 8_000.0))
    assert abs(1200 * np.log2(coarse.f1_hz / 1318.51)) < 5.0


def test_silence_has_no_pitch():
    assert coarse_pitch(Band(np.zeros(20_000), RATE)) is None


@pytest.mark.parametrize(("midi", "repeat"), [(23, 10), (33, 9), (23, 3), (28, 5), (40, 2)])
def test_pairs_of_lines_are_no_octave(midi, repeat):
    """Two planes 7 to 10 cents apart make two lines of each high partial; the first two were read an octave high once."""
    condition = next(one for one in conditions() if one.name == "two planes, same split in cents")
    sample = condition.make(440.0 * 2.0 ** ((midi - 69) / 12.0), zlib.crc32(f"{condition.name}/{midi}/{repeat}/4002".encode()))
    found = coarse_pitch(Band(sample.sound - np.mean(sample.sound), SAMPLE_RATE), start_s=0.01)
    assert found is not None
    assert abs(1200.0 * np.log2(found.f1_hz / sample.f1_hz)) < 30.0
    assert found.explained > 0.6
