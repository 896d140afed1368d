"""The tables of neck.toml: keys, types, ranges and the meaning of each key.

Conventions: strict: a number in quotes is no number, an unknown key is an error. Lengths are in mm here, checked by
`fretcheck.neck.lengths`. Ranges are plausible limits for a fretted neck (common practice, no source), wide enough for anything
between a sopranino and a long bass.
"""

import datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from fretcheck.neck.description import SaddleMoves, WorkedPart
from fretcheck.neck.temperament import REFERENCE_MAX_HZ, REFERENCE_MIN_HZ

MIN_STRINGS, MAX_STRINGS = 3, 14
MAX_FRETS = 36

# A length of every string: one for all, { treble = …, bass = … } the strings between evenly spaced, or a list of them all
EachString = float | dict[str, float] | list[float] | None
Sides = float | dict[str, float] | None


def _is(description: str) -> Any:
    """Field of an optional value."""
    return Field(None, description=description)


Gauges = Annotated[list[float | str], Field(min_length=MIN_STRINGS, max_length=MAX_STRINGS)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, str_strip_whitespace=True)


class StringTable(_Table):
    """One ``[[strings]]``."""

    note: str = Field(description="open note in scientific pitch; sharps '#', flats 'b'")
    gauge_mm: float = Field(description="outside diameter")
    construction: Literal["plain", "wound"] = Field(description="plain | wound")
    material: str = Field(description="of a wound string, the winding")
    scale_length_mm: float | None = _is("of this string, where frets are fanned")
    core_mm: float | None = _is("core of a wound string")
    core_material: str | None = _is("core of a wound string")
    mass_per_length_g_m: float | None = Field(None, ge=0.05, le=200.0, description="from the string's data sheet")
    tension_n: float | None = Field(None, ge=5.0, le=600.0, description="at this note and scale length, from its data sheet")
    saddle_setback_mm: float | None = _is("designed compensation beyond the scale length")
    nut_compensation_mm: float | None = _is("a nut set forward on purpose, toward the bridge")
    first_fret: int = Field(0, ge=0, lt=MAX_FRETS, description="a short string starts at this fret of the others")
    course: int | None = Field(None, ge=1, le=MAX_STRINGS, description="strings of one course carry the same number")


class MeasuredTable(_Table):
    """One ``[[measured]]``; the kinds are in `fretcheck.neck.measurement`, lengths in mm or inches as written."""

    what: str = Field(description="kind of measurement")
    mm: Any = _is("measured length")
    inches: Any = Field(None, alias="in", description="or in inches")
    tool: str | None = _is("rule | calliper | feeler")
    u_mm: Any = _is("its standard uncertainty, if the tool's own does not hold")
    u_in: Any = _is("or in inches")
    fret: int | None = Field(None, ge=1, le=MAX_FRETS, description="at this fret")
    string: int | None = Field(None, ge=1, le=MAX_STRINGS, description="along this string")
    date: datetime.date | str | None = _is("when it was measured")


class WorkedTable(_Table):
    """One ``[[worked]]``: work that makes earlier measurements of its part stale."""

    part: WorkedPart = Field(description="nut | saddle | frets | neck | strings")
    date: datetime.date | str = Field(description="when, such as 2026-11-28")


class PartialFretTable(_Table):
    """One ``[[partial_frets]]``: a fret that does not run under all strings."""

    fret: int = Field(ge=1, le=MAX_FRETS, description="which fret")
    strings: list[int] = Field(min_length=1, max_length=MAX_STRINGS, description="the strings it runs under")


class NeckTable(_Table):
    """The whole file."""

    name: str = Field(min_length=1, max_length=200, description="what you call this neck")
    serial: str | None = Field(None, min_length=1, max_length=100, description="its number in your books")
    reference_hz: float = Field(440.0, ge=REFERENCE_MIN_HZ, le=REFERENCE_MAX_HZ, description="pitch of A4")
    scale_length_mm: float | None = _is("without compensation")
    scale_length_treble_mm: float | None = _is("fanned frets: of string 1")
    scale_length_bass_mm: float | None = _is("fanned frets: of the last string")
    square_fret: int | None = Field(None, ge=0, le=MAX_FRETS, description="fanned frets: the one that stands square")
    perpendicular_fret: int | None = Field(None, ge=0, le=MAX_FRETS, description="older name of square_fret")
    frets: int | None = Field(None, ge=1, le=MAX_FRETS, description="number of frets, a zero fret not counted")
    divisions_per_octave: int = Field(12, ge=5, le=72, description="equal steps that the octave is divided into")
    fret_steps: list[int] | None = Field(None, min_length=1, max_length=MAX_FRETS, description="of each fret, its step of these")
    fret_positions_mm: list[float] | None = Field(
        None, min_length=1, max_length=MAX_FRETS, description="of each fret, its distance from the nut line"
    )
    partial_frets: list[PartialFretTable] = Field(default_factory=list, max_length=MAX_FRETS)
    zero_fret: bool = Field(False, description="true: a fret at the nut line carries the open strings")
    capo_fret: int | None = Field(None, ge=1, lt=MAX_FRETS, description="a capo stays on behind this fret, as the nut")
    tolerance_cents: float = Field(3.0, ge=0.1, le=50.0, description="verdict limit on a note")
    tolerance_mm: float | None = _is("verdict limit on a fret's place")
    saddle_moves: SaddleMoves | None = _is("how the saddle is set: none | whole | slant | per_string")
    saddle_setback_mm: EachString = _is("designed compensation beyond the scale length: one, { treble, bass } or a list")
    nut_compensation_mm: EachString = _is("a nut set forward on purpose, toward the bridge: one, { treble, bass } or a list")
    action_12_mm: Sides = _is("gap over fret 12 as set up; or { treble = 1.8, bass = 2.2 }")
    u_action_12_mm: float = Field(0.1, description="its standard uncertainty")
    relief_mm: float | None = _is("hollow of the neck at mid-length, as set up")
    u_relief_mm: float = Field(0.05, description="its standard uncertainty")
    first_fret_clearance_mm: Sides = _is("gap over fret 1 as intended; or { treble = …, bass = … }")
    u_first_fret_clearance_mm: float = Field(0.05, description="its standard uncertainty")
    tuning: str | None = Field(None, max_length=200, description="all open notes in one line, in place of [[strings]]")
    gauges_mm: Gauges | None = _is('all gauges in the tuning\'s order; a wound string as in "w0.61"')
    gauges_in: Gauges | None = _is('the same in inches, as in "w0.024"')
    plain_material: str = Field("steel", description="of plain strings in the list of gauges")
    wound_material: str | None = _is("winding of the wound strings in the list of gauges")
    strings_per_course: int = Field(1, ge=1, le=3, description="2: strings in pairs, as on a mandolin")
    starts_from: Literal["treble", "bass"] | None = Field(
        None, alias="from", description="side at which the strings' list begins: treble | bass"
    )
    tuned_semitones: int = Field(0, ge=-24, le=24, description="all strings lower (-) or higher than their notes say")
    strings: list[StringTable] = Field(default_factory=list, max_length=MAX_STRINGS)
    worked: list[WorkedTable] = Field(default_factory=list, max_length=200)
    measured: list[MeasuredTable] = Field(default_factory=list, max_length=200)
