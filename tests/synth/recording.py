"""A continuous recording of one string, played note after note, with what a hand and a room add.

Conventions
-----------
`plan_take` decides what is played and when, `record` makes the sound: the truth is known without the sound, and draws from
its own generator. Sound is float64, shape ``(frames,)``, full scale 1; levels in dB are against full scale. `start_s` is
the onset in seconds from the start of the recording, always on a whole frame.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from tests.synth.pluck import PluckSpec, Sound, hum, pink_noise, pluck_sound
from tests.synth.strung_neck import BuiltNeck

Disturbance = Literal["speech", "door"]

_DISTURBED_GAP_S = 1.5
_RING_OVER_S = 0.4  # a note is cut only after the hand has damped it


@dataclass(frozen=True, kw_only=True)
class Take:
    """How a string is played and recorded."""

    sample_rate: float = 32000.0
    seconds_per_note: float = 1.6
    open_seconds: float = 3.0
    """An open note rings longer: all others of its string are judged against it."""
    seconds_spread: float = 0.1
    lead_s: float = 0.6
    """Silence before the first note, and after the last."""
    level: float = 0.4
    """Peak of the loudest notes, full scale 1."""
    softest_db: float = -10.0
    """The softest notes lie this far below the loudest."""
    gaps_s: tuple[float, float] = (0.0, 0.12)
    """From damping one note to plucking the next; at 0 the pluck itself ends the note before."""
    t60_s: float = 4.5
    """Of a 220 Hz note; higher notes die sooner, as 1/√f."""
    glide_cents: float = 1.5
    """Of the loudest notes; it follows the square of the level."""
    hand_cents: float = 0.5
    """Scatter of stopped notes where the built neck states none for the string."""
    open_hand_cents: float = 0.03
    hum_db: float = -84.0
    mains_hz: float = 50.0
    room_db: float = -80.0
    squeaks: float = 0.0
    """Share of gaps in which the finger squeaks along the string."""
    disturbances: Mapping[int, Disturbance] = field(default_factory=dict)
    """Index of a note → what happens in the quiet before it."""


@dataclass(frozen=True, kw_only=True)
class PlayedNote:
    """One note as it truly was."""

    string: int
    fret: int
    start_s: float
    ring_s: float
    """Until the hand or the next pluck ends it."""
    level: float
    f1_hz: float
    inharmonicity: float
    deviation_cents: float
    """Against equal temperament above the open string as it was tuned at that time; of the open string, its nominal pitch."""


@dataclass(frozen=True, kw_only=True)
class Recording:
    """The sound of a take and its truth."""

    samples: Sound
    sample_rate: float
    notes: tuple[PlayedNote, ...]


def open_up_and_down(frets: Sequence[int]) -> list[int]:
    """Open, each fret going up, open, each fret coming down, open.

    >>> open_up_and_down([1, 2, 3])
    [0, 1, 2, 3, 0, 3, 2, 1, 0]
    """
    return [0, *frets, 0, *reversed(frets), 0]


def plan_take(
    built: BuiltNeck, string: int, frets: Sequence[int], rng: np.random.Generator, *, take: Take | None = None
) -> tuple[PlayedNote, ...]:
    """What is played: pitch of every note, hand and drift included, when, how loud and how long.

    Parameters
    ----------
    built : BuiltNeck
        Its `hand_cents` and `drift_cents_per_minute` are used.
    string : int
    frets : sequence of int
        In the order of playing; 0 is the open string.
    rng : numpy.random.Generator
    take : Take or None
        None for the defaults.
    """
    take = take or Take()
    notes: list[PlayedNote] = []
    time = take.lead_s
    for index, fret in enumerate(frets):
        time += _DISTURBED_GAP_S if index in take.disturbances else 0.0
        start_s = round(time * take.sample_rate) / take.sample_rate
        usual_s = take.open_seconds if fret == 0 else take.seconds_per_note
        seconds = usual_s + take.seconds_spread * float(rng.uniform(-1.0, 1.0))
        hand_sd = take.open_hand_cents if fret == 0 else built.hand_cents.get(string, take.hand_cents)
        hand = hand_sd * float(rng.standard_normal())
        drift = built.drift_cents_per_minute.get(string, 0.0) * start_s / 60.0
        notes.append(
            PlayedNote(
                string=string,
                fret=fret,
                start_s=start_s,
                ring_s=seconds - float(rng.uniform(*take.gaps_s)),
                level=take.level * 10.0 ** (take.softest_db * float(rng.uniform()) / 20.0),
                f1_hz=built.frequency_hz(string, fret) * 2.0 ** ((hand + drift) / 1200.0),
                inharmonicity=built.inharmonicity(string, fret),
                deviation_cents=built.deviation_cents(string, fret) + hand + (drift if fret == 0 else 0.0),
            )
        )
        time = start_s + seconds
    return tuple(notes)


def record(notes: Sequence[PlayedNote], rng: np.random.Generator, *, take: Take | None = None) -> Recording:
    """The sound of a planned take; `rng` draws all that has no bearing on the truth."""
    take = take or Take()
    rate = take.sample_rate
    end_s = notes[-1].start_s + notes[-1].ring_s + take.lead_s
    samples = np.zeros(round(end_s * rate))
    for index, note in enumerate(notes):
        _add(samples, note.start_s, _note_sound(note, rng, take=take), rate)
        squeak_level = 0.03 * note.level
        if index and rng.uniform() < take.squeaks:
            _add(samples, note.start_s - 0.12, squeak_level * squeak(sample_rate=rate, rng=rng), rate)
        if index in take.disturbances:
            noise = speech(sample_rate=rate, rng=rng) if take.disturbances[index] == "speech" else door(sample_rate=rate, rng=rng)
            _add(samples, note.start_s - _DISTURBED_GAP_S + 0.3, 0.25 * take.level * noise, rate)
    samples += 10.0 ** (take.hum_db / 20.0) * hum(len(samples), sample_rate=rate, rng=rng, mains_hz=take.mains_hz)
    samples += 10.0 ** (take.room_db / 20.0) * pink_noise(len(samples), sample_rate=rate, rng=rng)
    return Recording(samples=samples, sample_rate=rate, notes=tuple(notes))


def speech(*, sample_rate: float, rng: np.random.Generator, seconds: float = 0.7) -> Sound:
    """A voiced burst with the gliding pitch, the formants and the syllables of speech, peak 1: no words, no recording."""
    time = np.arange(round(seconds * sample_rate)) / sample_rate
    pitch = float(rng.uniform(105.0, 150.0)) * (1.0 + 0.18 * np.sin(2.0 * np.pi * 1.3 * time + rng.uniform(0.0, 6.0)))
    phase = 2.0 * np.pi * np.cumsum(pitch) / sample_rate
    formants = [(float(rng.uniform(400, 700)), 90.0, 1.0), (float(rng.uniform(1000, 1800)), 120.0, 0.5), (2500.0, 200.0, 0.2)]
    sound = np.zeros_like(time)
    for number in range(1, 28):
        gain = sum(weight / (1.0 + ((number * 125.0 - centre) / width) ** 2) for centre, width, weight in formants)
        sound += gain * np.sin(number * phase)
    syllables = np.clip(np.sin(2.0 * np.pi * 2.9 * time), 0.0, None) ** 0.5
    return _peak_1(sound * syllables)


def door(*, sample_rate: float, rng: np.random.Generator) -> Sound:
    """A thump: noise below some 100 Hz that dies within a few tenths of a second, peak 1."""
    time = np.arange(round(0.5 * sample_rate)) / sample_rate
    spectrum = np.fft.rfft(rng.standard_normal(len(time)))
    frequency = np.fft.rfftfreq(len(time), 1.0 / sample_rate)
    dull = np.fft.irfft(spectrum / (1.0 + (frequency / 70.0) ** 4), len(time))
    return _peak_1(dull * np.exp(-time / 0.07) * (1.0 - np.exp(-time / 0.003)))


def squeak(*, sample_rate: float, rng: np.random.Generator) -> Sound:
    """A finger along a wound string: a narrow noise that rises in pitch, a tenth of a second, peak 1."""
    time = np.arange(round(0.1 * sample_rate)) / sample_rate
    pitch = float(rng.uniform(1500.0, 2500.0)) * (1.0 + 4.0 * time)
    wobble = np.cumsum(rng.standard_normal(len(time))) * 0.05
    return _peak_1(np.sin(2.0 * np.pi * np.cumsum(pitch) / sample_rate + wobble) * np.sin(np.pi * time / time[-1]) ** 2)


def _note_sound(note: PlayedNote, rng: np.random.Generator, *, take: Take) -> Sound:
    spec = PluckSpec(
        f1_hz=note.f1_hz,
        inharmonicity=note.inharmonicity,
        level=note.level,
        duration_s=note.ring_s + _RING_OVER_S,
        t60_s=take.t60_s * float(np.sqrt(220.0 / note.f1_hz)),
        decay_growth=float(rng.uniform(0.15, 0.3)),
        pluck_position=float(rng.uniform(0.13, 0.22)),
        glide_cents=take.glide_cents * (note.level / take.level) ** 2,
        split_hz=float(rng.uniform(0.01, 0.04)),
        second_plane_db=-18.0,
        partials=60,
        body_pull_cents=0.15,
        attack_noise_db=-20.0,
        stop_s=note.ring_s,
    )
    return pluck_sound(spec, sample_rate=take.sample_rate, rng=rng)


def _add(samples: Sound, start_s: float, sound: Sound, sample_rate: float) -> None:
    start = round(start_s * sample_rate)
    stop = min(start + len(sound), len(samples))
    samples[start:stop] += sound[: stop - start]


def _peak_1(sound: Sound) -> Sound:
    return np.asarray(sound / np.max(np.abs(sound)))
