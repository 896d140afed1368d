"""What the diagnosis is given: one usable pluck each."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, kw_only=True)
class Observation:
    """A pluck on one string at one fret.

    `cents` is the deviation from equal temperament above the string's own drift-corrected open note (fret 0: from the
    nominal pitch); `u_cents` the standard uncertainty of the measurement alone, without the hand's.
    """

    string: int
    fret: int
    cents: float
    u_cents: float
    start_s: float = 0.0
    press: Literal["light", "firm"] | None = None
    inharmonicity: float | None = None
    u_inharmonicity: float | None = None
