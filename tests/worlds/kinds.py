"""The worlds: how much each thing scatters on a sound neck, and how the player plays.

`own` is a careful workshop and a light finger; every other named world changes one thing; `mild` and `hard` change all. Sizes are
those of `WORLDS`' comments: common practice, no source, where nothing else is said. A pair is a range, drawn evenly per neck.

Conventions
-----------
mm, cents. `…_sd` fields and plain lengths are standard deviations of the builder's scatter.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

Range = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class World:
    """One kind of instrument, player and room. Defaults are `own`."""

    # the workshop
    fret_mm: float = 0.035
    tilt_mm: float = 0.022
    scale_mm: float = 0.03
    nut_mm: float = 0.05
    nut_skew_mm: float = 0.02
    nut_height_mm: float = 0.03
    """Of the nut as a whole, and of each slot beside."""
    saddle_mm: float = 0.1
    action_mm: Range | None = None
    """At fret 12, drawn per neck; None: as designed, ±0.1."""
    relief_mm: Range = (0.03, 0.10)
    straight_saddle: bool = False
    """Built straight (square or slanted as fits best) where the description gives every string its own place."""
    crown_mm: float = 0.0
    wear_mm: Range = (0.0, 0.0)
    """Witness point at frets 1–5 under the plain strings, toward one side."""
    worn_share: float = 0.0
    """Of necks that are worn at all."""
    high_fret_mm: float = 0.0
    # the strings
    string_cents: float = 0.2
    """Worst note of a string by its uneven mass, standard deviation over strings."""
    core_rel: float = 0.05
    gauge_rel: float = 0.005
    modulus_rel: float = 0.02
    polymer_ratio: Range = (0.97, 1.03)
    """Bending over stretching stiffness: κ from the inharmonicity is this much too large."""
    clamp: Range = (1.0, 1.0)
    # body
    pull_cents: Range = (0.0, 0.0)
    """Strongest pull on any reading of this neck."""
    # the player
    behind_share: float = 0.3
    """Of the space behind the fret, where the finger stands; at most `behind_most_mm`."""
    behind_most_mm: float = 9.0
    depth_mm: float = 0.08
    depth_wander_mm: float = 0.01
    """Smooth random part along each string, correlated over `wander_frets`."""
    wander_frets: float = 4.0
    excess_cents: Range = (0.0, 0.0)
    """Of the finger at fret 1, mean of the strings, falling by e over two frets."""
    excess_by_string: float = 0.15
    hand_cents: Range = (0.5, 1.0)
    low_fret_growth: float = 1.0
    """Scatter at fret 1 over that at the high frets, falling by e over two frets."""
    tails: float = 30.0
    """Degrees of freedom of the hand's Student-t."""
    bend_mm: float = 0.0
    """Standard deviation of each pluck's sideways bend; it only ever sharpens."""
    open_sharp_cents: Range = (0.0, 0.0)
    open_scatter_cents: float = 0.15
    # the session
    drift_cents_per_minute: float = 0.3
    warming_cents: float = 0.0
    slip_cents: float = 0.0
    """A string slips by this once between two open plucks, on one string of six."""


OWN = World()
_FIT_ACTION: Range = (1.5, 3.0)

MILD = World(
    fret_mm=0.04,
    tilt_mm=0.025,
    nut_mm=0.07,
    nut_height_mm=0.04,
    saddle_mm=0.15,
    action_mm=(1.7, 2.6),
    relief_mm=(0.08, 0.30),
    crown_mm=0.03,
    wear_mm=(0.03, 0.08),
    worn_share=0.3,
    high_fret_mm=0.02,
    string_cents=0.5,
    core_rel=0.12,
    gauge_rel=0.02,
    polymer_ratio=(1.0, 1.35),
    clamp=(0.9, 1.0),
    pull_cents=(0.3, 1.0),
    depth_mm=0.12,
    depth_wander_mm=0.03,
    excess_cents=(0.5, 1.5),
    low_fret_growth=1.6,
    tails=6.0,
    bend_mm=0.2,
    open_sharp_cents=(0.0, 0.4),
    drift_cents_per_minute=1.0,
    warming_cents=1.0,
)
HARD = replace(
    MILD,
    fret_mm=0.045,
    nut_height_mm=0.05,
    saddle_mm=0.25,
    action_mm=_FIT_ACTION,
    relief_mm=(0.05, 0.40),
    crown_mm=0.06,
    wear_mm=(0.15, 0.35),
    worn_share=0.5,
    high_fret_mm=0.06,
    string_cents=1.0,
    core_rel=0.25,
    gauge_rel=0.06,
    polymer_ratio=(1.1, 1.5),
    clamp=(0.6, 1.0),
    pull_cents=(1.5, 3.0),
    depth_mm=0.2,
    depth_wander_mm=0.06,
    excess_cents=(2.0, 4.0),
    excess_by_string=0.3,
    low_fret_growth=2.8,
    tails=3.5,
    bend_mm=0.45,
    open_sharp_cents=(0.3, 1.0),
    open_scatter_cents=0.3,
    drift_cents_per_minute=2.5,
    warming_cents=3.0,
    slip_cents=2.0,
)

WORLDS: dict[str, World] = {
    "own": OWN,
    "mild": MILD,
    "hard": HARD,
    # +1 to +4 cents at fret 1 over 3 to 4 frets, each player his own
    "finger2": replace(OWN, excess_cents=(2.0, 2.0), depth_wander_mm=0.03),
    "finger4": replace(OWN, excess_cents=(4.0, 4.0), depth_wander_mm=0.03),
    # 0.5–1 cent usual, 2–3 near a strong mode
    "body1": replace(OWN, pull_cents=(1.0, 1.0)),
    "body3": replace(OWN, pull_cents=(3.0, 3.0)),
    # 1.5–3 mm at fret 12, relief 0.1–0.4, the saddle set for them
    "action": replace(OWN, action_mm=_FIT_ACTION, relief_mm=(0.1, 0.4)),
    "wear": replace(OWN, wear_mm=(0.3, 0.6), worn_share=1.0),
    "crowns": replace(OWN, crown_mm=0.06, high_fret_mm=0.06),
    "scatter": replace(OWN, low_fret_growth=2.5, tails=3.5),
    "open_sharp": replace(OWN, open_sharp_cents=(0.3, 1.0)),
    "bend": replace(OWN, bend_mm=0.5),
    "old_strings": replace(OWN, string_cents=1.0),
    "gauge": replace(OWN, gauge_rel=0.08, core_rel=0.25),
    "soft_ends": replace(OWN, clamp=(0.3, 0.9)),
    "polymer": replace(OWN, polymer_ratio=(1.2, 1.5)),
    "straight": replace(OWN, straight_saddle=True),
    "session": replace(OWN, drift_cents_per_minute=3.0, warming_cents=4.0, slip_cents=2.0),
}
