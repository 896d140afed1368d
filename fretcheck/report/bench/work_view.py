"""What a person who works on one place needs to see: the note just plucked, its change, and how far the part is to go."""

from collections import deque
from dataclasses import dataclass, field

from fretcheck.report.bench.bench_view import BenchView
from fretcheck.session import events
from fretcheck.session.live.wording import place_words, way_words
from fretcheck.session.plan import Ask

TRAIL = 24
STOP = "STOP: what is left is less than a bench can set."


@dataclass(frozen=True, kw_only=True)
class Clearance:
    """Over fret 1, measured by hand; null where it was not, and the one to stop at."""

    measured_mm: float | None
    stop_mm: float

    @property
    def text(self) -> str:
        """What to do with it."""
        if self.measured_mm is None:
            return (
                f"Sound alone tells no depth: measure the clearance over fret 1 (--measured first_fret_clearance=MM); "
                f"stop at {self.stop_mm:.2f} mm."
            )
        return f"{self.measured_mm:.2f} mm over fret 1 as measured; file down to {self.stop_mm:.2f} mm, measuring as you go."


@dataclass(kw_only=True)
class WorkView(BenchView):
    """The state of the screen; `apply` moves it on by one event."""

    task: str = ""  # What is worked on, in words
    advice: str = ""
    clearance: Clearance | None = None
    place: Ask | None = None  # Where the note that is shown was plucked
    change_cents: float | None = None
    remaining: events.Remaining | None = None
    heard: dict[tuple[int, int], events.Worked] = field(default_factory=dict)  # fretted notes since their string was moved
    trail: deque[events.Worked] = field(default_factory=lambda: deque(maxlen=TRAIL))

    def apply(self, event: events.Event) -> None:
        super().apply(event)
        match event:
            case events.Begun():
                self.place = self.change_cents = None
            case events.Running():
                self.place = event.place
            case events.Accepted():
                self.message = f"{self.message}  Next: {self._wanted()}"
            case events.Worked():
                self.place, self.change_cents, self.remaining = event.place, event.change_cents, event.remaining
                self.trail.appendleft(event)
                if event.withdrawn:  # the string is not where it was
                    self.heard = {at: one for at, one in self.heard.items() if at[0] != event.place.string}
                if event.place.fret:
                    self.heard[event.place.string, event.place.fret] = event
                self._forget(event.withdrawn)
            case events.SteppedBack():
                if self.trail:
                    gone = self.trail.popleft().place
                    self.heard.pop((gone.string, gone.fret), None)
                self.remaining = self.change_cents = self.deviation_cents = None
            case events.NextPart():
                self.remaining = self.change_cents = self.deviation_cents = self.place = None
                self.mood, self.message = "waiting", ""
            case events.Asked() if self.mood == "taken":
                self.message = f"{self._what_follows()} Next: {self._wanted()}"
            case events.Finished():
                self.message = "The end of the work is kept."

    def summary(self) -> list[str]:
        """How the work ended: every note as it was heard last, with its change, and what is left to go."""
        lines = [
            f"{place_words(self.neck, *place):<28} {one.deviation_cents:+6.1f} cents, changed by {one.change_cents:+.1f}"
            for place, one in sorted(self.heard.items())
        ]
        return lines if self.remaining is None else [*lines, self._what_follows()]

    def _what_follows(self) -> str:
        """What the last pluck says of the part."""
        left = self.remaining
        if left is None:
            return "" if self.place is None else f"{place_words(self.neck, self.place.string, self.place.fret).capitalize()}."
        if left.state == "done":
            return STOP
        words = f"{abs(left.mm):.2f} mm {way_words(left.mm)}"
        if left.state == "move":
            return f"{words} (± {left.u_mm:.2f})."
        return f"{words}, if anything (± {left.u_mm:.2f}): pluck before it is moved."
