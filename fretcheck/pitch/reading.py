"""The reading of one pluck.

Conventions
-----------
`f1_hz` is partial 1 of the settled string, f1 = f0·√(1+B), fitted jointly from all partials; `u_cents` is a standard
uncertainty (one sigma); `glide_cents` is how much sharper the note began than it settled (positive, cents).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum


class Flag(StrEnum):
    """What was noticed about a pluck. The sentence for the user and whether it disqualifies live in `flags`."""

    CLIPPED = "clipped"
    TOO_QUIET = "too_quiet"
    TOO_SHORT = "too_short"
    TWO_STRINGS = "two_strings"
    STILL_GLIDING = "still_gliding"
    BEATING = "beating"
    HUM_BOUND = "hum_bound"
    NOT_A_STRING = "not_a_string"
    UNSTABLE = "unstable"
    UNSURE = "unsure"


@dataclass(frozen=True, slots=True)
class NoteReading:
    """Pitch of one pluck with its uncertainty. What could not be read is None, and a flag says why."""

    f1_hz: float | None
    u_cents: float | None
    inharmonicity: float | None
    """B of Fletcher's f_n = n·f0·√(1+B·n²)."""
    u_inharmonicity: float | None
    snr_db: float | None
    partials: int
    """How many partials carried the fit."""
    glide_cents: float | None
    flags: tuple[Flag, ...] = ()
    window_s: tuple[float, float] | None = None
    """Stretch after the onset that was fitted, seconds."""
    details: dict[str, float] = field(default_factory=dict)
    """Numbers behind the flags, for the technical page (each name carries its unit)."""

    @property
    def usable(self) -> bool:
        """True when no flag disqualifies the reading."""
        from fretcheck.pitch.flags import disqualifies

        return self.f1_hz is not None and not any(disqualifies(flag) for flag in self.flags)
