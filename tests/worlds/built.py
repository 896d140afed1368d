"""One neck as it was built and strung, and the player's hand on it: from these follow the true cents of every note.

Conventions
-----------
mm, cents. Positions along the neck positive toward the bridge; heights over the plane through the nut's foot and the last crown.
Arrays are (strings,) or (strings, frets), string 1 and fret 1 first. A note that a short string has not got is NaN.
Tilt is quoted at string 1; across the strings it runs linearly to its opposite at the last.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fretcheck.neck.description import Neck
from tests.worlds.body import Body
from tests.worlds.fretting import Ends, Matter, Reals, Touch, stopped_cents, uneven_mass_cents

RULE_OF_18 = 18.0
GRID = np.linspace(0.0, 1.02, 81)
"""Where a string's mass is told, as shares of its scale length."""


def across(neck: Neck) -> Reals:
    """+1 at string 1 to −1 at the last: how much of a tilt reaches each string."""
    return np.array([neck.across(number) for number in range(1, len(neck.strings) + 1)])


@dataclass(frozen=True, kw_only=True)
class Hand:
    """How this player stops notes here: all (strings, frets), in mm."""

    behind_mm: Reals
    depth_mm: Reals
    bend_rms_mm: Reals

    def lightest(self) -> Hand:
        """No hand at all: the string just touches the crown."""
        none = np.zeros_like(self.depth_mm)
        return Hand(behind_mm=none, depth_mm=none, bend_rms_mm=none)

    def pressed(self, depth_mm: float | Reals) -> Hand:
        """The same hand, this much deeper (negative: lighter, but never lifting)."""
        return replace(self, depth_mm=np.maximum(self.depth_mm + depth_mm, 0.0))


@dataclass(frozen=True, kw_only=True)
class StringMatter:
    """What the strings are: κ, β0, characteristic impedance √(Tμ) in kg/s, and excess mass, (strings, points) at `GRID`."""

    kappa: Reals
    beta0: Reals
    impedance: Reals
    extra: Reals
    clamp: float = 1.0


@dataclass(frozen=True, kw_only=True)
class Built:
    """Every part's true place. `neck` is the design that the description tells of, or should."""

    neck: Neck
    fret_mm: NDArray[np.float64]
    tilt_mm: NDArray[np.float64]
    wear_mm: NDArray[np.float64]
    """Witness points by wear, and those of uneven crowns in `crown_mm`: (strings, frets)."""
    crown_mm: NDArray[np.float64]
    crown_height_mm: NDArray[np.float64]
    scale_mm: float
    nut_mm: NDArray[np.float64]
    nut_z: NDArray[np.float64]
    saddle_mm: NDArray[np.float64]
    """Beyond the scale length."""
    saddle_z: NDArray[np.float64]
    relief_mm: float
    matter: StringMatter
    body: Body | None = None
    rule_of_18: bool = False
    straight: bool = False
    """The saddle as a whole (contained in `saddle_mm`)."""

    @property
    def shape(self) -> tuple[int, int]:
        """Strings, frets."""
        return len(self.neck.strings), self.neck.frets

    @property
    def scales(self) -> Reals:
        """Scale length of each string, (strings, 1)."""
        return np.array([one.scale_length_mm for one in self.neck.strings])[:, None]

    @property
    def first(self) -> Reals:
        """Fret at which each string starts, (strings, 1)."""
        return np.array([one.first_fret for one in self.neck.strings], dtype=float)[:, None]

    @property
    def shares(self) -> Reals:
        """Distance of the nut and every fret from the nut, as shares of the scale length, (1 + frets,)."""
        return 1.0 - np.exp2(-np.array(self.neck.fret_cents) / 1200.0)

    @property
    def semitones(self) -> Reals:
        """Above the open string as designed; NaN where there is no such note."""
        steps = np.full(self.shape, np.nan)
        for number in range(1, self.shape[0] + 1):
            for fret in self.neck.frets_of(number):
                steps[number - 1, fret - 1] = self.neck.cents_above_open(number, fret) / 100.0
        return steps

    @property
    def crown_x(self) -> Reals:
        """Where every string leaves every crown."""
        k, right = np.arange(1, self.neck.frets + 1), self.shares[1:]
        share = 1.0 - ((RULE_OF_18 - 1.0) / RULE_OF_18) ** k if self.rule_of_18 else right
        ideal = self.scales * share + self.scale_mm * right
        tilt = across(self.neck)[:, None] * self.tilt_mm
        return ideal + self.fret_mm + tilt + self.wear_mm + self.crown_mm

    @property
    def crown_z(self) -> Reals:
        """Relief hollows the neck along a parabola from nut to last fret."""
        u = self.shares[1:] / self.shares[-1]
        return self.crown_height_mm - 4.0 * self.relief_mm * u * (1.0 - u)

    @property
    def ends(self) -> Ends:
        """Of all notes."""
        start = self.scales * self.shares[self.first.astype(int)]
        return Ends(
            nut_x=start + self.nut_mm[:, None],
            nut_z=self.nut_z[:, None],
            crown_x=self.crown_x,
            crown_z=self.crown_z,
            saddle_x=self.scales + self.saddle_mm[:, None],
            saddle_z=self.saddle_z[:, None],
        )

    def clearance_mm(self, fret: int = 1) -> Reals:
        """Gap between the crown of `fret` and the open string, (strings,); of a short string at the fret after its own nut."""
        ends, index = self.ends, np.maximum(fret, self.first[:, 0].astype(int) + 1) - 1
        rows = np.arange(self.shape[0])
        x, z = ends.crown_x[rows, index], ends.crown_z[rows, index]
        share = (x - ends.nut_x[:, 0]) / (ends.saddle_x - ends.nut_x)[:, 0]
        return self.nut_z + share * (self.saddle_z - self.nut_z) - z

    def open_hz(self) -> Reals:
        """Nominal pitch of the open strings, (strings, 1)."""
        return np.array([self.neck.open_hz(number) for number in range(1, len(self.neck.strings) + 1)])[:, None]

    def stopped(self, hand: Hand) -> Reals:
        """Deviations by geometry, stretch and stiffness alone, (strings, frets)."""
        touch = Touch(behind=hand.behind_mm, depth=hand.depth_mm, bend=hand.bend_rms_mm)
        matter = Matter(kappa=self.matter.kappa[:, None], beta0=self.matter.beta0[:, None], clamp=self.matter.clamp)
        return stopped_cents(self.ends, touch, matter, semitones=self.semitones)

    def true_cents(self, hand: Hand) -> Reals:
        """What every note reads under this hand, chance apart, (strings, frets): against the open string, as it really sounds."""
        return self.stopped(hand) + self._unevenness() + self._pulls()

    def _unevenness(self) -> Reals:
        return np.array([self.unevenness(s) for s in range(1, self.shape[0] + 1)])

    def unevenness(self, string: int) -> Reals:
        """What one string's uneven mass does to its notes, (frets,)."""
        ends, s = self.ends, string - 1
        stops = np.concatenate([ends.nut_x[s], ends.crown_x[s]])
        cents = uneven_mass_cents(self.matter.extra[s], GRID * self.scales[s, 0], stops, float(ends.saddle_x[s, 0]))
        return cents[1:] - cents[0]

    def _pulls(self) -> Reals:
        if self.body is None:
            return np.zeros(self.shape)
        steps = np.concatenate([np.zeros((self.shape[0], 1)), np.nan_to_num(self.semitones)], axis=1)
        f1 = self.open_hz() * np.exp2(steps / 12.0)
        pulls = self.body.reading_cents(f1, np.broadcast_to(self.matter.impedance[:, None], f1.shape))
        return pulls[:, 1:] - pulls[:, :1]

    def inharmonicity(self) -> Reals:
        """B = π²β² of every note, the open one first: (strings, 1 + frets)."""
        ends = self.ends
        speaking = np.concatenate([ends.saddle_x - ends.nut_x, ends.saddle_x - ends.crown_x], axis=1)
        return (np.pi * self.matter.beta0[:, None] * speaking[:, :1] / speaking) ** 2
