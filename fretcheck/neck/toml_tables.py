"""The tables of neck.toml: keys, types, ranges and the meaning of each key.

Conventions: strict: a number in quotes is no number, an unknown key is an error. Lengths become mm before anything else is
looked at (`fretcheck.neck.lengths`); the context ``{"typed": True}`` says that a person wrote them. Ranges are plausible limits
for a fretted neck (common practice, no source), wide enough for anything between a sopranino and a long bass.
"""

import datetime
from collections.abc import Iterable
from dataclasses import fields
from typing import Annotated, Any, Literal, Self, TypeVar

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo, model_validator

from fretcheck.neck.complaint import at, complaint, one_of, require
from fretcheck.neck.description import (
    MAX_FRETS,
    MAX_STRINGS,
    MIN_STRINGS,
    Measurement,
    Neck,
    SaddleMoves,
    Sides,
    String,
    Worked,
    WorkedPart,
)
from fretcheck.neck.lengths import lengths_in_mm, shown
from fretcheck.neck.materials import MATERIALS
from fretcheck.neck.measurement import MEASUREMENT_KINDS, TOOL_U_MM
from fretcheck.neck.temperament import REFERENCE_MAX_HZ, REFERENCE_MIN_HZ, note_to_midi

Record = TypeVar("Record", Neck, String, Measurement, Worked)


def _is(description: str) -> Any:
    """Field of an optional value."""
    return Field(None, description=description)


def _known(names: Iterable[str]) -> AfterValidator:
    def check(value: str, info: ValidationInfo) -> str:
        require(value in names, one_of(str(info.field_name), value, names), key=info.field_name, value=value)
        return value

    return AfterValidator(check)


def _checked_note(note: str) -> str:
    with at("note", key="note"):
        note_to_midi(note)
    return note


def _day(date: object) -> object:
    try:
        return datetime.date.fromisoformat(date) if isinstance(date, str) else date
    except ValueError:
        raise complaint(f"date = {shown(date)} is no day: write 2026-11-28", key="date", value=date) from None


def at_sides(value: float | dict[str, float], *, key: str) -> Sides:
    """A length at the treble and the bass side, from one number or a table of both."""
    if not isinstance(value, dict):
        return Sides(treble=float(value), bass=float(value))
    for side in value:
        require(side in ("treble", "bass"), f'{key}: unknown side "{side}": write treble and bass', key=key, value=value)
    for side in ("treble", "bass"):
        form = f"{key}: {side} is missing: write {{ treble = 1.8, bass = 2.2 }}, or one number"
        require(side in value, form, key=key, value=value)
    return Sides(treble=float(value["treble"]), bass=float(value["bass"]))


def _sides(value: Any, info: ValidationInfo) -> Sides | None:
    if value is None:
        return None
    key = str(info.field_name)
    for one in value.values() if isinstance(value, dict) else (value,):
        is_number = isinstance(one, int | float) and not isinstance(one, bool)
        require(is_number, f"{key}: {shown(one)} is no length: write a number of mm", key=key, value=value)
    return at_sides(value, key=key)


# A length of every string: one for all, { treble = …, bass = … } the strings between evenly spaced, or a list of them all
EachString = float | dict[str, float] | list[float] | None
BothSides = Annotated[Sides | None, BeforeValidator(_sides)]
Gauges = Annotated[list[float | str], Field(min_length=MIN_STRINGS, max_length=MAX_STRINGS)]
MaterialName = Annotated[str, _known(MATERIALS)]
NoteName = Annotated[str, AfterValidator(_checked_note)]
Day = Annotated[datetime.date, BeforeValidator(_day)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, str_strip_whitespace=True)

    @model_validator(mode="before")
    @classmethod
    def _in_mm(cls, data: Any, info: ValidationInfo) -> Any:
        return lengths_in_mm(data, question=bool(info.context and info.context["typed"])) if isinstance(data, dict) else data

    def record(self, kind: type[Record], **other: Any) -> Record:
        """A record with the fields of the same name, and `other`, which win."""
        values = {each.name: getattr(self, each.name) for each in fields(kind) if each.name in type(self).model_fields} | other
        made: Any = {name: tuple(value) if isinstance(value, list) else value for name, value in values.items()}
        return kind(**made)


class StringTable(_Table):
    """One ``[[strings]]``."""

    note: NoteName = Field(description="open note in scientific pitch; sharps '#', flats 'b'")
    gauge_mm: float = Field(description="outside diameter")
    construction: Literal["plain", "wound"] = Field(description="plain | wound")
    material: MaterialName = Field(description="of a wound string, the winding")
    scale_length_mm: float | None = _is("of this string, where frets are fanned")
    core_mm: float | None = _is("core of a wound string")
    core_material: MaterialName | None = _is("core of a wound string")
    mass_per_length_g_m: float | None = Field(None, ge=0.05, le=200.0, description="from the string's data sheet")
    tension_n: float | None = Field(None, ge=5.0, le=600.0, description="at this note and scale length, from its data sheet")
    saddle_setback_mm: float | None = _is("designed compensation beyond the scale length")
    nut_compensation_mm: float | None = _is("a nut set forward on purpose, toward the bridge")
    first_fret: int = Field(0, ge=0, le=MAX_FRETS - 1, description="a short string starts at this fret of the others")
    course: int | None = Field(None, ge=1, le=MAX_STRINGS, description="strings of one course carry the same number")

    @model_validator(mode="after")
    def _core_fits(self) -> Self:
        hint = 'is for a wound string: write construction = "wound", or leave it out'
        for key in ("core_mm", "core_material"):
            given = getattr(self, key)
            require(given is None or self.construction == "wound", f"{key} {hint}", key=key, value=given)
        thinner = f"core_mm = {self.core_mm or 0:g} must be thinner than the whole string, gauge_mm = {self.gauge_mm:g}"
        require(self.core_mm is None or self.core_mm < self.gauge_mm, thinner, key="core_mm", value=self.core_mm)
        return self


class MeasuredTable(_Table):
    """One ``[[measured]]``; the kinds are in `fretcheck.neck.measurement`, lengths in mm or inches as written."""

    what: Annotated[str, _known(MEASUREMENT_KINDS)] = Field(description="kind of measurement")
    mm: Any = _is("measured length")
    inches: Any = Field(None, alias="in", description="or in inches")
    tool: Annotated[str, _known(TOOL_U_MM)] | None = _is("rule | calliper | feeler")
    u_mm: Any = _is("its standard uncertainty, if the tool's own does not hold")
    u_in: Any = _is("or in inches")
    fret: int | None = Field(None, ge=1, le=MAX_FRETS, description="at this fret")
    string: int | None = Field(None, ge=1, le=MAX_STRINGS, description="along this string")
    date: Day | None = _is("when it was measured")


class WorkedTable(_Table):
    """One ``[[worked]]``: work that makes earlier measurements of its part stale."""

    part: WorkedPart = Field(description="nut | saddle | frets | neck | strings")
    date: Day = Field(description="when, such as 2026-11-28")


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
    capo_fret: int | None = Field(None, ge=1, le=MAX_FRETS - 1, description="a capo stays on behind this fret, as the nut")
    tolerance_cents: float = Field(3.0, ge=0.1, le=50.0, description="verdict limit on a note")
    tolerance_mm: float | None = _is("verdict limit on a fret's place")
    saddle_moves: SaddleMoves | None = _is("how the saddle is set: none | whole | slant | per_string")
    saddle_setback_mm: EachString = _is("designed compensation beyond the scale length: one, { treble, bass } or a list")
    nut_compensation_mm: EachString = _is("a nut set forward on purpose, toward the bridge: one, { treble, bass } or a list")
    action_12_mm: BothSides = _is("gap over fret 12 as set up; or { treble = 1.8, bass = 2.2 }")
    u_action_12_mm: float = Field(0.1, description="its standard uncertainty")
    relief_mm: float | None = _is("hollow of the neck at mid-length, as set up")
    u_relief_mm: float = Field(0.05, description="its standard uncertainty")
    first_fret_clearance_mm: BothSides = _is("gap over fret 1 as intended; or { treble = …, bass = … }")
    u_first_fret_clearance_mm: float = Field(0.05, description="its standard uncertainty")
    tuning: str | None = Field(None, max_length=200, description="all open notes in one line, in place of [[strings]]")
    gauges_mm: Gauges | None = _is('all gauges in the tuning\'s order; a wound string as in "w0.61"')
    gauges_in: Gauges | None = _is('the same in inches, as in "w0.024"')
    plain_material: MaterialName = Field("steel", description="of plain strings in the list of gauges")
    wound_material: MaterialName | None = _is("winding of the wound strings in the list of gauges")
    strings_per_course: int = Field(1, ge=1, le=3, description="2: strings in pairs, as on a mandolin")
    starts_from: Literal["treble", "bass"] | None = Field(
        None, alias="from", description="side at which the strings' list begins: treble | bass"
    )
    tuned_semitones: int = Field(0, ge=-24, le=24, description="all strings lower (-) or higher than their notes say")
    strings: list[StringTable] = Field(default_factory=list, max_length=MAX_STRINGS)
    worked: list[WorkedTable] = Field(default_factory=list, max_length=200)
    measured: list[MeasuredTable] = Field(default_factory=list, max_length=200)


TABLES: dict[str, type[BaseModel]] = {
    "": NeckTable,
    "strings": StringTable,
    "measured": MeasuredTable,
    "worked": WorkedTable,
    "partial_frets": PartialFretTable,
}
