"""A strung neck as it was built, faults and all, and the pitch of every note on it.

An absolute computation, independent of the diagnosis: the string is a line over nut, finger, fret and saddle; its length at
rest follows from the tuning of the open string; stopping it stretches it; tension, mass per length, speaking length and
stiff ends then give the frequency in Hz. Geometry after M. B. Anderson & R. G. Beausoleil, J. Acoust. Soc. Am. 156(1), 683
(2024), extended by relief, by a finger that presses deeper than the string's straight line, and by uneven mass.

Conventions
-----------
x in mm, zero at the design nut line, positive toward the bridge (the paper's nut setback has the opposite sign); heights in
mm above the plane of the fret crowns. Skew and tilt are what string 1's edge has more than the middle: they add in full at
string 1, nothing in the middle, and are taken off in full at the last string. A mapping {number: value} leaves out what is
zero. Cents are against equal temperament above the string's own open note; of the open note, against its nominal pitch.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from fretcheck.errors import UsageError
from fretcheck.neck.description import Neck
from tests.synth.false_string import shift_cents
from tests.synth.nominal import matter_of, open_note_hz
from tests.synth.string_matter import Reals, StringMatter

_MOST_OF_THE_GAP = 0.8  # the finger stays between the frets, however far behind the fret it is wanted


@dataclass(frozen=True, kw_only=True)
class BuiltNeck:
    """A neck with stated faults; without any it is the design, perfectly built.

    Examples
    --------
    >>> from tests.synth.demo import demo_neck
    >>> perfect, built = BuiltNeck(neck=demo_neck()), BuiltNeck(neck=demo_neck(), frets_mm={7: 0.4})
    >>> round(built.deviation_cents(1, 7) - perfect.deviation_cents(1, 7), 1)  # 1731.2 · 0.4 mm / 430 mm
    1.6
    """

    neck: Neck
    nut_mm: float = 0.0
    nut_skew_mm: float = 0.0
    nut_height_mm: float = 0.0
    """All nut slots too high by this; the saddle stays."""
    nut_heights_mm: Mapping[int, float] = field(default_factory=dict)
    """String → its own slot too high, on top of the common part."""
    saddle_mm: Mapping[int, float] = field(default_factory=dict)
    """String → saddle out of its designed place."""
    frets_mm: Mapping[int, float] = field(default_factory=dict)
    fret_tilts_mm: Mapping[int, float] = field(default_factory=dict)
    layout_mm: tuple[float, ...] = ()
    """Displacement of each fret from 1 on by a mistaken layout, see `layout_mistake`; empty for none."""
    relief_mm: float = 0.0
    """Depth of the neck's hollow midway between nut and last fret."""
    action_12_mm: float = 2.0
    """Height of the strings above fret 12 with the nut at its design height and a straight neck: sets the saddle's height."""
    design_nut_height_mm: float = 0.5
    """Height of the strings at the nut above the plane of the frets; 0 is taken where there is a zero fret."""
    end_stiffness: float = 1.0
    """Clamped ends of the vibrating string, 0 to 2, see `string_matter.stiff_end_factor`."""
    finger_behind_mm: float = 8.0
    finger_depth_mm: float = 0.0
    """How far the finger presses the string below the straight line from the saddle over the fret."""
    core_factors: Mapping[int, float] = field(default_factory=dict)
    """String → factor on its stiffness, along and across."""
    mass_factors: Mapping[int, float] = field(default_factory=dict)
    """String → factor on its mass per length; tuned to the same pitch, its tension follows."""
    false_strings: Mapping[int, tuple[float, ...]] = field(default_factory=dict)
    """String → relative excess of mass at evenly spaced points from nut to saddle, see `false_string`."""
    tuning_cents: Mapping[int, float] = field(default_factory=dict)
    """String → how far its open note is out of tune."""
    drift_cents_per_minute: Mapping[int, float] = field(default_factory=dict)
    hand_cents: Mapping[int, float] = field(default_factory=dict)
    """String → standard deviation from pluck to pluck of a stopped note, by uneven pressure of the finger."""
    matter: Mapping[int, StringMatter] = field(default_factory=dict)
    """String → its matter, where it is not to follow from the neck's description."""

    def __post_init__(self) -> None:
        """Refuse faults of parts that this neck has not got.

        Raises
        ------
        UsageError
            A string or fret number outside the neck, or a layout of another number of frets.
        """
        per_string = (
            "nut_heights_mm", "saddle_mm", "core_factors", "mass_factors", "false_strings", "tuning_cents",
            "drift_cents_per_minute", "hand_cents", "matter",
        )  # fmt: skip
        for names, limit in ((per_string, len(self.neck.strings)), (("frets_mm", "fret_tilts_mm"), self.neck.frets)):
            for name in names:
                for number in getattr(self, name):
                    if not 1 <= number <= limit:
                        raise UsageError(f"{name} names number {number}; this neck has 1 to {limit}")
        if self.layout_mm and len(self.layout_mm) != self.neck.frets:
            raise UsageError(f"layout_mm has {len(self.layout_mm)} displacements for {self.neck.frets} frets")

    def frequency_hz(self, string: int, fret: int, *, press: float = 0.0) -> float:
        """Partial 1 of a note; `press` is how many mm deeper than `finger_depth_mm` the finger presses."""
        return float(self._note(string, fret, press)[0])

    def inharmonicity(self, string: int, fret: int) -> float:
        """B of a note's partials, f_n = n·f0·√(1+B·n²)."""
        return float(self._note(string, fret, 0.0)[1])

    def deviation_cents(self, string: int, fret: int, *, press: float = 0.0) -> float:
        """Deviation of a note."""
        frequency = self.frequency_hz(string, fret, press=press)
        if fret == 0:
            return float(1200.0 * np.log2(frequency / open_note_hz(self.neck, string)))
        above = self.neck.cents_above_open(string, fret)
        return float(1200.0 * np.log2(frequency / self.frequency_hz(string, 0)) - above)

    @cached_property
    def frequencies_hz(self) -> Reals:
        """Partial 1 of every note, shape (strings, frets + 1); NaN at frets that lie behind a short string's nut."""
        return self._table(0)

    @cached_property
    def inharmonicities(self) -> Reals:
        """B of every note, shape (strings, frets + 1)."""
        return self._table(1)

    @cached_property
    def deviations_cents(self) -> Reals:
        """Deviation of every note, shape (strings, frets + 1)."""
        cents = np.empty_like(self.frequencies_hz)
        for row, string in enumerate(self.neck.strings):
            above = np.array(self.neck.fret_cents) - self.neck.fret_cents[string.first_fret]
            cents[row] = 1200.0 * np.log2(self.frequencies_hz[row] / self.frequencies_hz[row, 0]) - above
            cents[row, 0] = 1200.0 * np.log2(self.frequencies_hz[row, 0] / open_note_hz(self.neck, row + 1))
        return cents

    def side(self, string: int) -> float:
        """Where a string lies across the neck: 1 at string 1, −1 at the last, the strings of a course together."""
        courses = [number if one.course is None else -one.course for number, one in enumerate(self.neck.strings, start=1)]
        across = list(dict.fromkeys(courses))
        return 1.0 - 2.0 * across.index(courses[string - 1]) / (len(across) - 1) if len(across) > 1 else 0.0

    def fret_x_mm(self, string: int) -> Reals:
        """Where frets 1, 2, … stand under a string, shape (frets,)."""
        scale = self.neck.string(string).scale_length_mm
        numbers = np.arange(1, self.neck.frets + 1)
        x = scale * (1.0 - 2.0 ** (-np.array(self.neck.fret_cents[1:]) / 1200.0))
        if self.layout_mm:
            x = x + np.asarray(self.layout_mm) * (scale / self.neck.scale_length_mm)
        tilts = np.array([self.fret_tilts_mm.get(int(number), 0.0) for number in numbers])
        return np.asarray(x + [self.frets_mm.get(int(number), 0.0) for number in numbers] + self.side(string) * tilts)

    def nut_xy_mm(self, string: int) -> tuple[float, float]:
        """Where a string leaves its nut."""
        described = self.neck.string(string)
        x = self.neck.nut_distance_mm(described.first_fret, string) + described.nut_compensation_mm
        base = 0.0 if self.neck.zero_fret else self.design_nut_height_mm
        height = base + self.nut_height_mm + self.nut_heights_mm.get(string, 0.0)
        return x + self.nut_mm + self.side(string) * self.nut_skew_mm, height

    def saddle_xy_mm(self, string: int) -> tuple[float, float]:
        """Where a string meets its saddle."""
        described = self.neck.string(string)
        design_x = described.scale_length_mm + (described.saddle_setback_mm or 0.0)
        base = 0.0 if self.neck.zero_fret else self.design_nut_height_mm
        height = base + (self.action_12_mm - base) * design_x / (described.scale_length_mm / 2.0)
        return design_x + self.saddle_mm.get(string, 0.0), height

    def crowns_y_mm(self, string: int) -> Reals:
        """Heights of the crowns of frets 1, 2, …: a parabola below zero where the neck has relief."""
        x = self.fret_x_mm(string)
        return np.asarray(-self.relief_mm * 4.0 * (x / x[-1]) * (1.0 - x / x[-1]))

    def _table(self, what: int) -> Reals:
        rows = np.full((len(self.neck.strings), self.neck.frets + 1), np.nan)
        for row in range(len(self.neck.strings)):
            playable = [0, *self.neck.frets_of(row + 1)]
            rows[row, playable] = self._string(row + 1, 0.0)[what][playable]
        return rows

    def _note(self, string: int, fret: int, press: float) -> tuple[float, float]:
        if not 1 <= string <= len(self.neck.strings):
            raise UsageError(f"string {string} is not on this neck, which has 1 to {len(self.neck.strings)}")
        self.neck.cents_above_open(string, fret)  # raises where there is none
        if press == 0.0:
            return float(self.frequencies_hz[string - 1, fret]), float(self.inharmonicities[string - 1, fret])
        frequency, inharmonicity = self._string(string, press)
        return float(frequency[fret]), float(inharmonicity[fret])

    def _string(self, string: int, press: float) -> tuple[Reals, Reals]:
        """Frequency and B of the open string and at each fret."""
        matter = self._matter(string)
        speaking, whole = self._lengths(string, press)
        tuned_hz = open_note_hz(self.neck, string) * 2.0 ** (self.tuning_cents.get(string, 0.0) / 1200.0)
        strain = matter.strain_when_tuned(frequency_hz=tuned_hz, length_mm=float(whole[0]), end_stiffness=self.end_stiffness)
        at_rest = whole[0] / (1.0 + strain)
        strains = whole / at_rest - 1.0
        frequency = matter.frequency_hz(strain=strains, length_mm=speaking, end_stiffness=self.end_stiffness)
        beta = matter.beta(tension_n=matter.axial_stiffness_n * strains, length_mm=speaking)
        if string in self.false_strings:
            nut, saddle = self.nut_xy_mm(string)[0], self.saddle_xy_mm(string)[0]
            stops = np.clip((np.concatenate(([nut], self.fret_x_mm(string))) - nut) / (saddle - nut), 0.0, None)
            uneven = shift_cents(self.false_strings[string], stops)
            frequency = frequency * 2.0 ** ((uneven - uneven[0]) / 1200.0)  # the open string was tuned as it is
        return frequency, np.pi**2 * beta**2

    def _matter(self, string: int) -> StringMatter:
        plain = self.matter[string] if string in self.matter else matter_of(self.neck, string)
        core, mass = self.core_factors.get(string, 1.0), self.mass_factors.get(string, 1.0)
        return StringMatter(
            axial_stiffness_n=plain.axial_stiffness_n * core,
            bending_stiffness_n_mm2=plain.bending_stiffness_n_mm2 * core,
            mass_per_length_g_m=plain.mass_per_length_g_m * mass,
        )

    def _lengths(self, string: int, press: float) -> tuple[Reals, Reals]:
        """Speaking length and whole length from nut to saddle, of the open string and at each fret."""
        nut_x, nut_y = self.nut_xy_mm(string)
        saddle_x, saddle_y = self.saddle_xy_mm(string)
        fret_x, crown_y = self.fret_x_mm(string), self.crowns_y_mm(string)
        gap = np.diff(fret_x, prepend=min(nut_x, float(fret_x[0]) - 1.0))
        behind = np.minimum(self.finger_behind_mm, _MOST_OF_THE_GAP * gap)
        slope = (saddle_y - crown_y) / (saddle_x - fret_x)
        finger_x = fret_x - behind
        finger_y = crown_y - slope * behind - (self.finger_depth_mm + press)
        speaking = np.hypot(saddle_x - fret_x, saddle_y - crown_y)
        fret_to_finger = np.hypot(behind, crown_y - finger_y)
        finger_to_nut = np.hypot(finger_x - nut_x, nut_y - finger_y)
        opened = np.hypot(saddle_x - nut_x, saddle_y - nut_y)
        whole = speaking + fret_to_finger + finger_to_nut
        return np.concatenate(([opened], speaking)), np.concatenate(([opened], whole))
