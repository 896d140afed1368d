"""What happens in a live session, as the runner tells it; screens and cues are made from these and from nothing else."""

from dataclasses import dataclass
from typing import Literal, Protocol

from fretcheck.audio.segment.pluck import Pluck
from fretcheck.session.placed_reading import Reading
from fretcheck.session.plan import Ask


@dataclass(frozen=True)
class Event:
    """Base of all events."""


@dataclass(frozen=True, kw_only=True)
class Asked(Event):
    """A note is asked for."""

    ask: Ask
    again: bool = False


class Begun(Event):
    """A pluck has begun."""


@dataclass(frozen=True, kw_only=True)
class Running(Event):
    """The value of a pluck under way."""

    deviation_cents: float | None
    u_cents: float | None
    settled: float  # How far the note has settled, 0 to 1
    place: Ask | None = None  # Where it seems to be played, while any note may come; None where one is asked for


@dataclass(frozen=True, kw_only=True)
class Accepted(Event):
    """The pluck is taken; it is on disk by the time this is told."""

    taken: Reading
    deviation_cents: float | None  # From the string's own open note as last heard; None for a fretted note without one
    pluck: Pluck


@dataclass(frozen=True, kw_only=True)
class Again(Event):
    """The pluck could not be used; the same note is asked for again."""

    ask: Ask
    reason: str
    short: str = ""  # The reason in a word or two, to be read from afar
    silent: bool = False  # True when no cue is to sound: for a mere knock, or because the pluck fell into a cue


@dataclass(frozen=True, kw_only=True)
class OutOfTune(Event):
    """A string that is to be played next is not in tune yet, or does not hold still; `text` says what to do."""

    ask: Ask
    cents: float
    text: str


@dataclass(frozen=True, kw_only=True)
class TooFaint(Event):
    """The note asked for was heard twice, too faint to begin a pluck; `text` is a sentence for the player."""

    ask: Ask
    text: str


@dataclass(frozen=True, kw_only=True)
class WrongNote(Event):
    """Another note than the one asked for was heard."""

    ask: Ask
    heard: tuple[tuple[int, int], ...]  # (string, fret), the likeliest first; empty when it belongs to no place on the neck
    text: str

    @property
    def short(self) -> str:
        """What was heard in a word or two, to be read from afar."""
        if not self.heard:
            return "NO SUCH NOTE"
        string, fret = self.heard[0]
        place = f"FRET {fret}" if fret else "OPEN"
        return place if string == self.ask.string else f"STRING {string} {place}"


@dataclass(frozen=True, kw_only=True)
class SteppedBack(Event):
    """One back: what was taken for this step no longer counts."""

    step: int | None  # None in work on one place, which has no steps
    ask: Ask
    withdrawn: tuple[int, ...]  # Numbers of the plucks that no longer count


@dataclass(frozen=True, kw_only=True)
class Skipped(Event):
    """The note is left out."""

    step: int | None
    ask: Ask


class Paused(Event):
    """Nothing is taken until the session is resumed."""


class Resumed(Event):
    """The session listens again."""


@dataclass(frozen=True, kw_only=True)
class Drifted(Event):
    """The open note of a string has moved since its first pluck."""

    string: int
    cents: float
    text: str
    # Numbers of the plucks that no longer count, because the string was retuned while the session lay still
    withdrawn: tuple[int, ...] = ()


class Remaining(Protocol):
    """How far a part is to go, and whether to move it, to pluck again first, or to stop."""

    @property
    def mm(self) -> float: ...  # positive toward the bridge

    @property
    def u_mm(self) -> float: ...  # standard uncertainty

    @property
    def state(self) -> Literal["move", "pluck", "done"]: ...


@dataclass(frozen=True, kw_only=True)
class Worked(Event):
    """A note heard in work on one place."""

    place: Ask
    deviation_cents: float  # From its own open note, of the open note from its nominal pitch
    change_cents: float  # Since the work began
    remaining: Remaining | None  # None where nothing can be said of the part in mm
    withdrawn: tuple[int, ...] = ()  # Numbers of the plucks that the work has overtaken


class NextPart(Event):
    """The next correction is begun."""


@dataclass(frozen=True, kw_only=True)
class Grown(Event):
    """What is asked next was chosen; `why` is a sentence or two for the player. No asks: nothing more is asked."""

    asks: tuple[Ask, ...]
    why: str


@dataclass(frozen=True, kw_only=True)
class StringFinished(Event):
    """All notes of a string are taken or skipped."""

    string: int


@dataclass(frozen=True, kw_only=True)
class Finished(Event):
    """The session is over. `complete` is False when it was stopped before the plan was done."""

    complete: bool


@dataclass(frozen=True, kw_only=True)
class NoCues(Event):
    """The loudspeaker failed: from here on the session is silent, and goes on."""

    text: str


@dataclass(frozen=True, kw_only=True)
class SourceTrouble(Event):
    """The sound failed, or came back: one sentence for the person at the bench."""

    text: str
    listening: bool  # True when sound is coming in again
