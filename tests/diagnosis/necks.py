"""Necks and readings for the tests of the diagnosis, from the independent synthesis."""

from __future__ import annotations

import numpy as np

from fretcheck.diagnosis.observation import Observation
from fretcheck.neck.description import Neck, String
from tests.synth.perfect_listener import HeardPluck, sampled_deviations
from tests.synth.random_neck import random_built_neck
from tests.synth.strung_neck import BuiltNeck

SCALE_MM = 648.0


def steel_neck(*, frets: int = 20, strings: int = 6, setbacks: bool = True) -> Neck:
    """Up to six steel strings on 648 mm, setbacks that make fret 12 about true."""
    rows = (
        ("E4", 0.254, None, 1.6), ("B3", 0.330, None, 2.4), ("G3", 0.432, None, 4.4),
        ("D3", 0.660, 0.36, 2.6), ("A2", 0.910, 0.41, 3.2), ("E2", 1.170, 0.46, 4.6),
    )  # fmt: skip
    return Neck(
        name="test",
        scale_length_mm=SCALE_MM,
        frets=frets,
        strings=tuple(
            String(
                note=note,
                gauge_mm=gauge,
                construction="wound" if core else "plain",
                material="bronze" if core else "steel",
                scale_length_mm=SCALE_MM,
                core_mm=core,
                saddle_setback_mm=setback if setbacks else None,
            )
            for note, gauge, core, setback in rows[:strings]
        ),
    )


def observed(heard: list[HeardPluck]) -> list[Observation]:
    """Synthetic plucks as the diagnosis takes them."""
    return [
        Observation(
            string=one.string,
            fret=one.fret,
            cents=one.cents,
            u_cents=one.u_cents,
            start_s=one.start_s,
            press=one.press,
            inharmonicity=one.inharmonicity,
            u_inharmonicity=one.u_inharmonicity,
        )
        for one in heard
    ]


def heard_on(neck: Neck, *, seed: int, plucks: int = 2, **faults: object) -> tuple[BuiltNeck, list[Observation]]:
    """A neck with scatter and faults, and what is heard on it."""
    rng = np.random.default_rng([4, seed])  # apart from the seeds of the benchmark
    built = random_built_neck(neck, rng, **faults)
    return built, observed(sampled_deviations(built, rng, plucks=plucks))
