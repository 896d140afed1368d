"""Live work on one place: any note plucked is recognised, laid against its own open note, and tells how far the part is to go.

A `Runner` without a plan: what it asks for is the pluck that would tell most, and any other note is as welcome. Between plucks
the part is worked on. That it was is told by a pause, by an open note that has moved, or by a note that is not where it was: the
string is then heard open before its notes count, and what was heard of it before is no part of how the work ends.

Conventions: as in `runner`. What the plucks say of the part comes from a `Guide`, which is handed in.
"""

from collections.abc import Callable, Mapping
from functools import partial
from typing import Protocol, Self

from fretcheck.audio.segment.pluck import Pluck
from fretcheck.neck.description import Neck
from fretcheck.neck.temperament import cents_between
from fretcheck.pitch.reading import NoteReading
from fretcheck.session import events
from fretcheck.session.live.complaints import Complaint
from fretcheck.session.live.heard import OpenHeard, place_costs
from fretcheck.session.live.runner import Keep, Runner
from fretcheck.session.live.wording import place_words
from fretcheck.session.placed_reading import Reading
from fretcheck.session.placement import OPEN_CAPTURE_CENTS
from fretcheck.session.plan import WORK_PLAN, Ask, Plan

# From one pluck to the next: a hand that plucks on takes two to five seconds, one that files or turns a screw takes longer
PAUSE_S = 8.0
MOVED_OPEN_CENTS = 2.0  # An open note that has moved by more was tuned, or its saddle moved: a hand repeats to 0.5 to 1 cent
# A note further from what was to be expected, both in its standard deviations and in cents, is not of the state before
SURPRISE_TIMES, SURPRISE_CENTS = 3.0, 2.0
FRETTED_TO_AN_OPEN = 4  # So many fretted plucks of a string before it is asked for open again
MOST_BACK = 12
# How unlikely a place is, in units of a log-likelihood: judged, not measured (common practice, no source).
_COST_OTHER_FRET, _COST_OTHER_STRING, _COST_UNHEARD = 0.2, 1.0, 1.5


class Guide(Protocol):
    """What plucks tell of the part that is worked on."""

    @property
    def strings(self) -> tuple[int, ...]:
        """Whose notes the part moves."""
        ...

    def opened(self, string: int) -> None: ...

    def moved(self) -> None: ...

    def away(self, string: int, fret: int, cents: float) -> tuple[float, float]:
        """How far a note lies from what is to be expected of it, and the standard deviation of that."""
        ...

    def hear(self, string: int, fret: int, cents: float, u_cents: float) -> None: ...

    def next_note(self) -> tuple[int, int]: ...

    def to_go(self) -> events.Remaining | None: ...

    def next_part(self) -> bool:
        """Go on to the next correction; False when there is none."""
        ...

    def copy(self) -> Self: ...


class WorkRunner(Runner):
    """Listens to one place under work.

    `known_cents` (string, fret): what the notes read before the work, where an inspection heard them.
    """

    def __init__(
        self,
        neck: Neck,
        *,
        keep: Keep,
        clock: Callable[[], float],
        guide: Guide,
        known_cents: Mapping[tuple[int, int], float] | None = None,
    ) -> None:
        super().__init__(neck, Plan(name=WORK_PLAN, asks=()), keep=keep, clock=clock, step_back=False)
        self.guide = guide
        self._first_cents = dict(known_cents or {})
        self._opens: dict[int, OpenHeard] = {}
        self._to_open = set(range(1, len(neck.strings) + 1))  # Strings whose notes count only from a new open pluck on
        self._since_open: dict[int, int] = {}
        # The string of which a fretted note was heard that does not count before its open note is
        self._first_open: int | None = None
        self._before: list[Guide] = []
        self._last_s: float | None = None
        self._last: Ask | None = None
        self._ended = False
        self._done_announced = False

    # what is known

    @property
    def ask(self) -> Ask | None:
        """The pluck that would tell most now."""
        if self._ended:
            return None
        if self._first_open is not None:
            return Ask(string=self._first_open, fret=0, check=True)
        string, fret = self.guide.next_note()
        if string in self._to_open or self._since_open.get(string, 0) >= FRETTED_TO_AN_OPEN:
            return Ask(string=string, fret=0, check=True)
        return Ask(string=string, fret=fret)

    @property
    def expected_hz(self) -> float | None:
        """None: a note too faint to be measured is not looked for, any may come."""
        return None

    def deviation_cents(self, ask: Ask, note: NoteReading) -> float | None:
        """From the string's own open note as last heard, of the open note from its nominal pitch."""
        if note.f1_hz is None:
            return None
        if ask.fret > 0 and ask.string not in self._opens:
            return None
        base = self.neck.open_hz(ask.string) if ask.fret == 0 else self._opens[ask.string].f1_hz
        return cents_between(note.f1_hz, base) - self.neck.cents_above_open(ask.string, ask.fret)

    def start(self) -> list[events.Event]:
        """Ask for the first pluck."""
        return [self._asked()]

    # what is heard

    def running(self, note: NoteReading, *, settled: float) -> list[events.Event]:
        """The value of the pluck under way, at the place where it seems to be played."""
        place = self._place(note) if self.state == "listening" else None
        if place is None:
            return []
        cents = self.deviation_cents(place, note)
        return [events.Running(deviation_cents=cents, u_cents=note.u_cents, settled=settled, place=place)]

    def _judge(self, ask: Ask, pluck: Pluck, note: NoteReading, start_s: float) -> list[events.Event]:
        place = self._place(note)
        self._heard.setdefault(ask.string, []).append((ask, note))
        if place is None:
            assert note.f1_hz is not None
            text = f"Heard {note.f1_hz:.1f} Hz, which is no note of this neck; tune the string first, or pluck it again."
            return self._again(ask, Complaint(text, "NO SUCH NOTE"))
        if self._last_s is not None and start_s - self._last_s >= PAUSE_S:
            self._worked()
        self._last_s, self._last = start_s, place
        taken = Reading(step=None, ask=place, start_s=start_s, note=note)
        if place.fret == 0:
            return self._open(taken, pluck)
        if place.string in self._to_open or self._surprising(taken):
            self._to_open.add(place.string)
            self._first_open = place.string
            where = place_words(self.neck, place.string, place.fret)
            text = f"Heard {where}. First string {place.string} open, for the note is counted from there; then that note again."
            return self._again(place, Complaint(text, "OPEN FIRST"))
        return [*self._fretted(taken, pluck), self._asked()]

    def _surprising(self, taken: Reading) -> bool:
        cents = self.deviation_cents(taken.ask, taken.note)
        away, u = self.guide.away(taken.ask.string, taken.ask.fret, 0.0 if cents is None else cents)
        return abs(away) > max(SURPRISE_CENTS, SURPRISE_TIMES * u)

    def _worked(self) -> None:
        """The part may have been moved since the last pluck."""
        self.guide.moved()
        self._to_open.update(self.guide.strings)
        self._done_announced = False

    def _open(self, taken: Reading, pluck: Pluck) -> list[events.Event]:
        string = taken.ask.string
        assert taken.note.f1_hz is not None
        before = self._opens.get(string)
        jumped = before is not None and abs(cents_between(taken.note.f1_hz, before.f1_hz)) > MOVED_OPEN_CENTS
        afresh = before is not None and (jumped or string in self._to_open)
        self._remember()
        if jumped or (afresh and self._first_open == string):
            self._worked()
        # what was heard of a string before is no part of how the work ends
        withdrawn = self._withdraw(one for one in self._taken if one.ask.string == string) if afresh else ()
        self._opens[string] = OpenHeard(taken.note.f1_hz, taken.note.inharmonicity)
        self._to_open.discard(string)
        self._since_open[string] = 0
        self._first_open = None
        self.guide.opened(string)
        return [*self._keep_and_tell(taken, pluck, withdrawn=withdrawn), self._asked()]

    def _fretted(self, taken: Reading, pluck: Pluck) -> list[events.Event]:
        """A fretted note whose open note is known."""
        place = taken.ask
        cents = self.deviation_cents(place, taken.note)
        assert cents is not None
        assert taken.note.u_cents is not None
        self._remember()
        self.guide.hear(place.string, place.fret, cents, taken.note.u_cents)
        self._since_open[place.string] = self._since_open.get(place.string, 0) + 1
        return self._keep_and_tell(taken, pluck)

    def _remember(self) -> None:
        self._before = [*self._before[1 - MOST_BACK :], self.guide.copy()]

    def _keep_and_tell(self, taken: Reading, pluck: Pluck, *, withdrawn: tuple[int, ...] = ()) -> list[events.Event]:
        kept = self._keep(taken, pluck)
        self._taken.append(kept)
        self.state = "ringing"
        place = kept.ask
        cents = self.deviation_cents(place, kept.note)
        assert cents is not None
        change = cents - self._first_cents.setdefault((place.string, place.fret), cents)
        remaining = self.guide.to_go()
        happened: list[events.Event] = [
            events.Accepted(taken=kept, deviation_cents=cents, pluck=pluck),
            events.Worked(place=place, deviation_cents=cents, change_cents=change, remaining=remaining, withdrawn=withdrawn),
        ]
        if remaining is not None and remaining.state == "done" and not self._done_announced:
            self._done_announced = True
            happened.append(events.StringFinished(string=place.string))
        return happened

    def _place(self, note: NoteReading) -> Ask | None:
        """Where a note was plucked: near what is asked for, or near the last place; None where it belongs nowhere."""
        wanted = self.ask
        if note.f1_hz is None or wanted is None:
            return None
        costs = place_costs(self.neck, note, self._opens, slip=partial(self._unlikely, wanted))
        if wanted.fret == 0 and abs(cents_between(note.f1_hz, self.neck.open_hz(wanted.string))) <= OPEN_CAPTURE_CENTS:
            # asked for open, and slackened for the work: it may be far from its pitch
            slack = abs(cents_between(note.f1_hz, self.neck.open_hz(wanted.string))) / OPEN_CAPTURE_CENTS
            costs[wanted.string, 0] = min(costs.get((wanted.string, 0), slack), slack)
        if not costs:
            return None
        string, fret = min(costs, key=lambda place: costs[place])
        return Ask(string=string, fret=fret)

    def _unlikely(self, wanted: Ask, string: int, fret: int) -> float:
        """How unlikely a place is before anything is heard: any fret of the string in hand is welcome."""
        if (string, fret) == (wanted.string, wanted.fret):
            return 0.0
        at_hand = string == wanted.string or (self._last is not None and string == self._last.string)
        unheard = _COST_UNHEARD if fret > 0 and string in self._to_open and not at_hand else 0.0
        return unheard + (_COST_OTHER_FRET if at_hand else _COST_OTHER_STRING)

    # what the player commands

    def again(self) -> list[events.Event]:
        """The part was worked on: what follows is heard afresh."""
        if self._ended or self.state == "paused":
            return []
        self._worked()
        self._first_open = None
        self.state = "waiting"
        return [self._asked(again=True)]

    def back(self) -> list[events.Event]:
        """The last pluck no longer counts."""
        if self._ended or self.state == "paused" or not self._taken or not self._before:
            return []
        last = self._taken.pop()
        self.guide = self._before.pop()
        self.state = "waiting"
        assert last.number is not None
        return [events.SteppedBack(step=None, ask=last.ask, withdrawn=(last.number,)), self._asked(again=True)]

    def skip(self) -> list[events.Event]:
        """Go on to the next correction."""
        if self._ended or self.state == "paused":
            return []
        self._before = []
        self._done_announced = False
        if not self.guide.next_part():
            return self._finish()
        self._to_open.update(self.guide.strings)
        self._first_open = None
        self.state = "waiting"
        return [events.NextPart(), self._asked()]

    def _finish(self) -> list[events.Event]:
        self._ended = True
        if self.state == "finished":
            return []
        self.state = "finished"
        return [events.Finished(complete=True)]
