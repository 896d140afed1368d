"""A pluck at its place on the neck, what it comes to against the design, and the inspection that such plucks make.

Three shapes carry a pluck: `NoteReading` (what was heard), `Reading` (at its place: what a session keeps in its journal) and
`ReadingPart` (laid against the design: what the document holds). Each holds the one before or is made from it in one place.

Conventions: `deviation_cents` is measured minus target, positive is sharp. A fretted note is judged against equal temperament
from its string's own open note, drift-corrected between the open plucks before and after it; an open note against its nominal
pitch. `length_equivalent_error_mm` is the displacement of the stop, positive toward the bridge, that alone would make the
deviation: L·(1 − 2^(−cents/1200)).
"""

from dataclasses import dataclass, field
from typing import Any, ClassVar

from fretcheck.neck.description import Neck
from fretcheck.pitch.reading import NoteReading
from fretcheck.session.plan import Ask, Press


@dataclass(frozen=True, kw_only=True, slots=True)
class Reading:
    """A pluck at its place: accepted as the answer to what was asked, or found in a recording."""

    ask: Ask  # What it answers; in a recording, the place that its pitch tells
    note: NoteReading
    start_s: float
    step: int | None = None  # Index into the plan's asks; None where the plan did not ask for it
    number: int | None = None  # Its place among all plucks kept in the session's journal, from 1
    sound_file: str | None = None  # Where its sound lies, relative to the folder of the session or of the recordings

    @property
    def string(self) -> int:
        return self.ask.string

    @property
    def fret(self) -> int:
        return self.ask.fret


class _Part:
    """What is checked where it becomes part of a document, or is read from one."""

    __pydantic_config__: ClassVar[dict[str, Any]] = {"extra": "forbid", "allow_inf_nan": False}


@dataclass(frozen=True, kw_only=True)
class ReadingPart(_Part):
    """A reading laid against the design, under its names in the document."""

    string: int
    fret: int
    f1_hz: float | None
    target_hz: float
    deviation_cents: float | None
    u_cents: float | None  # Of the pluck's own pitch, without the open note's
    length_expected_mm: float
    length_equivalent_error_mm: float | None
    start_s: float
    used: bool
    flags: list[str]
    why_not_used: str | None = None
    press: Press | None = None
    inharmonicity: float | None = None
    u_inharmonicity: float | None = None
    snr_db: float | None = None
    partials: int = 0
    glide_cents: float | None = None
    sound_file: str | None = None
    sound_sha256: str | None = None


@dataclass(frozen=True, kw_only=True)
class SoundSetAside(_Part):
    """Sound that was heard and not used."""

    string: int | None
    start_s: float
    end_s: float
    reason: str


@dataclass(frozen=True, kw_only=True)
class Inspection:
    """All that was heard of one neck."""

    neck: Neck
    readings: tuple[ReadingPart, ...]
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
