"""A live session in motion: sound goes through the ear to the runner, and what follows goes to journal, display and cues.

Conventions: times in seconds of the session's sound: the source's own time plus the offset of this part of the session.
"""

from collections.abc import Callable, Sequence
from typing import Literal

from fretcheck.audio.cues import Cue, CuePlayer
from fretcheck.audio.input.source import Block
from fretcheck.audio.segment.pluck import Pluck, SetAside
from fretcheck.pitch.reading import NoteReading
from fretcheck.session import events
from fretcheck.session.journal.journal import Journal
from fretcheck.session.live.ear import Ear
from fretcheck.session.live.faint import FaintNotes
from fretcheck.session.live.runner import Runner
from fretcheck.session.placed_reading import SoundSetAside

Command = Literal["again", "back", "skip", "pause", "stop"]
Tell = Callable[[events.Event], None]

KNOCK_S = 0.3  # Sound that was set aside and shorter than this is passed over without a cue: the bench is full of knocks

_CUES: dict[type[events.Event], Cue] = {
    events.Accepted: Cue.ACCEPTED,
    events.Again: Cue.AGAIN,
    events.TooFaint: Cue.AGAIN,
    events.WrongNote: Cue.WRONG_FRET,
    events.SteppedBack: Cue.AGAIN,
    events.StringFinished: Cue.STRING_FINISHED,
}
_CUE_RANK = (Cue.STRING_FINISHED, Cue.WRONG_FRET, Cue.AGAIN, Cue.ACCEPTED)


class LiveSession:
    """Joins ear, runner, journal, display and cues.

    `runner`: its `keep` is the journal's. `journal`: also told what was withdrawn, skipped and set aside. `tell`: takes each
    event, for the display. `cues`: a plain `CuePlayer` for a silent session. `words`: what `cues` is to say of events that
    happened together, empty for nothing. `behind`: True while sound waits that has not been heard yet. Running values are left
    out then, and a cue waits until it has been heard, lest it sounds into a pluck.
    """

    def __init__(
        self,
        runner: Runner,
        journal: Journal,
        *,
        tell: Tell,
        cues: CuePlayer,
        words: Callable[[Sequence[events.Event]], str] | None = None,
        behind: Callable[[], bool] = lambda: False,
    ) -> None:
        self.runner = runner
        self.journal = journal
        self._tell = tell
        self._cues = cues
        self._behind = behind
        self._due_cue: Cue | None = None
        self._words = words
        self._due_words = ""
        self._ear: Ear | None = None
        self._faint: FaintNotes | None = None
        self._cues_failed = False
        self._offset_s = 0.0
        self._happened: list[events.Event] = []  # With the block of sound that is being heard

    @property
    def finished(self) -> bool:
        """True once the plan is done or the session was stopped."""
        return self.runner.state == "finished"

    @property
    def level_rms(self) -> float | None:
        """RMS of the last moment, full scale 1."""
        return None if self._ear is None else self._ear.level_rms

    def begin(self, *, source: str, sample_rate: float) -> None:
        """Sound begins, or begins anew at another rate."""
        self._offset_s = self.journal.begin_part(device=source, sample_rate=sample_rate)
        self._ear = Ear(sample_rate, self)
        self._faint = FaintNotes(sample_rate)

    def start(self) -> None:
        """Ask for the first note."""
        self._sound_cue(self._follow(self.runner.start()))

    def take(self, block: Block, *, decisive_only: bool = False) -> None:
        """Hear the next block of sound; `decisive_only` leaves running values out, as in `Ear.push`."""
        assert self._ear is not None
        if self._cues.failure is not None and not self._cues_failed:
            self._cues_failed = True
            self._follow([events.NoCues(text=f"No cues will sound: {self._cues.failure}.")])
        sounding = self._cues.is_sounding
        if sounding:
            self.runner.mute(self._offset_s + (block.start_frame + len(block.samples)) / self._ear.sample_rate)
        self._happened = []
        self._ear.push(block, decisive_only=decisive_only or self._behind())
        self._listen_for_faint(block, cue_sounds=sounding)
        self._sound_cue(self._happened)

    def end_of_sound(self) -> None:
        """The source has ended: judge what was still ringing."""
        if self._ear is not None:
            self._ear.finish()

    def command(self, command: Command) -> None:
        """What the player asks for by key."""
        commands = {
            "again": self.runner.again,
            "back": self.runner.back,
            "skip": self.runner.skip,
            "pause": self.runner.pause,
            "stop": self.runner.stop,
        }
        self._sound_cue(self._follow(commands[command]()))

    def trouble(self, text: str, *, listening: bool) -> None:
        """The sound failed or came back."""
        happened = [] if listening else self.runner.lost()
        self._follow([*happened, events.SourceTrouble(text=text, listening=listening)])

    # what the ear hears

    def began(self, start_s: float) -> None:
        self._follow(self.runner.onset(self._offset_s + start_s))

    def measured(self, note: NoteReading, settled: float) -> None:
        self._follow(self.runner.running(note, settled=settled))

    def complete(self, pluck: Pluck, note: NoteReading) -> None:
        self._follow(self.runner.pluck(pluck, note, start_s=self._offset_s + pluck.start_s))

    def no_pluck(self, sound: SetAside) -> None:
        ask = self.runner.ask
        start_s, end_s = self._offset_s + sound.start_s, self._offset_s + sound.end_s
        happened = self.runner.unusable(f"Set aside: {sound.reason}.", start_s=start_s, silent=end_s - start_s < KNOCK_S)
        if ask is not None and any(isinstance(event, events.Again) for event in happened):
            self.journal.set_aside(SoundSetAside(string=ask.string, start_s=start_s, end_s=end_s, reason=sound.reason))
        self._follow(happened)

    def lost(self) -> None:
        self._follow(self.runner.lost())

    def _listen_for_faint(self, block: Block, *, cue_sounds: bool) -> None:
        """Between plucks: does the player pluck too softly to be noticed?"""
        assert self._ear is not None
        assert self._faint is not None
        expected_hz = self.runner.expected_hz
        if expected_hz is None or self._ear.follows_pluck or block.lost or cue_sounds:
            self._faint.restart()
        elif found := self._faint.push(block.samples, expected_hz):
            self._follow(self.runner.faint(found.level_db, found.room_db))

    def _follow(self, happened: list[events.Event]) -> list[events.Event]:
        """Write down and tell what happened."""
        for event in happened:
            match event:
                case events.SteppedBack():
                    self.journal.withdraw(event.withdrawn, step=event.step)
                case events.Drifted() | events.Worked():
                    self.journal.withdraw(event.withdrawn)
                case events.Grown():
                    self.journal.grow(event.asks)
                case events.Skipped(step=int(step)):
                    self.journal.skip(step)
                case events.Finished():
                    self.journal.finish(complete=event.complete)
            self._tell(event)
        self._happened += happened
        return happened

    def _sound_cue(self, happened: list[events.Event]) -> None:
        """One cue for all that happened together; none while a pluck is under way: it would get into the reading."""
        wanted = {_CUES[type(event)] for event in happened if type(event) in _CUES and not getattr(event, "silent", False)}
        self._due_cue = next((cue for cue in _CUE_RANK if cue in wanted), self._due_cue)
        if self._words is not None:
            self._due_words = self._words(happened) or self._due_words
        if self.runner.state == "listening":
            self._due_cue = None
        elif self._due_words and not self._behind():
            self._cues.say(self._due_words)
            self._due_words = ""
        elif self._due_cue is not None and not self._behind():
            self._cues.play(self._due_cue)
            self._due_cue = None
