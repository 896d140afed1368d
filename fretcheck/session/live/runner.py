"""The live session as a state machine: plucks go in, events come out.

The runner knows neither microphone nor screen nor disk. It is told what was heard (`onset`, `running`, `pluck`, `unusable`,
`lost`) and what the player commands (`again`, `back`, `skip`, `pause`, `stop`), and answers each with the events that follow.
An accepted pluck is handed to `keep` before it is told and before the next is asked for; when `keep` raises, nothing has moved.

Conventions: times in seconds of the session's sound, never of a wall clock; the clock passed in serves only for the time that
is left. A step is an index into the plan's asks. Going back withdraws what was taken for that step; steps after it stay taken.
An open string plucked twice in a row directly after a note was taken goes one back, to the fretted note before, or to the open
note where there is none; an open note that is itself asked for answers that, and never counts toward the gesture. Later on, two
open plucks are an open check. An open note that has moved by more than `RETUNED_CENTS` is asked for once more; when it stays
there, what was played since the string was last heard open is played again.
"""

from collections.abc import Callable, Iterable, Sequence
from typing import Literal

from fretcheck.audio.segment.pluck import Pluck
from fretcheck.neck.description import Neck
from fretcheck.neck.temperament import cents_between
from fretcheck.pitch.reading import NoteReading
from fretcheck.session import events
from fretcheck.session.live.complaints import Complaint, uncertain, useless, wrong_note_words
from fretcheck.session.live.heard import Match, expected_hz, match
from fretcheck.session.live.progress import Progress
from fretcheck.session.live.tuning import Tuning
from fretcheck.session.placed_reading import Reading
from fretcheck.session.plan import Ask, Plan

# Puts an accepted pluck on disk and returns it with its number and `sound_file`; raises when it can't
Keep = Callable[[Reading, Pluck], Reading]

State = Literal["waiting", "listening", "ringing", "paused", "finished"]

# What to ask next, from the plucks taken and the asks that were left out; called when the plan is done
Choose = Callable[[Sequence[Reading], Sequence[Ask]], events.Grown]

# A note less certain than this is asked for once more, and then taken as it is: a hand repeats to one cent, and a reading with an
# honest uncertainty of 3 cents is worth more than none
WEAK_CENTS = 2.0


class Runner(Progress):
    """Asks for the notes of a plan, one pluck at a time.

    `neck`, `plan`: what is played, and in which order. `keep`: called with each accepted pluck before anything else follows
    from it. `clock`: seconds, monotonic; for the time left. `step_back`: whether an open string plucked twice in a row goes one
    back. `tune_within_cents`: how well a string is to be tuned before it is played; None to take it as it is. `choose`: chooses
    what a plan that grows asks next. `taken`: what an interrupted session has already accepted (withdrawn plucks left out).
    `skipped`: steps it skipped.
    """

    def __init__(
        self,
        neck: Neck,
        plan: Plan,
        *,
        keep: Keep,
        clock: Callable[[], float],
        step_back: bool = True,
        tune_within_cents: float | None = None,
        choose: Choose | None = None,
        taken: Sequence[Reading] = (),
        skipped: Iterable[int] = (),
    ) -> None:
        super().__init__(plan, clock=clock, taken=taken, skipped=skipped)
        self.neck = neck
        self.state: State = "waiting"
        self._keep = keep
        self._choose = choose
        self._step_back = step_back
        self._unasked_opens = 0
        self._just_taken = False  # Nothing but open plucks was heard since a note was taken: two of them go one back
        # What was heard too uncertainly, or by its inharmonicity on another string: asked for once more, then taken as it is
        self._weak: Ask | None = None
        self._heard: dict[int, list[tuple[Ask, NoteReading]]] = {}  # By string, what was asked and what was heard, taken or not
        self._moved: int | None = None  # The string whose open note was heard elsewhere than before, and is asked for once more
        self._muted_until_s = float("-inf")
        self._tuning = Tuning(neck, within_cents=tune_within_cents)
        for earlier in taken:
            self._tuning.note(earlier)
            self._heard.setdefault(earlier.ask.string, []).append((earlier.ask, earlier.note))

    # what is known

    @property
    def expected_hz(self) -> float | None:
        """Pitch of what is asked for, from its string's open note as heard; None when nothing is waited for."""
        ask = self.ask
        if ask is None or self.state not in ("waiting", "ringing"):
            return None
        return expected_hz(self.neck, ask.string, ask.fret, self._tuning.opens)

    def deviation_cents(self, ask: Ask, note: NoteReading) -> float | None:
        """How far a note is from what was asked; a fretted note is judged from its own open note, None without one."""
        if note.f1_hz is None or (ask.fret > 0 and ask.string not in self._tuning.opens):
            return None
        return cents_between(note.f1_hz, expected_hz(self.neck, ask.string, ask.fret, self._tuning.opens))

    # what begins

    def start(self) -> list[events.Event]:
        """Ask for the first note. A session that was interrupted within a string asks for its open note first."""
        self._begin_step()
        ask = self.ask
        if ask is None:
            return self._ask_or_finish()
        if ask.fret > 0 and any(taken.ask.string == ask.string for taken in self.taken):
            self._recheck = Ask(string=ask.string, fret=0, check=True)
        return [self._asked()]

    # what is heard

    def mute(self, until_s: float) -> None:
        """Take nothing that begins before `until_s`: a cue is sounding."""
        self._muted_until_s = max(self._muted_until_s, until_s)

    def onset(self, start_s: float) -> list[events.Event]:
        """A pluck has begun."""
        if not self._listens_to(start_s):
            return []
        self.state = "listening"
        return [events.Begun()]

    def running(self, note: NoteReading, *, settled: float) -> list[events.Event]:
        """The value of the pluck under way, and how far it has settled (0 to 1)."""
        ask = self.ask
        if self.state != "listening" or ask is None:
            return []
        return [events.Running(deviation_cents=self.deviation_cents(ask, note), u_cents=note.u_cents, settled=settled)]

    def pluck(self, pluck: Pluck, note: NoteReading, *, start_s: float) -> list[events.Event]:
        """A pluck has settled or ended: judge it. To be called once for each pluck.

        `pluck`: its sound so far. `note`: what was read from exactly that sound. `start_s`: its beginning, in seconds of the
        session's sound.
        """
        ask = self.ask
        if ask is not None and self.state in ("waiting", "ringing") and start_s < self._muted_until_s:
            return self._fell_into_cue(ask, note)
        if self.state != "listening" or ask is None or not self._listens_to(start_s):
            return []
        if pluck.end == "lost_samples":
            return self.lost()
        if not note.usable:
            return self._again(ask, useless(self.neck, ask, note))
        return self._judge(ask, pluck, note, start_s)

    def _judge(self, ask: Ask, pluck: Pluck, note: NoteReading, start_s: float) -> list[events.Event]:
        """Is a usable note what was asked for, and can it be taken?"""
        if (off := self._tuning.to_tune(ask, note)) is not None:
            self.state = "ringing"
            return [events.OutOfTune(ask=ask, cents=off[0], text=off[1]), self._asked(again=True)]
        before = self._heard.setdefault(ask.string, [])
        found = match(self.neck, ask, note, self._tuning.opens, before)
        before.append((ask, note))
        twice = self._weak is ask
        if not found.as_asked and not (found.right_pitch and twice):
            self._weak = ask if found.right_pitch else self._weak
            return self._not_as_asked(ask, found, pluck, note, start_s)
        if note.u_cents is not None and note.u_cents > WEAK_CENTS and not twice:
            self._weak = ask
            return self._again(ask, uncertain(ask, note))
        jump = self._tuning.jump_cents(ask, note)
        if jump is None:
            self._moved = None
            return self._accept(ask, pluck, note, start_s)
        if self._moved != ask.string:
            self._moved = ask.string
            text = f"String {ask.string} open is {jump:+.1f} cents from where it was; once more, to be sure."
            return self._again(ask, Complaint(text, "MOVED"))
        return self._start_anew(ask, pluck, note, start_s, jump)

    def unusable(self, reason: str, *, start_s: float, silent: bool = False) -> list[events.Event]:
        """What began as a pluck turned out to be none: `reason` is a sentence for the player, `silent` for a mere knock."""
        ask = self.ask
        if self.state != "listening" or ask is None or not self._listens_to(start_s):
            return []
        if not self._heard:  # the bench is still being made ready: nobody has plucked yet
            self.state = "waiting"
            return [self._asked(again=True)]
        return self._again(ask, Complaint(reason, "NO PLUCK"), silent=silent)

    def faint(self, level_db: float, room_db: float) -> list[events.Event]:
        """The note asked for was heard more than once, at `level_db`, too faint for a room of `room_db` to be a pluck."""
        ask = self.ask
        if self.state not in ("waiting", "ringing") or ask is None:
            return []
        text = (
            f"Heard a note of {level_db:.0f} dB, too faint to be measured in this room ({room_db:.0f} dB). "
            "Pluck harder or move the microphone nearer."
        )
        return [events.TooFaint(ask=ask, text=text)]

    def lost(self) -> list[events.Event]:
        """Samples were lost; a pluck under way is given up and asked for again."""
        ask = self.ask
        if self.state != "listening" or ask is None:
            return []
        return self._again(ask, Complaint("Some of the sound was lost on its way; pluck it again.", "SOUND LOST"))

    # what the player commands

    def again(self) -> list[events.Event]:
        """Drop the pluck under way and ask for the same note afresh."""
        ask = self.ask
        if ask is None or self.state == "paused":
            return []
        self.state = "waiting"
        self._unasked_opens = 0
        self._just_taken = False
        return [self._asked(again=True)]

    def back(self) -> list[events.Event]:
        """One back in the plan; what was taken for that note no longer counts."""
        before = self._step if self._step is not None else len(self.plan.asks)
        if self._recheck is not None or before == 0 or self.state == "paused":
            return self.again()
        return self._go_back(before - 1)

    def skip(self) -> list[events.Event]:
        ask = self.ask
        if ask is None or self.state == "paused":
            return []
        step = self.step
        if step is not None:
            self._skipped.add(step)
        return [events.Skipped(step=step, ask=ask), *self._go_on(ask)]

    def pause(self) -> list[events.Event]:
        """Stop taking plucks, or take them again when paused."""
        if self.ask is None:
            return []
        if self.state == "paused":
            self.state = "waiting"
            self._begin_step()
            return [events.Resumed(), self._asked(again=True)]
        self.state = "paused"
        return [events.Paused()]

    def stop(self) -> list[events.Event]:
        """End here and keep what is taken."""
        return self._finish()

    # inside

    def _listens_to(self, start_s: float) -> bool:
        return self.state in ("waiting", "listening", "ringing") and start_s >= self._muted_until_s

    def _asked(self, *, again: bool = False) -> events.Asked:
        ask = self.ask
        assert ask is not None
        return events.Asked(ask=ask, again=again)

    def _again(self, ask: Ask, why: Complaint, *, silent: bool = False) -> list[events.Event]:
        self.state = "ringing"
        self._unasked_opens = 0
        self._just_taken = False
        return [events.Again(ask=ask, reason=why.text, short=why.short, silent=silent), self._asked(again=True)]

    def _fell_into_cue(self, ask: Ask, note: NoteReading) -> list[events.Event]:
        """A pluck that began while a cue sounded is not measured, but its player is told; the cue itself is passed over."""
        if not note.usable or not match(self.neck, ask, note, self._tuning.opens).as_asked:
            return []
        reason = "That pluck began while a cue still sounded; pluck it again."
        return [events.Again(ask=ask, reason=reason, short="TOO EARLY", silent=True), self._asked(again=True)]

    def _not_as_asked(self, ask: Ask, found: Match, pluck: Pluck, note: NoteReading, start_s: float) -> list[events.Event]:
        self.state = "ringing"
        open_of_this = ask.fret > 0 and (ask.string, 0) in found.places[:1]
        self._unasked_opens = self._unasked_opens + 1 if open_of_this else 0
        self._just_taken &= open_of_this
        if self._step_back and self._unasked_opens == 2:
            if self._just_taken:
                now = self._step if self._step is not None else len(self.plan.asks) - 1
                return self._go_back(self._fretted_before(now))
            self._unasked_opens = 0
            self._recheck = Ask(string=ask.string, fret=0, check=True)
            return self._judge(self._recheck, pluck, note, start_s)
        if found.slipped:
            return self._ask_for_open(ask, found.cents)
        text = wrong_note_words(self.neck, ask, found, note)
        return [events.WrongNote(ask=ask, heard=found.places, text=text), self._asked(again=True)]

    def _go_back(self, step: int) -> list[events.Event]:
        withdrawn = self._go_to(step)
        self._tuning.anew(self.plan.asks[step].string, self.taken)
        self._unasked_opens = 0
        self.state = "ringing"
        return [events.SteppedBack(step=step, ask=self.plan.asks[step], withdrawn=withdrawn), self._asked(again=True)]

    def _accept(self, ask: Ask, pluck: Pluck, note: NoteReading, start_s: float) -> list[events.Event]:
        taken = self._keep(Reading(step=self.step, ask=ask, start_s=start_s, note=note), pluck)
        deviation = self.deviation_cents(ask, note)
        self._take(taken)
        self._unasked_opens = 0
        self._just_taken = True
        self._weak = None
        self.state = "ringing"
        accepted = events.Accepted(taken=taken, deviation_cents=deviation, pluck=pluck)
        return [accepted, *self._drifted(taken), *self._go_on(ask)]

    def _drifted(self, taken: Reading) -> list[events.Event]:
        self._tuning.note(taken)
        cents = self._tuning.drift_cents(taken)
        if cents is None:
            return []
        string = taken.ask.string
        text = f"String {string} has moved by {cents:+.1f} cents since its first open pluck. Let it settle; check the tuner."
        return [events.Drifted(string=string, cents=cents, text=text)]

    def _ask_for_open(self, ask: Ask, cents: float) -> list[events.Event]:
        """Notes are shifted alike: has the string slipped? Its open note tells."""
        self.state = "ringing"
        self._unasked_opens = 0
        self._recheck = Ask(string=ask.string, fret=0, check=True)
        text = (
            f"These notes are {cents:+.0f} cents off alike: string {ask.string} seems to have slipped. Tune it and pluck it open."
        )
        return [events.Drifted(string=ask.string, cents=cents, text=text), self._asked()]

    def _start_anew(self, ask: Ask, pluck: Pluck, note: NoteReading, start_s: float, jump: float) -> list[events.Event]:
        """The string has slipped or was retuned: this is its open note now; what was played since the last is played again."""
        string = ask.string
        own = [taken for taken in self.taken if taken.ask.string == string]
        last_open = max(index for index, taken in enumerate(own) if taken.ask.fret == 0)
        kept = last_open + 1 if any(taken.ask.fret > 0 for taken in own[:last_open]) else 0
        stale = own[kept:]
        step = next((taken.step for taken in stale if taken.ask.fret == 0), None)
        fresh = self._keep(Reading(step=step, ask=ask, start_s=start_s, note=note), pluck)
        withdrawn = self._withdraw(stale)
        self._take(fresh)
        self._tuning.anew(string, [fresh])
        self._heard[string] = [(ask, note)]
        self._moved = self._recheck = self._weak = None
        self.state = "ringing"
        self._step = self._next_step(min((taken.step for taken in stale if taken.step is not None), default=self._step or 0))
        text = f"String {string} has moved by {jump:+.1f} cents. What was played since it was last heard open is played again."
        return [
            events.Accepted(taken=fresh, deviation_cents=self.deviation_cents(ask, note), pluck=pluck),
            events.Drifted(string=string, cents=jump, text=text, withdrawn=withdrawn),
            *self._ask_or_finish(),
        ]

    def _go_on(self, ask: Ask) -> list[events.Event]:
        happened: list[events.Event] = []
        self._step_on()
        if self.state == "listening":
            self.state = "ringing"
        if self._string_done(ask.string):
            happened.append(events.StringFinished(string=ask.string))
        return [*happened, *self._ask_or_finish()]

    def _ask_or_finish(self) -> list[events.Event]:
        """Ask for what is next, or, when the plan is done, for what is chosen now."""
        if self.ask is not None:
            return [self._asked()]
        if self._choose is None:
            return self._finish()
        grown = self._choose(self.taken, [self.plan.asks[step] for step in sorted(self.skipped)])
        if not grown.asks:
            return [grown, *self._finish()]
        self._grow(grown.asks)
        return [grown, self._asked()]

    def _finish(self) -> list[events.Event]:
        if self.state == "finished":
            return []
        self.state = "finished"
        return [events.Finished(complete=self._step is None)]
