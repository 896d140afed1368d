"""The tables of neck.toml: keys, types, ranges and the meaning of each key.

Conventions
-----------
Strict: a number in quotes is no number, an unknown key is an error. A length is given either in mm (``…_mm``) or in inches
(``…_in``), never both. Ranges are plausible limits for a fretted neck (common practice, no source), wide enough for anything
between a sopranino and a long bass.
"""

from __future__ import annotations

import datetime
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from fretcheck.neck.description import SaddleMoves
from fretcheck.neck.temperament import MM_PER_INCH, REFERENCE_MAX_HZ, REFERENCE_MIN_HZ

MIN_STRINGS, MAX_STRINGS = 3, 14
MAX_FRETS = 36


def _mm(low_mm: float, high_mm: float, description: str) -> Any:
    """Field of an optional length in mm."""
    return Field(None, ge=low_mm, le=high_mm, description=description)


def _inches(low_mm: float, high_mm: float, description: str) -> Any:
    """The same range for a length in inches."""
    return Field(None, ge=round(low_mm / MM_PER_INCH, 4), le=round(high_mm / MM_PER_INCH, 4), description=description)


SCALE_MM, GAUGE_MM, CORE_MM = (200.0, 1500.0), (0.15, 10.0), (0.1, 5.0)
SIDES_MM = {"action_12_mm": (0.2, 10.0), "first_fret_clearance_mm": (0.05, 3.0)}
"""Heights that may differ across the neck: a number, or { treble = …, bass = … }."""


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, str_strip_whitespace=True)


class StringTable(_Table):
    """One ``[[strings]]``."""

    note: str = Field(description="open note in scientific pitch; sharps '#', flats 'b'")
    gauge_mm: float | None = _mm(*GAUGE_MM, "outside diameter; or gauge_in")
    gauge_in: float | None = _inches(*GAUGE_MM, "outside diameter in inches")
    construction: Literal["plain", "wound"] = Field(description="plain | wound")
    material: str = Field(description="of a wound string, the winding")
    scale_length_mm: float | None = _mm(*SCALE_MM, "of this string, where frets are fanned; or scale_length_in")
    scale_length_in: float | None = _inches(*SCALE_MM, "of this string, where frets are fanned")
    core_mm: float | None = _mm(*CORE_MM, "core of a wound string; or core_in")
    core_in: float | None = _inches(*CORE_MM, "core of a wound string in inches")
    core_material: str | None = Field(None, description="core of a wound string")
    mass_per_length_g_m: float | None = Field(None, ge=0.05, le=200.0, description="from the string's data sheet")
    tension_n: float | None = Field(None, ge=5.0, le=600.0, description="at this note and scale length, from its data sheet")
    saddle_setback_mm: float | None = Field(None, ge=-10.0, le=30.0, description="designed compensation beyond the scale length")
    nut_compensation_mm: float = Field(0.0, ge=-3.0, le=5.0, description="a nut set forward on purpose, toward the bridge")
    first_fret: int = Field(0, ge=0, lt=MAX_FRETS, description="a short string starts at this fret of the others")
    course: int | None = Field(None, ge=1, le=MAX_STRINGS, description="strings of one course carry the same number")


class MeasuredTable(_Table):
    """One ``[[measured]]``; the kinds are in `fretcheck.neck.measurement`."""

    what: str = Field(description="kind of measurement")
    mm: float = Field(description="measured length")
    u_mm: float = Field(ge=0.001, le=10.0, description="its standard uncertainty")
    fret: int | None = Field(None, ge=1, le=MAX_FRETS, description="at this fret")
    string: int | None = Field(None, ge=1, le=MAX_STRINGS, description="along this string")
    date: datetime.date | str | None = Field(None, description="when it was measured")


class PartialFretTable(_Table):
    """One ``[[partial_frets]]``: a fret that does not run under all strings."""

    fret: int = Field(ge=1, le=MAX_FRETS, description="which fret")
    strings: list[int] = Field(min_length=1, max_length=MAX_STRINGS, description="the strings it runs under")


class NeckTable(_Table):
    """The whole file."""

    name: str = Field(min_length=1, max_length=200, description="what you call this neck")
    serial: str | None = Field(None, min_length=1, max_length=100, description="its number in your books")
    reference_hz: float = Field(440.0, ge=REFERENCE_MIN_HZ, le=REFERENCE_MAX_HZ, description="pitch of A4")
    scale_length_mm: float | None = _mm(*SCALE_MM, "without compensation; or scale_length_in")
    scale_length_in: float | None = _inches(*SCALE_MM, "without compensation, in inches")
    frets: int | None = Field(None, ge=1, le=MAX_FRETS, description="number of frets, a zero fret not counted")
    zero_fret: bool = Field(False, description="true: a fret at the nut line carries the open strings")
    tolerance_cents: float = Field(3.0, ge=0.1, le=50.0, description="verdict limit on a note")
    tolerance_mm: float | None = Field(None, ge=0.01, le=5.0, description="verdict limit on a fret's place")
    square_fret: int | None = Field(None, ge=0, le=MAX_FRETS, description="fanned frets: the one that stands square")
    perpendicular_fret: int | None = Field(None, ge=0, le=MAX_FRETS, description="older name of square_fret")
    divisions_per_octave: int = Field(12, ge=5, le=72, description="equal steps that the octave is divided into")
    fret_steps: list[int] | None = Field(None, min_length=1, max_length=MAX_FRETS, description="of each fret, its step of these")
    fret_positions_mm: list[float] | None = Field(
        None, min_length=1, max_length=MAX_FRETS, description="of each fret, its distance from the nut line"
    )
    partial_frets: list[PartialFretTable] = Field(default_factory=list, max_length=MAX_FRETS)
    saddle_moves: SaddleMoves | None = Field(None, description="how the saddle is set: none | whole | slant | per_string")
    action_12_mm: Any = Field(None, description="gap over fret 12 as set up; or { treble = 1.8, bass = 2.2 }")
    u_action_12_mm: float = Field(0.1, ge=0.01, le=2.0, description="its standard uncertainty")
    relief_mm: float | None = _mm(-1.0, 2.0, "hollow of the neck at mid-length, as set up")
    u_relief_mm: float = Field(0.05, ge=0.005, le=1.0, description="its standard uncertainty")
    first_fret_clearance_mm: Any = Field(None, description="gap over fret 1 as intended; or { treble = …, bass = … }")
    u_first_fret_clearance_mm: float = Field(0.05, ge=0.005, le=1.0, description="its standard uncertainty")
    strings: list[StringTable] = Field(min_length=MIN_STRINGS, max_length=MAX_STRINGS)
    measured: list[MeasuredTable] = Field(default_factory=list, max_length=200)
