"""The reading of one pluck.

Conventions: `f1_hz` is partial 1 of the settled string, f1 = f0·√(1+B), fitted jointly from all partials (what that means for a
string that beats and glides is said in `reader`); `u_cents` is a standard uncertainty (one sigma); `glide_cents` is how much
sharper the note began than it settled (positive, cents).
"""

from dataclasses import dataclass

from fretcheck.pitch.remarks import Remark


@dataclass(frozen=True, slots=True)
class NoteReading:
    """Pitch of one pluck with its uncertainty. What could not be read is None, and a remark says why."""

    f1_hz: float | None = None
    u_cents: float | None = None
    inharmonicity: float | None = None  # B of Fletcher's f_n = n·f0·√(1+B·n²)
    u_inharmonicity: float | None = None
    snr_db: float | None = None
    partials: int = 0  # How many partials carried the fit
    glide_cents: float | None = None
    remarks: tuple[Remark, ...] = ()
    window_s: tuple[float, float] | None = None  # Stretch after the onset that was read, seconds

    @property
    def refused_by(self) -> Remark | None:
        """The first remark that refuses the reading."""
        return next((remark for remark in self.remarks if remark.refuses), None)

    @property
    def usable(self) -> bool:
        """True when no remark refuses the reading."""
        return self.f1_hz is not None and self.refused_by is None

    @property
    def complaint(self) -> str | None:
        """Why it is not to be used, in a sentence; None where it is."""
        if self.usable:
            return None
        return "no pitch could be read" if self.refused_by is None else self.refused_by.sentence
