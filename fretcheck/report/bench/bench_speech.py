"""What is spoken in a live session: string and fret, the result, and what to do, in as few words as will do."""

from collections.abc import Sequence

from fretcheck.neck.description import Neck
from fretcheck.session import events
from fretcheck.session.live.wording import partners_of, way_words
from fretcheck.session.plan import Ask

IN_TUNE_CENTS = 0.5  # A smaller deviation is not worth a number: a hand repeats to 0.5 to 1 cent


class BenchSpeech:
    """Puts events into words."""

    def __init__(self, neck: Neck) -> None:
        self._neck = neck
        self._asked: Ask | None = None  # As spoken last

    def words(self, happened: Sequence[events.Event]) -> str:
        """One prompt for all that happened together; empty where nothing is worth a word."""
        worked = any(isinstance(one, events.Worked) for one in happened)
        spoken = [self._word(one) for one in happened if not (worked and isinstance(one, events.Accepted))]
        return " ".join(one for one in spoken if one)

    def _word(self, event: events.Event) -> str:
        match event:
            case events.Asked():
                return self._wanted(event.ask)
            case events.Accepted():
                return _cents(event.deviation_cents)
            case events.Worked():
                return f"{_cents(event.deviation_cents)} {_left(event.remaining)}"
            case events.Again(silent=False):
                self._asked = None
                return f"{event.short.capitalize()}, once more."
            case events.TooFaint():
                return "Too faint: pluck harder."
            case events.WrongNote():
                self._asked = None
                return f"That was {event.short.lower()}."
            case events.OutOfTune():
                return f"{abs(event.cents):.0f} {'sharp: slacken' if event.cents > 0 else 'flat: tighten'}."
            case events.Drifted():
                return f"String {event.string} has moved." if event.text else ""
            case events.SteppedBack():
                return "One back."
            case events.Paused():
                return "Paused."
            case events.NextPart():
                return "The next correction."
            case events.SourceTrouble():
                return "The sound is back." if event.listening else "No sound."
            case events.Finished():
                return "Finished."
        return ""

    def _wanted(self, ask: Ask) -> str:
        """Where to pluck; nothing twice, and the string only when it is another."""
        before, self._asked = self._asked, ask
        if ask == before and ask.fret > 0:
            return ""
        fret = "open" if ask.fret == 0 else f"fret {ask.fret}"
        press = {None: "", "light": ", lightly", "firm": ", firmly"}[ask.press]
        if before is not None and before.string == ask.string:
            return f"{fret.capitalize()}{press}."
        damp = " and ".join(str(one) for one in partners_of(self._neck, ask.string))
        return f"String {ask.string}, {fret}{press}{f', damp {damp}' if damp else ''}."


def _cents(cents: float | None) -> str:
    if cents is None:
        return "Taken."
    if abs(cents) < IN_TUNE_CENTS:
        return "In tune."
    return f"{abs(cents):.0f} {'sharp' if cents > 0 else 'flat'}."


def _left(remaining: events.Remaining | None) -> str:
    if remaining is None:
        return ""
    if remaining.state == "done":
        return "Stop."
    return f"{abs(remaining.mm):.1f} millimetres {way_words(remaining.mm)}." if remaining.state == "move" else "Pluck again."
