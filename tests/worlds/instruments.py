"""What necks are drawn on: the ready-made descriptions, and three that are none of them.

Conventions
-----------
Each with what its maker has in mind and the description does not say: string height at the nut over the plane of the crowns, and
action over fret 12 (mm; common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fretcheck.neck.description import Neck, String
from fretcheck.neck.starts import STARTS


@dataclass(frozen=True, kw_only=True)
class Instrument:
    """A design and its maker's heights."""

    name: str
    neck: Neck
    action_mm: float
    nut_height_mm: float = 0.5


def _three_strings() -> Neck:
    strings = tuple(
        String(note=note, gauge_mm=gauge, construction=kind, material=material, scale_length_mm=635.0, saddle_setback_mm=setback)
        for note, gauge, kind, material, setback in (
            ("G4", 0.254, "plain", "steel", 1.4),
            ("D4", 0.330, "plain", "steel", 2.1),
            ("G3", 0.610, "wound", "phosphor_bronze", 1.6),
        )
    )
    return Neck(name="three-string guitar", scale_length_mm=635.0, frets=18, strings=strings, tolerance_cents=4.0)


def _fanned() -> Neck:
    base = STARTS["guitar-6-steel"].neck
    lengths = np.linspace(635.0, 661.0, len(base.strings))
    strings = tuple(replace(one, scale_length_mm=float(length)) for one, length in zip(base.strings, lengths, strict=True))
    return replace(base, name="fanned guitar", strings=strings, square_fret=9)


def _twenty_four() -> Neck:
    return replace(STARTS["guitar-6-steel"].neck, name="guitar of 24 frets", frets=24)


_STEEL = STARTS["guitar-6-steel"].neck
INSTRUMENTS: dict[str, Instrument] = {
    one.name: one
    for one in (
        Instrument(name="steel", neck=_STEEL, action_mm=2.0),
        Instrument(name="nylon", neck=STARTS["guitar-6-nylon"].neck, action_mm=3.0, nut_height_mm=0.7),
        Instrument(name="bass", neck=STARTS["bass-4"].neck, action_mm=2.2),
        Instrument(name="ukulele", neck=STARTS["ukulele"].neck, action_mm=2.2, nut_height_mm=0.4),
        Instrument(name="banjo", neck=STARTS["banjo-5"].neck, action_mm=2.2),
        Instrument(name="mandolin", neck=STARTS["mandolin"].neck, action_mm=1.6, nut_height_mm=0.25),
        Instrument(name="three", neck=_three_strings(), action_mm=2.0),
        Instrument(name="fanned", neck=_fanned(), action_mm=2.0),
        Instrument(name="frets24", neck=_twenty_four(), action_mm=2.0),
    )
}
