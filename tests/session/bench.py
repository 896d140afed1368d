"""A bench for the runner without sound: an invented neck, and readings made up from its design."""

from __future__ import annotations

import numpy as np

from fretcheck.audio.segment.pluck import Pluck
from fretcheck.neck.description import Neck, String
from fretcheck.pitch.reading import NoteReading
from tests.synth.nominal import note_frequency_hz

NOTES = ("E4", "B3", "G3", "D3", "A2", "E2")
B_OPEN = {1: 1.3e-5, 2: 4.0e-5, 3: 1.1e-4, 4: 1.7e-5, 5: 1.3e-5, 6: 1.9e-5}


def make_neck(*, frets=20, first_frets=None, courses=None, strings=6, notes=NOTES, name="Bench neck"):
    """Six strings unless said otherwise, the three highest plain."""
    return Neck(
        name=name,
        serial="BN-001",
        scale_length_mm=648.0,
        frets=frets,
        strings=tuple(
            String(
                note=note,
                gauge_mm=0.3,
                construction="plain" if number <= 3 else "wound",
                material="steel",
                scale_length_mm=648.0,
                first_fret=(first_frets or {}).get(number, 0),
                course=(courses or {}).get(number),
            )
            for number, note in enumerate(notes[:strings], start=1)
        ),
    )


def note_at(neck, string, fret, *, cents=0.0, flags=(), inharmonicity=True, u_cents=0.05):
    """The reading of a place on the neck, off by `cents`."""
    steps = neck.cents_above_open(string, fret) / 100.0
    hz = note_frequency_hz(neck.string(string).note, reference_hz=neck.reference_hz) * 2.0 ** ((100 * steps + cents) / 1200)
    b = B_OPEN[string] * 2.0 ** (steps / 6.0) if inharmonicity else None
    return NoteReading(
        f1_hz=hz,
        u_cents=u_cents,
        inharmonicity=b,
        u_inharmonicity=None if b is None else 0.02 * b,
        snr_db=50.0,
        partials=12,
        glide_cents=1.0,
        remarks=tuple(flags),
        window_s=(0.15, 1.2),
    )


def pluck_of(hz=220.0, *, start_frame=0, seconds=0.2, rate=48000.0, end="decayed"):
    """A little sound to go with a reading."""
    t = np.arange(int(seconds * rate)) / rate
    return Pluck(
        samples=0.3 * np.sin(2 * np.pi * hz * t),
        sample_rate=rate,
        start_frame=start_frame,
        settled_from=100,
        noise_rms=1e-4,
        clipped_fraction=0.0,
        end=end,
    )


class Player:
    """Plays a runner: plucks what it is told to, one every three seconds."""

    def __init__(self, runner):
        self.runner = runner
        self.now_s = 0.0
        self.events = runner.start()

    def pluck(self, string, fret, *, end="decayed", **how):
        """Play one note and return what followed."""
        self.now_s += 3.0
        note = note_at(self.runner.neck, string, fret, **how)
        events = self.runner.onset(self.now_s)
        events += self.runner.running(note, settled=0.5)
        events += self.runner.pluck(pluck_of(note.f1_hz, end=end), note, start_s=self.now_s)
        self.events += events
        return events

    def as_asked(self, **how):
        """Play what is asked for."""
        ask = self.runner.ask
        return self.pluck(ask.string, ask.fret, **how)

    def through(self, limit=1000):
        """Play what is asked for until the session is over."""
        for _ in range(limit):
            if self.runner.ask is None:
                return self.events
            self.as_asked()
        raise AssertionError("the plan never came to its end")
