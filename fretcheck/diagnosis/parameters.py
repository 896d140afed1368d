"""Everything that may be a little out on a sound neck, and everything that may be badly out on a faulty one.

A parameter moves one local quantity of `Stop` at each cell, by its pattern over the cells. Each has a narrow normal prior: how
far it lies out on a neck well made. A fault widens some of them: parts are usually made well and now and then botched, and that
mixture is what lets a botched fret stand alone instead of being smeared over its neighbours.

Conventions
-----------
mm and cents; arrays run over cells. Spreads are standard deviations. They are common practice without a source where nothing
else is said: slots to 0.05 mm, nut slots and saddles by file and rule. A saddle's parts (bridge, slant, its own) together make
0.1 mm, a hand's depth of pressure (common, and a string's own) 0.06 mm about 0.08 mm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fretcheck.diagnosis.as_designed import AsDesigned
from fretcheck.diagnosis.result import Cause
from fretcheck.diagnosis.stopped_string import CENTS_PER_NEPER
from fretcheck.neck.description import Neck
from fretcheck.neck.heights import action_12, relief

Reals = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Botch:
    """One way of being badly out: how often it happens (`share`), how far out (`toward`), give or take `spread`."""

    share: float
    spread: float
    toward: float = 0.0


def either_way(*, share: float, toward: float, spread: float) -> tuple[Botch, ...]:
    """Out by about `toward` to the one side or the other, as often."""
    return tuple(Botch(share=0.5 * share, spread=spread, toward=sign * toward) for sign in (1.0, -1.0))


@dataclass(frozen=True, kw_only=True)
class Spread:
    """How far a part lies out when made well (`sound`), and the ways in which it is botched."""

    sound: float
    botched: tuple[Botch, ...]

    @classmethod
    def about_nothing(cls, *, sound: float, faulty: float, share: float) -> Spread:
        """Botched ones lie anywhere about the right place."""
        return cls(sound=sound, botched=(Botch(share=share, spread=faulty),))


FRET = Spread(sound=0.035, botched=(*either_way(share=0.0175, toward=0.28, spread=0.13), Botch(share=0.005, spread=0.8)))
TILT = Spread(sound=0.022, botched=(*either_way(share=0.015, toward=0.28, spread=0.13), Botch(share=0.004, spread=0.8)))
"""A botched fret is out by what a saw jumps or a mark is misread: tenths, either way, now and then more. Were botched ones
likeliest about the right place, half of them would be no fault at all, and the evidence for one that is would be thinned out
(V. E. Johnson & D. Rossell, J. R. Stat. Soc. B 72, 143, 2010, on priors that vanish at the null; from memory)."""
NUT = Spread.about_nothing(sound=0.05, faulty=0.9, share=0.04)
NUT_SKEW = Spread.about_nothing(sound=0.03, faulty=0.5, share=0.02)
NUT_HEIGHT = Spread(sound=0.03, botched=(Botch(share=0.04, spread=0.25, toward=0.30),))
"""Nut slots are left high far more often than cut low."""
SLOT_HEIGHT = Spread.about_nothing(sound=0.03, faulty=0.4, share=0.015)
BRIDGE = Spread.about_nothing(sound=0.02, faulty=2.0, share=0.04)
SADDLE_SLANT = Spread.about_nothing(sound=0.015, faulty=1.5, share=0.02)
SADDLE = Spread.about_nothing(sound=0.095, faulty=2.5, share=0.02)
SCALE = Spread.about_nothing(sound=0.05, faulty=3.0, share=0.01)
STRING = Spread.about_nothing(sound=0.20, faulty=6.0, share=0.02)
OPEN_NOTE = Spread.about_nothing(sound=0.13, faulty=6.0, share=0.01)
PRESSURE = Spread.about_nothing(sound=0.055, faulty=0.30, share=0.02)
PRESSURE_MEAN_MM = 0.08

UNKNOWN_BRIDGE = Spread.about_nothing(sound=2.5, faulty=3.0, share=0.01)
UNKNOWN_SLANT = Spread.about_nothing(sound=1.0, faulty=1.5, share=0.01)
UNKNOWN_SADDLE = Spread.about_nothing(sound=1.2, faulty=3.0, share=0.02)
"""Where the description gives no setback at all: saddles are then set somewhere, by ear or by rule."""
FINGER_BEHIND_MM = 1.5
PRESSURE_OWN_MM = 0.015
LIGHT_MEAN_MM, LIGHT_SOUND_MM = 0.02, 0.02
FIRM_MEAN_MM, FIRM_SOUND_MM = 0.6, 0.25
END, END_OWN = 0.05, 0.02
SADDLE_HEIGHT_OWN_MM = 0.04
CROWN_MM = 0.01  # a worn or uneven crown: each note by itself

UNEVENNESS_ORDERS = 3
UNEVENNESS_COLUMNS = 4


@dataclass(frozen=True, kw_only=True)
class Key:
    """Names a parameter or a fault."""

    kind: str
    fret: int | None = None
    string: int | None = None


@dataclass(frozen=True, kw_only=True)
class Way:
    """A fault's extra part when it is there in one way: spread `extra` about `toward`, with prior probability `share`."""

    share: float
    extra: float
    toward: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Fault:
    """Adds an extra part to each of `columns`, in one of several `ways`."""

    cause: Cause
    key: Key
    columns: tuple[int, ...]
    ways: tuple[Way, ...]


@dataclass(kw_only=True)
class Parameters:
    """The table of parameters of one neck. Filled by `parameters_of`, then only read."""

    keys: list[Key] = field(default_factory=list)
    local: list[str] = field(default_factory=list)
    patterns: list[Reals] = field(default_factory=list)
    means: list[float] = field(default_factory=list)
    spreads: list[float] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)

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
        ways = tuple(
            Way(share=one.share, extra=math.sqrt(max(one.spread**2 - spread.sound**2, 1e-12)), toward=one.toward)
            for one in spread.botched
        )
        self.faults.append(Fault(cause=cause, key=self.keys[columns[0]], columns=tuple(columns), ways=ways))

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

    def columns(self, kind: str) -> list[int]:
        """All columns of a kind."""
        return [number for number, key in enumerate(self.keys) if key.kind == kind]


def setbacks_known(neck: Neck) -> bool:
    """Whether the description says where the saddles should be."""
    return any(one.saddle_setback_mm is not None for one in neck.strings)


def parameters_of(design: AsDesigned, *, open_u_cents: Sequence[float]) -> Parameters:
    """The table for one neck.

    Parameters
    ----------
    design : AsDesigned
    open_u_cents : sequence of float
        Per string: standard uncertainty of the open note that its fretted notes are counted from.
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
    scales = np.array([one.scale_length_mm for one in neck.strings])[string]
    table.fault("scale_length", [table.add("scale_length", "fret", design.fret_x_mm / scales, SCALE.sound)], SCALE)

    table.fault("nut_position", [table.add("nut_position", "nut", on_common_nut, NUT.sound)], NUT)
    if several:
        table.fault("nut_position", [table.add("nut_skew", "nut", on_common_nut * side, NUT_SKEW.sound)], NUT_SKEW)
    if not neck.zero_fret:
        table.fault("nut_height", [table.add("nut_height", "nut_height", ones, NUT_HEIGHT.sound)], NUT_HEIGHT)
    known = setbacks_known(neck)
    bridge, slant = (BRIDGE, SADDLE_SLANT) if known else (UNKNOWN_BRIDGE, UNKNOWN_SLANT)
    table.fault("saddle_position", [table.add("bridge", "saddle", ones, bridge.sound)], bridge)
    if several:
        table.fault("saddle_position", [table.add("saddle_slant", "saddle", side, slant.sound)], slant)
    for index in range(count):
        _own(table, design, index=index, here=of[index], several=count > 1, open_u_cents=open_u_cents[index])
    table.add("end", "end", ones, END)
    table.add("finger", "finger", ones, FINGER_BEHIND_MM)
    table.add("saddle_height", "saddle_height", ones, 2.0 * action_12(neck, 1).u_mm)
    hollow = relief(neck)
    table.add("relief", "relief", design.hollow, hollow.u_mm, mean=0.0 if hollow.described else hollow.mm)
    _pressures(table, design)
    return table


def _own(table: Parameters, design: AsDesigned, *, index: int, here: Reals, several: bool, open_u_cents: float) -> None:
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
        saddle = SADDLE if described.saddle_setback_mm is not None else UNKNOWN_SADDLE
        table.fault("saddle_position", [table.add("saddle", "saddle", here, saddle.sound, string=number)], saddle)
        table.add("own_end", "end", here, END_OWN, string=number)
        table.add("own_saddle_height", "saddle_height", here, SADDLE_HEIGHT_OWN_MM, string=number)
        table.add("own_pressure", "depth", here * _played(design), PRESSURE_OWN_MM, string=number)
    constants = design.constants[index]
    table.add("log_kappa", "log_kappa", here, constants.kappa_prior.u_rel, string=number)
    table.add("log_beta", "log_beta", here, constants.beta0_prior.u_rel, string=number)
    uneven = uneven_string_columns(design, index)
    columns = [table.add("string", "cents", one, STRING.sound, string=number) for one in uneven]
    if columns:
        table.fault("string", columns, STRING)
    open_note = table.add("open_note", "cents", -here, max(open_u_cents, OPEN_NOTE.sound), string=number)
    table.fault("tuning_drift", [open_note], OPEN_NOTE)


def _played(design: AsDesigned) -> Reals:
    return np.array([cell.press is None for cell in design.cells], dtype=float)


def _pressures(table: Parameters, design: AsDesigned) -> None:
    """The finger's depth: in playing, and on purpose in the press test."""
    pressure = table.add("pressure", "depth", _played(design), PRESSURE.sound, mean=PRESSURE_MEAN_MM)
    table.fault("finger_pressure", [pressure], PRESSURE)
    for press, mean, spread in (("light", LIGHT_MEAN_MM, LIGHT_SOUND_MM), ("firm", FIRM_MEAN_MM, FIRM_SOUND_MM)):
        here = np.array([cell.press == press for cell in design.cells], dtype=float)
        if here.any():
            table.add(press, "depth", here, spread, mean=mean)


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
