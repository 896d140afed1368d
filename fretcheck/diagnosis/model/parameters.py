"""Everything that may be a little out on a sound neck, and everything that may be badly out on a faulty one.

A parameter moves one local quantity of `Stop` at each cell, by its pattern over the cells. Each has a narrow normal prior: how
far it lies out on a neck well made. A fault widens some of them: parts are usually made well and now and then botched, and that
mixture is what lets a botched fret stand alone instead of being smeared over its neighbours.

Conventions: mm and cents; arrays run over cells. Spreads are standard deviations. They are common practice without a source
where nothing else is said: slots to 0.05 mm, nut slots and saddles by file and rule. A saddle's parts (bridge, slant, its own)
together make 0.21 mm in the widest workshop, half of that in the tidiest (`Parameters.narrowed`), a hand's depth of pressure
(common, and a string's own) 0.07 mm about 0.08 mm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.diagnosis.model.as_designed import AsDesigned, octave
from fretcheck.diagnosis.model.note_field import low_frets, usual_depth
from fretcheck.diagnosis.model.stopped_string import partials
from fretcheck.diagnosis.result import Cause
from fretcheck.neck.heights import action_12, relief
from fretcheck.units import CENTS_PER_NEPER


@dataclass(frozen=True, kw_only=True)
class Botch:
    """One way of being badly out: how often it happens (`share`), how far out (`toward`), give or take `spread`."""

    share: float
    spread: float
    toward: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Spread:
    """How far a part lies out when made well (`sound`), and the ways in which it is botched."""

    sound: float
    botched: tuple[Botch, ...]

    @classmethod
    def about_nothing(cls, *, sound: float, faulty: float, share: float) -> Spread:
        """Botched ones lie anywhere about the right place."""
        return cls(sound=sound, botched=(Botch(share=share, spread=faulty),))


# A botched fret is out by what a saw jumps or a mark is misread: tenths, now and then more (common practice, no source). About
# nothing: ways about ±0.28 mm found no more (30 necks a row of the foreign worlds), and drew small ones outward. With shares of
# a third the 0.40 mm of `mild` were named first in 26 of 30, not 30, and as many of its sound necks got a finding.
FRET = Spread(sound=0.035, botched=(Botch(share=0.035, spread=0.28), Botch(share=0.005, spread=0.8)))
TILT = Spread(sound=0.040, botched=(Botch(share=0.03, spread=0.28), Botch(share=0.004, spread=0.8)))
NUT = Spread.about_nothing(sound=0.07, faulty=0.9, share=0.04)
NUT_SKEW = Spread.about_nothing(sound=0.03, faulty=0.5, share=0.02)
# Nut slots are left high far more often than cut low
NUT_HEIGHT = Spread(sound=0.06, botched=(Botch(share=0.10, spread=0.25, toward=0.30),))
SLOT_HEIGHT = Spread.about_nothing(sound=0.052, faulty=0.4, share=0.015)
BRIDGE = Spread.about_nothing(sound=0.11, faulty=2.0, share=0.04)
SADDLE_SLANT = Spread.about_nothing(sound=0.07, faulty=1.5, share=0.02)
# As a share of the described setbacks' departures from a straight line: one cast or bought straight lies there in full
SADDLE_STRAIGHT = Spread(sound=0.014, botched=(Botch(share=0.03, spread=0.2, toward=1.0),))
# A flat worn into a crown leaves the string on one of its edges, 0.1 to 0.6 mm from the middle; a fresh one on its top
WEAR = Spread(sound=0.02, botched=(Botch(share=0.08, spread=0.15),))
WORN_FRETS = 5
SADDLE = Spread.about_nothing(sound=0.17, faulty=2.5, share=0.02)
SCALE = Spread.about_nothing(sound=0.065, faulty=3.0, share=0.01)
# A false string is off by three to nine cents at its worst note (common practice, no source), about half of it over all. With 6.0
# a string was blamed for 2 of 30 saddles 2.5 mm off in `mild`, 7 of 30 in `hard`; so for none and 3, strings were found as before
STRING = Spread.about_nothing(sound=0.40, faulty=3.0, share=0.02)
OPEN_NOTE = Spread.about_nothing(sound=0.20, faulty=6.0, share=0.01)
OPEN_OWN_CENTS = 0.10  # plucked a little harder or softer than the other open strings
OPEN_COMMON_MEAN, OPEN_COMMON = 0.10, 0.20  # of all opens, while searching; in the end by `inference.OPENS`
PRESSURE = Spread.about_nothing(sound=0.065, faulty=0.30, share=0.02)
PRESSURE_MEAN_MM = 0.08

BRIDGE_BY_EAR = Spread.about_nothing(sound=0.28, faulty=2.0, share=0.04)
# Where the description gives no setback: from where the string's octave is in tune, as far as an ear and a file come
SADDLE_BY_EAR = Spread.about_nothing(sound=0.35, faulty=2.5, share=0.02)
STRETCHES = ("log_kappa", "log_beta", "end", "saddle_height", "relief")  # Local quantities that a saddle set by ear makes up for
FINGER_BEHIND_MM = 1.5
PRESSURE_OWN_MM = 0.02
# What the finger presses deeper at fret 1 than up the neck, on all strings: +1 to +4 cents on the stiffest of a steel guitar
FINGER_LOW_MEAN_MM, FINGER_LOW_MM = 0.06, 0.09
LIGHT_MM, LIGHT_LOW_MM = 0.03, 0.03
FIRM_MEAN_MM, FIRM_MM = 0.35, 0.20  # beyond the usual depth
END, END_OWN = 0.10, 0.04
SADDLE_HEIGHT_ACROSS_MM, SADDLE_HEIGHT_OWN_MM = 0.3, 0.08

LEAST_DEPARTURE_MM = 0.4  # Setbacks nearer than this to a straight line: a straight saddle serves them

# What the width of a workshop and a hand leaves alone: what is measured, known by physics, pressed on purpose, or the strings'
# own: a string is as even as it was made and as it is old, whoever put it on (narrowed, old ones' intervals held in 63, so in
# 76 of 100); places of frets and nut, marked by the same rules everywhere (the nut's narrowed too, its intervals held in 9, not
# 12 of 15 necks); and the finger's depth, which sound alone does not tell from the nut's height (narrowed, a nut 0.40 mm high
# was told as 0.56 ± 0.07)
PLACES = ("fret_position", "nut_position", "nut_skew", "own_nut")
KNOWN = ("string", "pressure", "finger_low", "log_kappa", "log_beta", "light", "light_low", "firm")
# What is cut and set differs less between workshops than heights, ends and fingers do: it is narrowed by two thirds of what these
# are, and its spreads are the widest workshop's. Narrowed by a third, from spreads a quarter to a half smaller, the slants of
# mildly real necks held in 78 of 100, tilts 82, slots and strings 84 (a dozen rows of 24); so in 89, 86, 90 and 88, a careful
# workshop's in 89 to 99, and as many faults were named.
SADDLES = ("bridge", "saddle", "saddle_slant", "saddle_straight")
CUT_AND_SET = ("fret_tilt", "nut_height", "slot_height", *SADDLES, "scale_length", "wear")

UNEVENNESS_ORDERS = 3
UNEVENNESS_COLUMNS = 4


@dataclass(frozen=True, kw_only=True)
class Key:
    """Names a parameter or a fault."""

    kind: str
    fret: int | None = None
    string: int | None = None


@dataclass(frozen=True, kw_only=True)
class Fault:
    """Adds an extra part to each of `columns`, in one of several `ways`, whose spread is that of the extra part alone."""

    cause: Cause
    key: Key
    columns: tuple[int, ...]
    ways: tuple[Botch, ...]


@dataclass(kw_only=True)
class Parameters:
    """The table of parameters of one neck. Filled by `parameters_of`, then only read."""

    keys: list[Key] = field(default_factory=list)
    local: list[str] = field(default_factory=list)
    patterns: list[Reals] = field(default_factory=list)
    means: list[float] = field(default_factory=list)
    spreads: list[float] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    as_usual: set[str] = field(default_factory=lambda: {*PLACES, *KNOWN})  # Kinds whose spreads no workshop or hand narrows
    # Column of a saddle set by ear → what it makes up for: its change per unit of every parameter
    made_up: dict[int, Reals] = field(default_factory=dict)

    def add(
        self,
        kind: str,
        local: str,
        pattern: Reals,
        spread: float,
        *,
        mean: float = 0.0,
        fret: int | None = None,
        string: int | None = None,
    ) -> int:
        """Append one and give its column."""
        self.keys.append(Key(kind=kind, fret=fret, string=string))
        self.local.append(local)
        self.patterns.append(np.asarray(pattern, dtype=float))
        self.means.append(mean)
        self.spreads.append(spread)
        return len(self.keys) - 1

    def fault(self, cause: Cause, columns: Sequence[int], spread: Spread) -> None:
        """Let `columns` be faulty together."""
        ways = tuple(replace(one, spread=math.sqrt(max(one.spread**2 - spread.sound**2, 1e-12))) for one in spread.botched)
        self.faults.append(Fault(cause=cause, key=self.keys[columns[0]], columns=tuple(columns), ways=ways))

    def with_finger(self, *levels: tuple[float, float]) -> Parameters:
        """The same table for a player whose finger is so uneven: factors on the usual unevenness, and their shares."""
        factor, square = (sum(share * level**power for level, share in levels) for power in (1, 2))
        low = math.sqrt(square * FINGER_LOW_MM**2 + (square - factor**2) * FINGER_LOW_MEAN_MM**2)
        alike = self.with_prior(self.columns("own_pressure"), 0.0, math.sqrt(square) * PRESSURE_OWN_MM)
        return alike.with_prior(self.columns("finger_low"), factor * FINGER_LOW_MEAN_MM, low)

    def with_opens(self, mean: float, spread: float) -> Parameters:
        """The same table for a player whose open strings read so much sharper than stopped ones."""
        return self.with_prior([self.keys.index(Key(kind="open_note"))], mean, spread)

    def narrowed(self, width: float) -> Parameters:
        """The same table for a workshop and a hand of this width, as a share of the widest; what was measured aside."""
        spreads = list(self.spreads)
        for number, key in enumerate(self.keys):
            if key.kind == "open_note" and key.string is not None:
                spreads[number] = math.sqrt(spreads[number] ** 2 - (1.0 - width**2) * OPEN_OWN_CENTS**2)
            elif key.kind not in self.as_usual:
                spreads[number] *= (1.0 + 2.0 * width) / 3.0 if key.kind in CUT_AND_SET else width
        return replace(self, spreads=spreads)

    def with_prior(self, columns: Sequence[int], mean: float, spread: float) -> Parameters:
        """The same table with another prior of some parameters."""
        means, spreads = list(self.means), list(self.spreads)
        for column in columns:
            means[column], spreads[column] = mean, spread
        return replace(self, means=means, spreads=spreads)

    @cached_property
    def mixing(self) -> Reals:
        """θ in terms of independent parameters: 1 on the diagonal, and what saddles set by ear make up for."""
        matrix = np.eye(len(self.keys))
        for column, change in self.made_up.items():
            matrix[column] += change
        return matrix

    @cached_property
    def prior_mean(self) -> Reals:
        """Of θ on a sound neck."""
        return np.asarray(self.mixing @ np.array(self.means))

    def column(self, kind: str, *, fret: int | None = None, string: int | None = None) -> int | None:
        """Where a parameter stands; None when this neck has none such."""
        try:
            return self.keys.index(Key(kind=kind, fret=fret, string=string))
        except ValueError:
            return None

    @cached_property
    def matrix(self) -> Reals:
        """All patterns, shape (parameters, cells)."""
        return np.array(self.patterns)

    @cached_property
    def of_saddle(self) -> list[int]:
        """Columns that move saddles."""
        return [number for number, local in enumerate(self.local) if local == "saddle"]

    def columns(self, kind: str) -> list[int]:
        """All columns of a kind."""
        return [number for number, key in enumerate(self.keys) if key.kind == kind]


def parameters_of(design: AsDesigned, *, open_u_cents: Sequence[float]) -> Parameters:
    """The table for one neck.

    `open_u_cents`: per string: standard uncertainty of the open note that its fretted notes are counted from.
    """
    table = Parameters()
    neck = design.neck
    count = len(neck.strings)
    string, side = design.string, design.side[design.string]
    ones = np.ones(len(design.cells))
    of = [(string == index).astype(float) for index in range(count)]
    first = min(one.first_fret for one in neck.strings)
    on_common_nut = np.array([one.first_fret == first for one in neck.strings])[string].astype(float)
    several = len(set(design.side.tolist())) > 1

    for fret in sorted(set(design.fret.tolist())):
        here = (design.fret == fret).astype(float)
        table.fault("fret_position", [table.add("fret_position", "fret", here, FRET.sound, fret=fret)], FRET)
        if several:
            table.fault("fret_tilt", [table.add("fret_tilt", "fret", here * side, TILT.sound, fret=fret)], TILT)
    share = design.fret_x_mm / design.scale_mm
    table.fault("scale_length", [table.add("scale_length", "fret", share, SCALE.sound)], SCALE)

    table.fault("nut_position", [table.add("nut_position", "nut", on_common_nut, NUT.sound)], NUT)
    if several:
        table.fault("nut_position", [table.add("nut_skew", "nut", on_common_nut * side, NUT_SKEW.sound)], NUT_SKEW)
    if not neck.zero_fret:
        table.fault("nut_height", [table.add("nut_height", "nut_height", ones, NUT_HEIGHT.sound)], NUT_HEIGHT)
    bridge = BRIDGE if any(one.saddle_setback_mm is not None for one in neck.strings) else BRIDGE_BY_EAR
    table.fault("saddle_position", [table.add("bridge", "saddle", ones, bridge.sound)], bridge)
    if several:
        table.fault("saddle_slant", [table.add("saddle_slant", "saddle", side, SADDLE_SLANT.sound)], SADDLE_SLANT)
    for index in range(count):
        _add_string(table, design, index=index, here=of[index], several=count > 1, open_u_cents=open_u_cents[index])
    _straight_saddle(table, design)
    _wear(table, design)
    table.add("open_note", "cents", -ones, OPEN_COMMON, mean=OPEN_COMMON_MEAN)
    table.add("end", "end", ones, END)
    table.add("finger", "finger", ones, FINGER_BEHIND_MM)
    action, hollow = action_12(neck, 1), relief(neck)
    table.as_usual |= {name for name, one in (("saddle_height", action), ("relief", hollow)) if one.described}
    table.add("saddle_height", "saddle_height", ones, 2.0 * action.u_mm)
    if several and not action.described:
        table.add("saddle_height_across", "saddle_height", side, SADDLE_HEIGHT_ACROSS_MM)
    table.add("relief", "relief", design.hollow, hollow.u_mm, mean=0.0 if hollow.described else hollow.mm)
    _pressures(table, design)
    _set_by_ear(table, design)
    return table


def _set_by_ear(table: Parameters, design: AsDesigned) -> None:
    """Saddles without a described place follow the stretch and stiffness that their strings really have, heard at the octave."""
    undescribed = [number for number, one in enumerate(design.neck.strings, start=1) if one.saddle_setback_mm is None]
    if not undescribed:
        return
    slopes = partials(design.stop)
    for number in undescribed:
        cell = design.cells.index(octave(design.neck, number))
        column = table.column("saddle", string=number)
        column = table.column("bridge") if column is None else column
        assert column is not None
        table.made_up[column] = np.array(
            [
                -pattern[cell] * slopes[local][cell] / slopes["saddle"][cell] if local in STRETCHES else 0.0
                for local, pattern in zip(table.local, table.patterns, strict=True)
            ]
        )


def _straight_saddle(table: Parameters, design: AsDesigned) -> None:
    """A saddle in one straight line where the description gives each string a place of its own."""
    if any(one.saddle_setback_mm is None for one in design.neck.strings):
        return
    setbacks = design.setbacks_mm
    line = np.column_stack([np.ones(len(setbacks)), design.side])
    off = line @ np.linalg.lstsq(line, setbacks, rcond=None)[0] - setbacks
    if np.max(np.abs(off)) > LEAST_DEPARTURE_MM:
        column = table.add("saddle_straight", "saddle", off[design.string], SADDLE_STRAIGHT.sound)
        table.fault("saddle_slant", [column], SADDLE_STRAIGHT)


def _wear(table: Parameters, design: AsDesigned) -> None:
    """Crowns worn at the low frets under the plain strings (of all plain or all wound ones: the upper half)."""
    count = len(design.neck.strings)
    plain = np.array([one.construction == "plain" for one in design.neck.strings])
    strings = plain if plain.any() and not plain.all() else np.arange(count) < (count + 1) // 2
    worn = strings[design.string] & (design.fret <= WORN_FRETS)
    parts = [2.0 * worn]  # most of it alike: the same hand wore them
    parts += [worn & (design.fret == fret) for fret in sorted(set(design.fret[worn].tolist()))]
    parts += [worn & (design.string == string) for string in sorted(set(design.string[worn].tolist()))]
    columns = [table.add("wear", "fret", part.astype(float), WEAR.sound) for part in parts if part.any()]
    if columns and count > 1:
        table.fault("fret_wear", columns, WEAR)


def _add_string(table: Parameters, design: AsDesigned, *, index: int, here: Reals, several: bool, open_u_cents: float) -> None:
    """What belongs to one string alone."""
    number = index + 1
    neck = design.neck
    described = neck.string(number)
    if described.first_fret > min(one.first_fret for one in neck.strings):
        table.fault("nut_position", [table.add("own_nut", "nut", here, NUT.sound, string=number)], NUT)
    if several and not neck.zero_fret:
        slot = table.add("slot_height", "nut_height", here, SLOT_HEIGHT.sound, string=number)
        table.fault("nut_height", [slot], SLOT_HEIGHT)
    if several:
        saddle = SADDLE if described.saddle_setback_mm is not None else SADDLE_BY_EAR
        table.fault("saddle_position", [table.add("saddle", "saddle", here, saddle.sound, string=number)], saddle)
        table.add("own_end", "end", here, END_OWN, string=number)
        table.add("own_saddle_height", "saddle_height", here, SADDLE_HEIGHT_OWN_MM, string=number)
        table.add("own_pressure", "depth", here * usual_depth(design), PRESSURE_OWN_MM, string=number)
    constants = design.constants[index]
    table.add("log_kappa", "log_kappa", here, constants.kappa_prior.u_rel, string=number)
    table.add("log_beta", "log_beta", here, constants.beta0_prior.u_rel, string=number)
    uneven = uneven_string_columns(design, index)
    columns = [table.add("string", "cents", one, STRING.sound, string=number) for one in uneven]
    if columns:
        table.fault("string", columns, STRING)
    open_note = table.add("open_note", "cents", -here, math.hypot(open_u_cents, OPEN_OWN_CENTS), string=number)
    table.fault("tuning_drift", [open_note], OPEN_NOTE)


def _pressures(table: Parameters, design: AsDesigned) -> None:
    """The finger's depth: in playing, and on purpose in the press test."""
    usual = usual_depth(design)
    low = low_frets(design)
    pressure = table.add("pressure", "depth", usual, PRESSURE.sound, mean=PRESSURE_MEAN_MM)
    table.fault("finger_pressure", [pressure], PRESSURE)
    table.add("finger_low", "depth", low * usual, FINGER_LOW_MM, mean=FINGER_LOW_MEAN_MM)
    light, firm = (np.array([cell.press == press for cell in design.cells], dtype=float) for press in ("light", "firm"))
    if light.any():
        table.add("light", "depth", light, LIGHT_MM)
        table.add("light_low", "depth", light * low, LIGHT_LOW_MM)
    if firm.any():
        table.add("firm", "depth", firm, FIRM_MM, mean=FIRM_MEAN_MM)


def uneven_string_columns(design: AsDesigned, index: int) -> list[Reals]:
    """Smooth ways in which a string of uneven mass reads false, as patterns over cells; together of unit variance.

    A small relative excess of mass δ(x) lowers partial 1 of the stretch that sounds by ½·∫δ·2sin² (Rayleigh's principle;
    Theory of Sound, vol. 1, from memory). δ is taken as a sum of the first cosines and sines over the string; the patterns
    are the principal components of what it does to the notes against the open one.
    """
    here = design.string == index
    if not here.any():
        return []
    inside = (np.arange(200) + 0.5) / 200
    weight = 2.0 * np.sin(np.pi * inside) ** 2 / 200
    stops = np.concatenate(([0.0], 1.0 - design.speaking_mm[here] / design.open_scale_mm[index]))
    points = stops[:, None] + (1.0 - stops[:, None]) * inside
    shifts = []
    for order in range(1, UNEVENNESS_ORDERS + 1):
        for wave in (np.cos, np.sin):
            shift = -0.5 * CENTS_PER_NEPER * (wave(np.pi * order * points) @ weight)
            shifts.append(shift[1:] - shift[0])
    matrix = np.column_stack(shifts)
    left, sizes, _ = np.linalg.svd(matrix, full_matrices=False)
    kept = min(UNEVENNESS_COLUMNS, int(np.sum(sizes > 1e-6 * sizes[0])))
    unit = np.sqrt(len(matrix) / np.sum(sizes[:kept] ** 2))
    columns = []
    for number in range(kept):
        pattern = np.zeros(len(design.cells))
        pattern[here] = left[:, number] * sizes[number] * unit
        columns.append(pattern)
    return columns
