"""A pluck that has been given its place on the neck, and the inspection that such readings make.

Conventions: `deviation_cents` is measured minus target, positive is sharp. A fretted note is judged against equal temperament
from its string's own open note, drift-corrected between the open plucks before and after it; an open note against its nominal
pitch. `length_equivalent_error_mm` is the displacement of the stop, positive toward the bridge, that alone would make the
deviation: L·(1 − 2^(−cents/1200)).
"""

from dataclasses import dataclass, field
from typing import Literal

from fretcheck.neck.description import Neck
from fretcheck.pitch.reading import NoteReading

Press = Literal["light", "firm"]


@dataclass(frozen=True, kw_only=True)
class PlacedNote:
    """A pluck with its string and fret."""

    string: int
    fret: int
    note: NoteReading
    start_s: float
    press: Press | None = None  # Set for plucks of the press test only
    sound_file: str | None = None


@dataclass(frozen=True, kw_only=True)
class Reading(PlacedNote):
    """One pluck, laid against the design."""

    target_hz: float
    deviation_cents: float | None
    u_cents: float | None  # Of the pluck's own pitch, without the open note's
    length_expected_mm: float
    length_equivalent_error_mm: float | None
    used: bool
    why_not_used: str | None = None


@dataclass(frozen=True, kw_only=True)
class SoundSetAside:
    """Sound that was heard and not used."""

    string: int | None
    start_s: float
    end_s: float
    reason: str


@dataclass(frozen=True, kw_only=True)
class Inspection:
    """All that was heard of one neck."""

    neck: Neck
    readings: tuple[Reading, ...]
    missing: tuple[tuple[int, int], ...]  # (string, fret) that the plan asked for and no usable pluck gave
    set_aside: tuple[SoundSetAside, ...]
    plan: str = "full"
    # What the verdict is about, heard or not; None for what was asked for and heard
    judged: tuple[tuple[int, int], ...] | None = None
    look_for_mm: float | None = None  # Size of the fault that every fret was looked at for, where only what decides was asked for
    source: str = "recording"  # Name of the device, or of the folder of recordings
    sample_rate_hz: float | None = None
    # Per string: how far the open note moved from its first pluck to its last
    drift_cents: dict[int, float] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    follows: str | None = None  # Id of the inspection whose corrections were worked on
