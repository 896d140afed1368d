"""The session in plain lines, for an output that is no terminal, and for those who have the screen read to them."""

from collections.abc import Callable

from fretcheck.neck.description import Neck
from fretcheck.session import events as told
from fretcheck.session.live.wording import asked_words, place_words, way_words


class BenchLines:
    """Prints a line for each event that matters. `write`: takes one line without its end."""

    def __init__(self, neck: Neck, write: Callable[[str], None]) -> None:
        self._neck = neck
        self._write = write

    def apply(self, event: told.Event) -> None:
        """Print what the event means, if anything."""
        line = self.words(event)
        if line is not None:
            self._write(line)

    def words(self, event: told.Event) -> str | None:
        """The line of an event; None for those that pass too quickly to be worth one."""
        match event:
            case told.Asked(again=False):
                return f"pluck     {asked_words(self._neck, event.ask)}"
            case told.Accepted():
                ask = event.taken.ask
                cents = "" if event.deviation_cents is None else f"  {event.deviation_cents:+.2f} cents"
                return f"taken     {place_words(self._neck, ask.string, ask.fret)}{cents}"
            case told.Worked():
                return self._worked(event)
            case told.NextPart():
                return "next      the next correction"
            case told.Again():
                return f"once more {event.reason}"
            case told.WrongNote() | told.Drifted() | told.NoCues():
                return f"{'once more' if isinstance(event, told.WrongNote) else 'warning':<9} {event.text}"
            case told.OutOfTune():
                return f"tune up   {event.text}"
            case told.TooFaint():
                return f"too faint {event.text}"
            case told.SteppedBack():
                return f"one back  {asked_words(self._neck, event.ask)}"
            case told.Skipped():
                return f"skipped   {place_words(self._neck, event.ask.string, event.ask.fret)}"
            case told.Paused():
                return "paused"
            case told.Resumed():
                return "resumed"
            case told.SourceTrouble():
                return f"{'sound' if event.listening else 'no sound':<9} {event.text}"
            case told.Grown():
                return f"{'why' if event.asks else 'enough':<9} {event.why}"
            case told.StringFinished():
                return f"finished  string {event.string}"
            case told.Finished():
                return "finished  all notes are taken" if event.complete else "stopped   what was taken is kept"
        return None

    def _worked(self, event: told.Worked) -> str:
        words = f"changed   {event.change_cents:+.2f} cents"
        left = event.remaining
        if left is None:
            return words
        if left.state == "done":
            return f"{words}  stop: {left.mm:+.2f} ± {left.u_mm:.2f} mm are left"
        more = "" if left.state == "move" else ", pluck before it is moved"
        return f"{words}  {abs(left.mm):.2f} ± {left.u_mm:.2f} mm to go {way_words(left.mm)}{more}"
