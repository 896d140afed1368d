"""The design of a neck as plain frozen records, and the facts that follow from it.

Every fret has one number that all else follows from: how many cents above the nut an ideal string stopped there sounds
(`Neck.fret_cents`). The k-th of twelve equal steps lies at 100·k; other divisions, skipped steps and positions given outright are
only other such numbers. Speaking length L·2^(−cents/1200), distance from the nut L minus that.

Conventions: lengths in mm along one axis: zero at the design nut line, positive toward the bridge; slots are measured from that
line, never from fret to fret (errors would add up) nor from the bridge (its place carries the compensation). The scale length
carries no compensation. String 1 is the one that the trade calls so on that instrument (on most the highest-sounding; on a
five-string banjo the first of the long ones), and lies at the treble side; `Neck.strings[0]` is string 1. Fret 0 is the open
string. A string that starts later (the short fifth of a banjo) has `first_fret` > 0: its own nut sits at that fret of the
others, its open note is "fret 0", and its frets keep the neck's numbers (the first one it can be stopped at is ``first_fret +
1``).
"""

import datetime
import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from fretcheck.errors import NeckError
from fretcheck.neck.temperament import CENTS_PER_OCTAVE, cents_to_ratio, midi_frequency_hz, midi_to_note, note_to_midi

Construction = Literal["plain", "wound"]
WorkedPart = Literal["nut", "saddle", "frets", "neck", "strings"]
SaddleMoves = Literal["none", "whole", "slant", "per_string"]
MIN_STRINGS, MAX_STRINGS, MAX_FRETS = 3, 14, 36
SAME_FRET_CENTS = 50.0  # a note further from every fret belongs to none


@dataclass(frozen=True, kw_only=True)
class String:
    """One string as the design wants it. An unknown is None, never 0."""

    note: str  # Open note in scientific pitch, ``E4``, ``F#3``, ``Bb2``
    gauge_mm: float  # Outside diameter
    construction: Construction
    material: str  # steel | nickel | bronze | nylon | fluorocarbon | gut …: of a wound string, the winding
    # Scale length along this string (its own where frets are fanned), for its full length from the neck's nut line
    scale_length_mm: float
    core_mm: float | None = None
    core_material: str | None = None
    mass_per_length_g_m: float | None = None
    tension_n: float | None = None
    # Designed compensation: the saddle sits this much beyond the scale length (positive lengthens the string)
    saddle_setback_mm: float | None = None
    # A nut set forward on purpose: its edge stands this much nearer to the bridge than the line that slots are measured from
    nut_compensation_mm: float = 0.0
    first_fret: int = 0
    course: int | None = None  # Strings of one course carry the same number; None for a single string

    @property
    def known_setback_mm(self) -> float:
        """The described setback; where none is described, that of a saddle at the end of the scale length."""
        return 0.0 if self.saddle_setback_mm is None else self.saddle_setback_mm


@dataclass(frozen=True, kw_only=True)
class Measurement:
    """One measurement by hand: rule, calliper or feeler gauge."""

    what: str
    mm: float
    u_mm: float
    fret: int | None = None
    string: int | None = None
    date: datetime.date | None = None  # When; work on a part after that day makes its measurements stale


@dataclass(frozen=True, kw_only=True)
class Worked:
    """Work on a part: files at the nut, a new saddle, frets levelled, the truss rod turned, new strings."""

    part: WorkedPart
    date: datetime.date


@dataclass(frozen=True, kw_only=True)
class Sides:
    """A height that may differ across the neck: at the first string, and at the last."""

    treble: float
    bass: float


@dataclass(frozen=True, kw_only=True)
class PartialFret:
    """A fret that does not run under all strings."""

    fret: int
    strings: tuple[int, ...]  # The strings it runs under


@dataclass(frozen=True, kw_only=True)
class Neck:
    """A neck as designed. `number` of a method is a string's, 1 first; `fret` the neck's fret number, 0 the open note."""

    name: str
    scale_length_mm: float
    frets: int
    strings: tuple[String, ...]
    serial: str | None = None
    reference_hz: float = 440.0
    zero_fret: bool = False
    tolerance_cents: float = 3.0
    tolerance_mm: float | None = None
    square_fret: int | None = None  # Fret that stands square to the centre line where frets are fanned
    divisions_per_octave: int = 12
    # Of each fret, its step of these divisions above the nut; None for 1, 2, 3 and so on
    fret_steps: tuple[int, ...] | None = None
    # Distances of the frets from the nut line on the neck's own scale length, where they follow no equal steps
    fret_positions_mm: tuple[float, ...] | None = None
    partial_frets: tuple[PartialFret, ...] = ()
    # How this neck's saddle can be set: not at all, as a whole, at a slant, or string by string; None where it is not told
    saddle_moves: SaddleMoves | None = None
    # Gap over the crown of the octave fret, open strings, as the neck is meant to be set up; None where it is not told
    action_12_mm: Sides | None = None
    u_action_12_mm: float = 0.1
    relief_mm: float | None = None  # Hollow of the neck at mid-length, as it is meant to be; None where it is not told
    u_relief_mm: float = 0.05
    # Gap over the crown of fret 1, open strings, as it is meant to be; None where it is not told
    first_fret_clearance_mm: Sides | None = None
    u_first_fret_clearance_mm: float = 0.05
    measured: tuple[Measurement, ...] = ()
    worked: tuple[Worked, ...] = ()  # What was worked on and when: earlier measurements of it no longer hold

    def string(self, number: int) -> String:
        return self.strings[number - 1]

    def across(self, number: int) -> float:
        """Where a string lies across the neck: 1 at string 1, −1 at the last, courses evenly spaced."""
        return self._places[number - 1]

    @cached_property
    def _places(self) -> tuple[float, ...]:
        return tuple(1.0 - 2.0 * place for place in places_across(string.course for string in self.strings))

    @cached_property
    def fret_cents(self) -> tuple[float, ...]:
        """Of the nut and each fret: how far an ideal string stopped there sounds above its full length."""
        if self.fret_positions_mm is not None:
            shares = (1.0 - x / self.scale_length_mm for x in self.fret_positions_mm)
            return (0.0, *(-CENTS_PER_OCTAVE * math.log2(share) for share in shares))
        steps = self.fret_steps or range(1, self.frets + 1)
        return (0.0, *(CENTS_PER_OCTAVE * step / self.divisions_per_octave for step in steps))

    @cached_property
    def semitones(self) -> bool:
        """Whether the frets are the usual ones: twelve equal steps an octave, none left out."""
        return all(abs(cents - 100.0 * fret) < 1e-6 for fret, cents in enumerate(self.fret_cents))

    @cached_property
    def octave_fret(self) -> int:
        """The fret nearest to an octave above the nut: 12 on most necks, the last on a short one."""
        return min(range(1, self.frets + 1), key=lambda fret: abs(self.fret_cents[fret] - CENTS_PER_OCTAVE))

    def frets_of(self, number: int) -> tuple[int, ...]:
        """Frets that a string can be stopped at, in order: none behind its own nut, nor partial ones that do not run under it."""
        return self._frets_of[number - 1]

    @cached_property
    def _frets_of(self) -> tuple[tuple[int, ...], ...]:
        under = {one.fret: one.strings for one in self.partial_frets}
        return tuple(
            tuple(fret for fret in range(string.first_fret + 1, self.frets + 1) if number in under.get(fret, (number,)))
            for number, string in enumerate(self.strings, start=1)
        )

    def open_hz(self, number: int) -> float:
        """Nominal frequency of a string's open note."""
        return midi_frequency_hz(note_to_midi(self.string(number).note), reference_hz=self.reference_hz)

    def cents_above_open(self, number: int, fret: int) -> float:
        """Interval from a string's open note to a fret, as designed; 0 for the open note.

        Raises NeckError: the string cannot be stopped there.
        """
        if fret == 0:
            return 0.0
        if fret not in self._frets_of[number - 1]:
            own = self._frets_of[number - 1]
            has = f"its frets are {own[0]} to {own[-1]}" if own else "it has none"
            raise NeckError(f"string {number} cannot be stopped at fret {fret}: {has}", key="fret", value=fret)
        return self.fret_cents[fret] - self.fret_cents[self.string(number).first_fret]

    def target_hz(self, number: int, fret: int) -> float:
        """Frequency that a note should have; raises as `cents_above_open`."""
        return self.open_hz(number) * cents_to_ratio(self.cents_above_open(number, fret))

    def note_name(self, number: int, fret: int) -> str:
        """The note's name; off the semitones by a cent or more, the nearest one with the rest, as in ``F4 -37 cents``."""
        if fret == 0:
            return self.string(number).note
        midi = note_to_midi(self.string(number).note) + self.cents_above_open(number, fret) / 100.0
        rest = 100.0 * (midi - round(midi))
        return midi_to_note(round(midi)) + (f" {rest:+.0f} cents" if abs(rest) >= 0.5 else "")

    def nearest_fret(self, number: int, cents: float) -> tuple[int, float] | None:
        """The place (0 open) that a note so far above a string's open one belongs to, and how far it lies from there.

        None where it lies out of every fret's `reach_cents`.
        """
        fret = min((0, *self.frets_of(number)), key=lambda place: abs(self.cents_above_open(number, place) - cents))
        off = cents - self.cents_above_open(number, fret)
        return (fret, off) if abs(off) <= self.reach_cents(number, fret) else None

    def reach_cents(self, number: int, fret: int) -> float:
        """How far a note may lie from its fret and still belong to it: 50 cents, or half the way to the next if less."""
        own = self.cents_above_open(number, fret)
        gaps = (abs(self.cents_above_open(number, other) - own) for other in (0, *self.frets_of(number)) if other != fret)
        return min(SAME_FRET_CENTS, 0.5 * min(gaps))

    def nut_distance_mm(self, fret: int, number: int | None = None) -> float:
        """From the nut line to a fret, along a string or, where none is named, on the neck's own scale length."""
        scale = self.scale_length_mm if number is None else self.string(number).scale_length_mm
        return distance_mm(self.fret_cents[fret], scale_length_mm=scale)

    def speaking_length_mm(self, number: int, fret: int) -> float:
        """Designed length of a string from the stop at `fret` to the end of its scale length, compensation left out.

        Fret 0 is the string's own open note: that of a short string is measured from its own nut.
        """
        string = self.string(number)
        return string.scale_length_mm - self.nut_distance_mm(max(fret, string.first_fret), number)

    @property
    def known_relief_mm(self) -> float:
        """The described relief; where none is described, that of a straight neck."""
        return 0.0 if self.relief_mm is None else self.relief_mm

    def open_length_mm(self, number: int) -> float:
        """Designed length of the open string between nut and saddle, with what compensation is described."""
        string = self.string(number)
        return self.speaking_length_mm(number, 0) + string.known_setback_mm - string.nut_compensation_mm

    def nut_offset_mm(self, number: int) -> float:
        """Where the nut line of a string lies on the neck's axis (zero at that of the neck's own scale length).

        Zero unless frets are fanned; then the square fret is at one place for all strings, and the nut of a longer string lies
        farther from the bridge (negative). Without a square fret the nut itself is taken as square.
        """
        square = self.square_fret or 0
        return self.nut_distance_mm(square) - self.nut_distance_mm(square, number)


def distance_mm(cents: float, *, scale_length_mm: float) -> float:
    """Distance from the nut to where an ideal string is stopped to sound `cents` above its full length.

    >>> distance_mm(1200.0, scale_length_mm=648.0)
    324.0
    """
    return scale_length_mm * (1.0 - math.exp2(-cents / CENTS_PER_OCTAVE))


def places_across(courses: Iterable[int | None]) -> list[float]:
    """Of each string by its course, where it lies: 0 at string 1 to 1 at the last; strings of a course at one place."""
    order: dict[object, int] = {}
    places = [order.setdefault(("string", n) if one is None else one, len(order)) for n, one in enumerate(courses)]
    return [place / (len(order) - 1) if len(order) > 1 else 0.5 for place in places]
