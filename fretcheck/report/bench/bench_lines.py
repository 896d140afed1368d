"""The session in plain lines, for an output that is no terminal, and for those who have the screen read to them."""

from typing import TextIO

from fretcheck.report.bench.bench_view import BenchView
from fretcheck.session import events
from fretcheck.session.live.wording import asked_words, place_words, way_words


class BenchLines:
    """Prints a line for each event that matters, at once. `view`: kept up to date. `stream`: where to."""

    wants_running = False  # a running value passes too quickly to be worth a line

    def __init__(self, view: BenchView, stream: TextIO) -> None:
        self._view = view
        self._neck = view.neck
        self._stream = stream

    def apply(self, event: events.Event) -> None:
        """Print what the event means, if anything."""
        self._view.apply(event)
        if (line := self.words(event)) is not None:
            print(line, file=self._stream, flush=True)

    def draw(self) -> None:
        """Nothing is owed: every line was printed at once."""

    def words(self, event: events.Event) -> str | None:
        """The line of an event; None for those that pass too quickly to be worth one."""
        match event:
            case events.Asked(again=False):
                return f"pluck     {asked_words(self._neck, event.ask)}"
            case events.Accepted():
                ask = event.taken.ask
                cents = "" if event.deviation_cents is None else f"  {event.deviation_cents:+.2f} cents"
                return f"taken     {place_words(self._neck, ask.string, ask.fret)}{cents}"
            case events.Worked():
                return self._worked(event)
            case events.NextPart():
                return "next      the next correction"
            case events.Again():
                return f"once more {event.reason}"
            case events.WrongNote() | events.Drifted() | events.NoCues():
                return f"{'once more' if isinstance(event, events.WrongNote) else 'warning':<9} {event.text}"
            case events.OutOfTune():
                return f"tune up   {event.text}"
            case events.TooFaint():
                return f"too faint {event.text}"
            case events.SteppedBack():
                return f"one back  {asked_words(self._neck, event.ask)}"
            case events.Skipped():
                return f"skipped   {place_words(self._neck, event.ask.string, event.ask.fret)}"
            case events.Paused():
                return "paused"
            case events.Resumed():
                return "resumed"
            case events.SourceTrouble():
                return f"{'sound' if event.listening else 'no sound':<9} {event.text}"
            case events.Grown():
                return f"{'why' if event.asks else 'enough':<9} {event.why}"
            case events.StringFinished():
                return f"finished  string {event.string}"
            case events.Finished():
                return "finished  all notes are taken" if event.complete else "stopped   what was taken is kept"
        return None

    def _worked(self, event: events.Worked) -> str:
        words = f"changed   {event.change_cents:+.2f} cents"
        left = event.remaining
        if left is None:
            return words
        if left.state == "done":
            return f"{words}  stop: {left.mm:+.2f} ± {left.u_mm:.2f} mm are left"
        more = "" if left.state == "move" else ", pluck before it is moved"
        return f"{words}  {abs(left.mm):.2f} ± {left.u_mm:.2f} mm to go {way_words(left.mm)}{more}"
