"""Sound of an invented neck being played through a plan, as a microphone at the bench would hear it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fretcheck.neck.description import Neck, String
from tests.synth.recording import PlayedNote, Recording, Take, plan_take, record
from tests.synth.strung_neck import BuiltNeck

THREE = (("E4", 0.254, "plain"), ("B3", 0.33, "plain"), ("G3", 0.432, "plain"))


def three_string_neck(frets=12):
    """A neck that is quick to play through."""
    return Neck(
        name="Three-string bench neck",
        serial="TB-003",
        scale_length_mm=648.0,
        frets=frets,
        strings=tuple(
            String(note=note, gauge_mm=gauge, construction=how, material="steel", scale_length_mm=648.0)
            for note, gauge, how in THREE
        ),
    )


def played(neck, places, *, seed=7, sample_rate=32000.0, seconds_per_note=1.5, levels=None, built=None, **take_options):
    """Sound of notes played one after the other: `places` is a list of (string, fret), `built` the neck with its faults."""
    rng = np.random.default_rng(seed)
    options = {"seconds_spread": 0.0, "gaps_s": (0.1, 0.1), "softest_db": -3.0, "hand_cents": 0.3, "glide_cents": 1.0}
    take = Take(sample_rate=sample_rate, seconds_per_note=seconds_per_note, **(options | take_options))
    built = built or BuiltNeck(neck=neck)
    notes: list[PlayedNote] = []
    time = take.lead_s
    for index, (string, fret) in enumerate(places):
        (note,) = plan_take(built, string, [fret], rng, take=take)
        level = note.level if levels is None else note.level * levels.get(index, 1.0)
        notes.append(replace(note, start_s=round(time * sample_rate) / sample_rate, level=level))
        time += seconds_per_note
    return record(notes, rng, take=take)


def played_plan(neck, plan, **options) -> Recording:
    """Sound of a plan played as asked."""
    return played(neck, [(ask.string, ask.fret) for ask in plan.asks], **options)
