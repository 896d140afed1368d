"""What a person at the bench needs to see at this moment, made from the session's events; no drawing here."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

from fretcheck.neck.description import Neck
from fretcheck.report.tables.neck_cells import Cell
from fretcheck.session import events
from fretcheck.session.live.wording import asked_words, place_words
from fretcheck.session.placed_reading import Reading
from fretcheck.session.plan import Ask, Plan

Mood = Literal["waiting", "listening", "taken", "again", "tune", "faint", "paused", "trouble", "finished"]

HEADINGS: dict[Mood, str] = {
    "waiting": "PLUCK",
    "listening": "LISTENING",
    "taken": "TAKEN",
    "again": "ONCE MORE",
    "tune": "TUNE UP",
    "faint": "TOO FAINT",
    "paused": "PAUSED",
    "trouble": "NO SOUND",
    "finished": "FINISHED",
}


@dataclass(kw_only=True)
class BenchView:
    """The state of the screen; `apply` moves it on by one event."""

    neck: Neck
    plan: Plan
    source: str = ""
    ask: Ask | None = None
    mood: Mood = "waiting"
    message: str = ""
    short: str = ""  # Why a pluck was not taken, in a word or two
    warning: str = ""  # Drift, or a loudspeaker that failed; stays until a note of another string is taken
    warned_of: int | None = None
    why: str = ""  # Why these notes are asked and how far it is, where only what decides is asked
    deviation_cents: float | None = None
    # Whose deviation is shown: still that of the last note taken while the next is already asked for
    deviation_of: Ask | None = None
    u_cents: float | None = None
    settled: float = 0.0
    tuning: bool = False  # The string is being tuned up: how far it is off is what matters
    may_go_back: bool = False  # Two open plucks go one back now
    level_db: float | None = None
    notes_left: int = 0
    seconds_left: float | None = None
    # By (string, fret) and pluck number: deviation in cents as known during the session
    plucks: dict[tuple[int, int], dict[int, float | None]] = field(default_factory=lambda: defaultdict(dict))
    # By (string, fret): value and decision as the result will have them, of what has been heard so far
    judged: Mapping[tuple[int, int], Cell] = field(default_factory=dict)

    def apply(self, event: events.Event) -> None:
        match event:
            case events.Asked():
                self.ask = event.ask
                if self.mood in ("paused", "trouble", "faint", "listening"):
                    self.mood, self.message = "waiting", ""
                if self.mood == "waiting":
                    self.message = self._wanted()
            case events.Begun():
                self.mood, self.message = "listening", self._wanted()
                self.deviation_of = self.ask
                self.deviation_cents = self.u_cents = None
                self.settled = 0.0
            case events.Running():
                self.deviation_cents, self.u_cents, self.settled = event.deviation_cents, event.u_cents, event.settled
            case events.Accepted():
                self._accepted(event)
            case events.Again():
                self._rejected(event.reason, event.short)
                self.may_go_back = False
            case events.WrongNote():
                self._rejected(event.text, event.short)
                self.may_go_back &= event.heard[:1] == ((event.ask.string, 0),)
            case events.OutOfTune():
                self.mood, self.message, self.tuning = "tune", event.text, True
                self.deviation_of, self.deviation_cents = event.ask, event.cents
            case events.TooFaint():
                self.mood, self.message, self.short = "faint", event.text, "TOO FAINT"
            case events.SteppedBack():
                self.may_go_back = False
                self._forget(event.withdrawn)
                self.mood, self.message = "again", f"One back. {self._wanted(event.ask)}"
            case events.Skipped():
                self.mood, self.message, self.tuning, self.may_go_back = "waiting", "", False, False
            case events.Drifted():
                self._forget(event.withdrawn)
                self.warning, self.warned_of = event.text, event.string
            case events.Grown():
                self.why = event.why
            case events.NoCues():
                self.warning, self.warned_of = event.text, self.ask.string if self.ask else None
            case events.Paused():
                self.mood, self.message = "paused", "Press p to go on."
            case events.SourceTrouble():
                if event.listening:
                    self.mood, self.message = "waiting", event.text
                else:
                    self.mood, self.message = "trouble", event.text
            case events.Finished():
                self.mood = "finished"
                self.message = "All notes are taken." if event.complete else "Stopped; what was taken is kept."

    def remember(self, taken: Reading, deviation_cents: float | None) -> None:
        """Show a pluck of an earlier part of the session."""
        self.plucks[taken.ask.string, taken.ask.fret][taken.number or 0] = deviation_cents

    @property
    def cells(self) -> dict[tuple[int, int], Cell]:
        """Every note of the plan as judged; until it is, the last of its plucks without a judgement."""
        cells: dict[tuple[int, int], Cell] = {}
        for place in self._places:
            known = [cents for cents in self.plucks.get(place, {}).values() if cents is not None]
            cells[place] = self.judged.get(place, Cell(known[-1], None)) if known else Cell(None, None)
        return cells

    @cached_property
    def _places(self) -> tuple[tuple[int, int], ...]:
        judged = () if self.plan.growth is None else self.plan.growth.judged
        return tuple(dict.fromkeys([*((ask.string, ask.fret) for ask in self.plan.asks), *judged]))

    def _wanted(self, ask: Ask | None = None) -> str:
        ask = ask or self.ask
        return "" if ask is None else _capital(asked_words(self.neck, ask)) + "."

    def _accepted(self, event: events.Accepted) -> None:
        ask = event.taken.ask
        self.mood = "taken"
        self.tuning, self.may_go_back = False, True
        if ask.string != self.warned_of:
            self.warning = ""
        self.deviation_of = ask
        self.deviation_cents, self.u_cents, self.settled = event.deviation_cents, event.taken.note.u_cents, 1.0
        cents = "" if event.deviation_cents is None else f": {event.deviation_cents:+.1f} cents"
        self.message = f"{_capital(place_words(self.neck, ask.string, ask.fret))}{cents}."
        self.remember(event.taken, event.deviation_cents)

    def _rejected(self, reason: str, short: str) -> None:
        self.mood, self.message, self.short = "again", reason, short
        self.deviation_cents = self.u_cents = None
        self.settled = 0.0

    def _forget(self, numbers: tuple[int, ...]) -> None:
        for plucks in self.plucks.values():
            for number in numbers:
                plucks.pop(number, None)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def duration_words(seconds: float) -> str:
    """Minutes and seconds, as in ``3:05 min``."""
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02d} min"
