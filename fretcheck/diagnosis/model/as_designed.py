"""A perfectly built neck, laid out as arrays for the forward model, and what it would read.

Even a perfect neck does not read zero: stopping a string stretches it. What it would read is shown beside what was heard.

Conventions: a cell is one string stopped at one fret, in one manner (None as in playing; light, firm as in the press test).
Arrays run over cells. mm and cents; heights above the plane of the fret crowns. A short string is a string of its own, shorter
scale: γ counts from its first fret.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fretcheck.arrays import Reals
from fretcheck.diagnosis.model.stopped_string import Stop, partials, sharpness_cents
from fretcheck.neck.description import Neck
from fretcheck.neck.heights import hollow, nut_height, saddle_height_mm
from fretcheck.neck.physics import StringConstants, string_constants
from fretcheck.neck.temperament import CENTS_PER_OCTAVE

Press = str | None

FINGER_BEHIND_MM = 8.0  # about half a fingertip; common practice, no source
NEWTON_TURNS = 4  # sharpness is nearly linear in the setback: the third turn moves it by less than 0.001 mm
MOST_OF_THE_GAP = 0.8  # the finger stays between the frets


@dataclass(frozen=True, kw_only=True)
class Cell:
    """One string stopped at one fret."""

    string: int
    fret: int
    press: Press = None


@dataclass(frozen=True, kw_only=True)
class AsDesigned:
    """The neck's cells and what the design says of each."""

    neck: Neck
    cells: tuple[Cell, ...]
    constants: tuple[StringConstants, ...]

    @cached_property
    def string(self) -> NDArray[np.intp]:
        """Index from 0 of each cell's string."""
        return np.array([cell.string - 1 for cell in self.cells], dtype=np.intp)

    @cached_property
    def fret(self) -> NDArray[np.intp]:
        return np.array([cell.fret for cell in self.cells], dtype=np.intp)

    @cached_property
    def side(self) -> Reals:
        """Across the neck, per string: 1 at string 1, −1 at the last; strings of a course lie together."""
        return across(self.neck)

    @cached_property
    def scale_mm(self) -> Reals:
        """Scale length of each cell's string, from the line of the common nut: of a short string too."""
        return np.array([string.scale_length_mm for string in self.neck.strings])[self.string]

    @cached_property
    def open_scale_mm(self) -> Reals:
        """Per string: designed length from its own nut, without the saddle's setback."""
        return np.array([self.neck.speaking_length_mm(number, 0) for number in range(1, len(self.neck.strings) + 1)])

    @cached_property
    def speaking_mm(self) -> Reals:
        """Per cell: designed length from the fret, without the saddle's setback."""
        return np.array([self.neck.speaking_length_mm(cell.string, cell.fret) for cell in self.cells])

    @cached_property
    def fret_x_mm(self) -> Reals:
        """Per cell: where the fret stands, from its own string's nut line at fret 0."""
        return self.scale_mm - self.speaking_mm

    @cached_property
    def hollow(self) -> Reals:
        """Per cell: share of the neck's relief by which the fret's crown lies low, a parabola from the nut to the last fret."""
        return np.array([hollow(self.neck, fret) for fret in self.fret.tolist()])

    def nut_heights_mm(self) -> Reals:
        """Per string: designed height at the nut; none over a zero fret."""
        return np.array([nut_height(self.neck, number).mm for number in range(1, len(self.neck.strings) + 1)])

    @cached_property
    def setbacks_mm(self) -> Reals:
        """Per string: how far beyond the scale length its saddle belongs.

        As described; else where it puts the octave (or the fret nearest to it) in tune with the open note: so a saddle is set by
        ear.
        """
        described = [string.saddle_setback_mm for string in self.neck.strings]
        setbacks = np.array([string.known_setback_mm for string in self.neck.strings])
        if None not in described:
            return setbacks
        octaves = AsDesigned(
            neck=self.neck, cells=tuple(octave(self.neck, n + 1) for n in range(len(described))), constants=self.constants
        )
        for _ in range(NEWTON_TURNS):
            stop = octaves._stop(setbacks)
            by_ear = setbacks - sharpness_cents(stop) / partials(stop)["saddle"]
            setbacks = np.where([one is None for one in described], by_ear, setbacks)
        return setbacks

    def table(self, cents: Reals) -> Reals:
        """Values of the cells as a table, shape (strings, frets + 1): column 0 is 0, NaN where a string has no such fret."""
        table = np.full((len(self.neck.strings), self.neck.frets + 1), np.nan)
        table[:, 0] = 0.0
        table[self.string, self.fret] = cents
        return table

    @cached_property
    def stop(self) -> Stop:
        """All cells as designed, touched as a light hand does."""
        return self._stop(self.setbacks_mm)

    def _stop(self, setbacks: Reals) -> Stop:
        """With these setbacks of the saddles, per string."""
        size = len(self.cells)
        scale = self.open_scale_mm[self.string]
        nut_height = self.nut_heights_mm()
        rise = np.array([saddle_height_mm(self.neck, number) for number in range(1, len(self.neck.strings) + 1)])
        gap = np.array([self.neck.speaking_length_mm(cell.string, cell.fret - 1) for cell in self.cells]) - self.speaking_mm
        zero = np.zeros(size)
        return Stop(
            scale=scale,
            ratio=scale / self.speaking_mm,
            fret=zero,
            nut=np.array([string.nut_compensation_mm for string in self.neck.strings])[self.string],
            saddle=setbacks[self.string],
            nut_height=nut_height[self.string],
            saddle_height=rise[self.string],
            finger=np.minimum(FINGER_BEHIND_MM, MOST_OF_THE_GAP * gap),
            relief=self.neck.known_relief_mm * self.hollow,
            log_kappa=np.log([one.kappa_prior.median for one in self.constants])[self.string],
            log_beta=np.log([one.beta0_prior.median for one in self.constants])[self.string],
            end=np.ones(size),
            depth=zero,
            cents=zero,
        )


def as_designed(neck: Neck, *, constants: Iterable[StringConstants] | None = None, extra: Iterable[Cell] = ()) -> AsDesigned:
    """All cells of `neck` that can be played, and the `extra` ones after them."""
    played = [Cell(string=number, fret=fret) for number in range(1, len(neck.strings) + 1) for fret in neck.frets_of(number)]
    if constants is None:
        constants = [string_constants(neck, number) for number in range(1, len(neck.strings) + 1)]
    return AsDesigned(neck=neck, cells=(*played, *extra), constants=tuple(constants))


def octave(neck: Neck, number: int) -> Cell:
    """The place of a string that lies nearest to an octave above its open note."""
    nearest = min(neck.frets_of(number), key=lambda fret: abs(neck.cents_above_open(number, fret) - CENTS_PER_OCTAVE))
    return Cell(string=number, fret=nearest)


def across(neck: Neck) -> Reals:
    """Where each string lies across the neck: 1 at string 1, −1 at the last, courses evenly spaced."""
    return np.array([neck.across(number) for number in range(1, len(neck.strings) + 1)])


def expected_cents(neck: Neck, *, constants: Iterable[StringConstants] | None = None) -> Reals:
    """What a perfectly built neck of these strings would read.

    `constants`: one a string; computed from the description when not given.
    Returns Cents against equal temperament from each string's own open note; column 0 is 0, NaN where a short string has no
    fret.
    """
    design = as_designed(neck, constants=constants)
    return design.table(sharpness_cents(design.stop))
