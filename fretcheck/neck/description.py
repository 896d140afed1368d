"""The design of a neck, as plain frozen records.

Conventions
-----------
Lengths in mm along one axis: zero at the design nut line, positive toward the bridge. String 1 is the highest-sounding;
`Neck.strings[0]` is string 1. Fret 0 is the open string. A string that starts later (the short fifth of a banjo) has
`first_fret` > 0: its own nut sits at that fret of the others, its open note is "fret 0", and its frets keep the neck's
numbers (the first one it can be stopped at is ``first_fret + 1``).
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Literal

Construction = Literal["plain", "wound"]
SaddleMoves = Literal["none", "whole", "slant", "per_string"]


@dataclass(frozen=True, kw_only=True)
class String:
    """One string as the design wants it. An unknown is None, never 0."""

    note: str
    """Open note in scientific pitch, ``E4``, ``F#3``, ``Bb2``."""
    gauge_mm: float
    """Outside diameter."""
    construction: Construction
    material: str
    """steel | nickel | bronze | nylon | fluorocarbon | gut …: of a wound string, the winding."""
    scale_length_mm: float
    """Scale length along this string (its own where frets are fanned), for its full length from the neck's nut line."""
    core_mm: float | None = None
    core_material: str | None = None
    mass_per_length_g_m: float | None = None
    tension_n: float | None = None
    saddle_setback_mm: float = 0.0
    """Designed compensation: the saddle sits this much beyond the scale length (positive lengthens the string)."""
    first_fret: int = 0
    course: int | None = None
    """Strings of one course carry the same number; None for a single string."""


@dataclass(frozen=True, kw_only=True)
class Measurement:
    """One measurement by hand: rule, calliper or feeler gauge."""

    what: str
    mm: float
    u_mm: float
    fret: int | None = None
    string: int | None = None
    date: datetime.date | None = None
    """When; work on a part after that day makes its measurements stale."""


@dataclass(frozen=True, kw_only=True)
class Sides:
    """A height that may differ across the neck: at the first string, and at the last."""

    treble: float
    bass: float


@dataclass(frozen=True, kw_only=True)
class Neck:
    """A neck as designed."""

    name: str
    scale_length_mm: float
    frets: int
    strings: tuple[String, ...]
    serial: str | None = None
    reference_hz: float = 440.0
    zero_fret: bool = False
    tolerance_cents: float = 3.0
    tolerance_mm: float | None = None
    perpendicular_fret: int | None = None
    """Fret that stands square to the centre line where frets are fanned."""
    saddle_moves: SaddleMoves | None = None
    """How this neck's saddle can be set: not at all, as a whole, at a slant, or string by string; None where it is not told."""
    action_12_mm: Sides | None = None
    """Gap over the crown of fret 12, open strings, as the neck is meant to be set up; None where it is not told."""
    u_action_12_mm: float = 0.1
    relief_mm: float | None = None
    """Hollow of the neck at mid-length, as it is meant to be; None where it is not told."""
    u_relief_mm: float = 0.05
    first_fret_clearance_mm: Sides | None = None
    """Gap over the crown of fret 1, open strings, as it is meant to be; None where it is not told."""
    u_first_fret_clearance_mm: float = 0.05
    measured: tuple[Measurement, ...] = ()

    def string(self, number: int) -> String:
        """String by its number, 1 the highest-sounding."""
        return self.strings[number - 1]

    def across(self, number: int) -> float:
        """Where a string lies across the neck: 1 at string 1, −1 at the last, courses evenly spaced."""
        places: dict[object, int] = {}
        for index, string in enumerate(self.strings, start=1):
            place = places.setdefault(("string", index) if string.course is None else ("course", string.course), len(places))
            if index == number:
                own = place
        return 1.0 - 2.0 * own / (len(places) - 1) if len(places) > 1 else 0.0
