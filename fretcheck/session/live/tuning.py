"""What is known of the strings' tuning while they are played: tuned up first, then watched for slipping and drift.

Conventions: Cents from a string's nominal open note, or from where it was last; positive is sharp.
"""

from collections.abc import Iterable

from fretcheck.neck.description import Neck
from fretcheck.neck.temperament import cents_between
from fretcheck.pitch.reading import NoteReading
from fretcheck.session.deviation import RETUNED_CENTS
from fretcheck.session.live.heard import OpenHeard
from fretcheck.session.placed_reading import Reading
from fretcheck.session.placement import OPEN_CAPTURE_CENTS
from fretcheck.session.plan import Ask

DRIFT_WARNING_CENTS = 3.0
HOLDS_CENTS = 2.0  # A string that has just been turned holds still when two plucks agree so well: a hand repeats to 0.5 to 1 cent


class Tuning:
    """The open notes of a session's strings.

    `within_cents`: how well a string is to be tuned before it is played; None to take it as it is.
    """

    def __init__(self, neck: Neck, *, within_cents: float | None = None) -> None:
        self._neck = neck
        self._within_cents = within_cents
        self.opens: dict[int, OpenHeard] = {}  # By string, as last heard
        self._first_hz: dict[int, float] = {}
        self._tried_cents: dict[int, float] = {}  # By string, where it was at the last pluck while it was tuned up

    def note(self, taken: Reading) -> None:
        """An open note counts; fretted ones are passed over."""
        if taken.ask.fret == 0 and taken.note.f1_hz is not None:
            self.opens[taken.ask.string] = OpenHeard(taken.note.f1_hz, taken.note.inharmonicity)
            self._first_hz.setdefault(taken.ask.string, taken.note.f1_hz)

    def anew(self, string: int, taken: Iterable[Reading]) -> None:
        """What was known of a string no longer holds; these plucks do."""
        self.opens.pop(string, None)
        self._first_hz.pop(string, None)
        for one in taken:
            if one.ask.string == string:
                self.note(one)

    def to_tune(self, ask: Ask, note: NoteReading) -> tuple[float, str] | None:
        """How far a string that is to be played next is off, and what to do; None once it is in tune and holds still."""
        if self._within_cents is None or ask.fret != 0 or ask.string in self.opens or note.f1_hz is None:
            return None
        cents = cents_between(note.f1_hz, self._neck.open_hz(ask.string))
        if abs(cents) > OPEN_CAPTURE_CENTS:
            return None  # another string, perhaps: that is said elsewhere
        before = self._tried_cents.get(ask.string)
        self._tried_cents[ask.string] = cents
        name = f"String {ask.string} ({self._neck.string(ask.string).note})"
        if abs(cents) > self._within_cents:
            way = "sharp: slacken it" if cents > 0 else "flat: tighten it"
            return cents, f"{name} is {abs(cents):.0f} cents {way}."
        if before is not None and abs(cents - before) > HOLDS_CENTS:
            return cents, f"{name} is in tune; pluck it once more, to see whether it holds still."
        return None

    def jump_cents(self, ask: Ask, note: NoteReading) -> float | None:
        """How far an open note lies from where it was last; None for less than slipping or retuning."""
        before = self.opens.get(ask.string)
        if ask.fret != 0 or before is None or note.f1_hz is None:
            return None
        jump = cents_between(note.f1_hz, before.f1_hz)
        return jump if abs(jump) > RETUNED_CENTS else None

    def drift_cents(self, taken: Reading) -> float | None:
        """How far an open note has crept from the string's first; None where that is not worth a word."""
        if taken.ask.fret != 0 or taken.note.f1_hz is None:
            return None
        cents = cents_between(taken.note.f1_hz, self._first_hz[taken.ask.string])
        return cents if abs(cents) >= DRIFT_WARNING_CENTS else None
