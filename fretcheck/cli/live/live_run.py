"""`fretcheck inspect` without recordings: microphone, screen, keys and journal around one session."""

import os
import queue
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager, suppress
from dataclasses import dataclass
from functools import partial
from math import log10
from pathlib import Path
from typing import cast

from rich.console import Console

from fretcheck.audio.cues import CuePlayer
from fretcheck.audio.input.microphone import SourceState
from fretcheck.audio.input.quiet_stderr import quiet_stderr
from fretcheck.audio.input.source import AudioSource, Block
from fretcheck.audio.speech import SpokenPrompts
from fretcheck.cli.live.earlier import Earlier
from fretcheck.cli.live.live_display import ScreenDisplay
from fretcheck.cli.live.live_options import LiveOptions
from fretcheck.cli.live.live_source import open_cues, open_source
from fretcheck.cli.live.live_terminal import Keys, ending_in_order
from fretcheck.cli.live.live_values import judging
from fretcheck.diagnosis.conclude.deciding import MOST_PLUCKS
from fretcheck.diagnosis.conclude.next_notes import LOOK_FOR_MM
from fretcheck.diagnosis.conclude.verdict import FEWEST_STRINGS
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.errors import FretcheckError, UsageError
from fretcheck.folders import data_folder
from fretcheck.inspection.next_asks import chooser
from fretcheck.neck.description import Neck
from fretcheck.report.bench.bench_lines import BenchLines
from fretcheck.report.bench.bench_screen import BenchScreen
from fretcheck.report.bench.bench_speech import BenchSpeech
from fretcheck.report.bench.bench_view import BenchView
from fretcheck.report.bench.work_screen import WorkScreen
from fretcheck.report.bench.work_view import WorkView
from fretcheck.session.events import Event
from fretcheck.session.journal.journal import Journal
from fretcheck.session.journal.outcome import inspection_of
from fretcheck.session.journal.story import find_unfinished, read_story, sessions_folder
from fretcheck.session.live.live_session import Command, LiveSession
from fretcheck.session.live.runner import Runner
from fretcheck.session.placed_reading import Inspection
from fretcheck.session.plan import SPOT, Plan, deciding_plan, make_plan, parse_numbers, until_the_verdict

Inbox = queue.Queue[Block | SourceState | str | Exception | None]


# What may wait for the session before the source has to hold it back: five seconds of sound in blocks of 1024 at 48 kHz
_WAITING_ITEMS = 256
MANY_WAITING = 4  # With so many waiting the program is behind the sound, and leaves out what is only for the eye
_WAKE_S = 0.05
# Strings nearer to pitch than this are played as they are: their tension, and so the sharpening, is that of the design to 0.6 %.
# A hand cannot tune to less than a cent.
TUNE_WITHIN_CENTS, LEAST_TUNE_WITHIN_CENTS = 5.0, 1.0
_QUIETEST_RMS = 1e-6


@dataclass(frozen=True, kw_only=True)
class LiveResult:
    """What a session came to, and the folder below which the sounds of its readings lie."""

    inspection: Inspection
    session_id: str
    folder: Path
    complete: bool
    go_on: str  # The command that goes on with it

    @property
    def has_fretted_notes(self) -> bool:
        """Whether there is anything to diagnose."""
        return any(one.used and one.fret > 0 and one.press is None for one in self.inspection.readings)

    def how_to_go_on(self, remark: str = "") -> str:
        """What is kept and how to go on, in a line."""
        return kept_words(len(self.inspection.readings), self.session_id, remark, self.go_on)


def run_live(
    neck: Neck,
    options: LiveOptions,
    *,
    settings: DiagnosisSettings,
    earlier: Earlier | None = None,
    stdout_is_taken: bool = False,
) -> LiveResult:
    """Inspect a neck live, and return what it came to.

    `earlier`: the inspection named by ``--more`` or ``--after``. `stdout_is_taken`: standard output belongs to a document; the
    session is shown elsewhere.
    Raises UsageError: options that do not go together; DeviceError, StorageError: a microphone or disk that failed; what was
    accepted is kept, and the session can be resumed; KeyboardInterrupt, SystemExit: stopped from outside; a line on standard
    error has said how to go on.
    """
    open_journal = _journal_opener(neck, options, earlier)
    with ExitStack() as stack:
        stack.enter_context(ending_in_order())
        inbox: Inbox = queue.Queue(maxsize=_WAITING_ITEMS)
        source = stack.enter_context(open_source(options.device, options.channel, on_state=inbox.put))
        journal = stack.enter_context(open_journal())
        cues = stack.enter_context(closing(open_cues(wanted=options.cues, spoken=options.speak)))
        try:
            _converse(journal, source, inbox, cues, settings=settings, stdout_is_taken=stdout_is_taken)
        except (KeyboardInterrupt, SystemExit, FretcheckError):
            print(kept_words(len(journal.story.taken), journal.story.id, "", options.go_on), file=sys.stderr)
            raise
        story, _ = read_story(journal.folder)
        return LiveResult(
            inspection=inspection_of(story),
            session_id=story.id,
            folder=journal.folder,
            complete=story.complete,
            go_on=options.go_on,
        )


def _journal_opener(neck: Neck, options: LiveOptions, earlier: Earlier | None) -> Callable[[], Journal]:
    """Check what was chosen before any device is opened; the journal is begun once there is sound."""
    root = sessions_folder(data_folder(options.data))
    if options.resume:
        for name in options.chosen():
            if name not in ("--resume", "--session", "--device", "--channel", "--more"):
                raise UsageError(f"--resume goes on with the plan as it was begun; leave {name} out")
        return partial(Journal.open, find_unfinished(root, neck, session_id=options.session))
    if options.session is not None:
        raise UsageError("--session names an interrupted session to go on with: add --resume")
    plan = _plan(neck, options, earlier)
    within = options.tune_within or TUNE_WITHIN_CENTS
    if not LEAST_TUNE_WITHIN_CENTS <= within <= 50.0:
        raise UsageError(f"--tune-within {within:g} is out of range: {LEAST_TUNE_WITHIN_CENTS:g} to 50 cents, or --no-tune-up")
    return partial(
        Journal.create,
        root,
        neck,
        plan,
        step_back=options.step_back is not False,
        tune_within_cents=within if options.tune_up else None,
    )


def _plan(neck: Neck, options: LiveOptions, earlier: Earlier | None) -> Plan:
    """What is asked for; notes of an earlier inspection where one was named."""
    order = options.order or "low-first"
    if earlier is not None:
        named = "--more" if options.more is not None else "--after"
        for name in options.chosen():
            if name in ("--plan", "--frets", "--strings", "--repeats", "--one-of-each-pair", "--look-for", "--most-plucks"):
                raise UsageError(f"{named} asks for notes of the inspection before; leave {name} out")
        return earlier.plan(neck, order=order)
    strings = None if options.strings is None else parse_numbers(options.strings, what="--strings")
    enough = len(strings or neck.strings) >= min(FEWEST_STRINGS, len(neck.strings))
    if options.decides and (enough or options.plan is not None):
        return deciding_plan(
            neck,
            look_for_mm=LOOK_FOR_MM if options.look_for is None else options.look_for,
            most_plucks=MOST_PLUCKS if options.most_plucks is None else options.most_plucks,
            strings=strings,
            order=order,
            one_of_each_pair=options.one_of_each_pair,
            every_note=options.every_note,
        )
    spot = options.plan == SPOT
    for name in ("--look-for", "--every-note", *([] if spot else ["--most-plucks"])):
        if name in options.chosen():
            raise UsageError(f"{name} is for the plan deciding; leave it out")
    plan = make_plan(
        neck,
        name=options.plan or "full",
        frets=None if options.frets is None else parse_numbers(options.frets, what="--frets"),
        strings=strings,
        repeats=options.repeats or 1,
        order=order,
        one_of_each_pair=options.one_of_each_pair,
    )
    return until_the_verdict(plan, most_plucks=options.most_plucks or MOST_PLUCKS) if spot and enough else plan


def kept_words(count: int, session: str, remark: str, go_on: str) -> str:
    return f"{'1 pluck is kept' if count == 1 else f'{count} plucks are kept'} in session {session}{remark}; go on with: {go_on}"


def _converse(
    journal: Journal, source: AudioSource, inbox: Inbox, cues: CuePlayer, *, settings: DiagnosisSettings, stdout_is_taken: bool
) -> None:
    """Run an inspection until its plan is done, it is stopped, or the sound ends."""
    story = journal.story
    growth = story.plan.growth
    runner = Runner(
        story.neck,
        story.plan,
        keep=journal.keep,
        clock=time.monotonic,
        step_back=story.step_back,
        tune_within_cents=story.tune_within_cents,
        choose=None if growth is None else chooser(story.neck, growth, strings=story.plan.strings, settings=settings),
        taken=story.taken,
        skipped=story.skipped,
    )
    view = BenchView(neck=story.neck, plan=story.plan, source=source.name)
    for taken in story.taken:
        view.remember(taken, runner.deviation_cents(taken.ask, taken.note))
    with judging(story, settings, partial(setattr, view, "judged")) as judge_anew:
        conduct(journal, runner, view, source, inbox, cues, also_tell=judge_anew, stdout_is_taken=stdout_is_taken)


def conduct(
    journal: Journal,
    runner: Runner,
    view: BenchView,
    source: AudioSource,
    inbox: Inbox,
    cues: CuePlayer,
    *,
    also_tell: Callable[[Event], None],
    stdout_is_taken: bool,
) -> None:
    """Run a session, on the screen or in lines, until it is finished."""
    with ExitStack() as stack:
        display = stack.enter_context(_shown(view, step_back=journal.story.step_back, stdout_is_taken=stdout_is_taken))
        stack.enter_context(Keys(inbox.put))

        def tell(event: Event) -> None:
            display.apply(event)
            also_tell(event)

        session = LiveSession(
            runner,
            journal,
            tell=tell,
            cues=cues,
            words=BenchSpeech(runner.neck).words if isinstance(cues, SpokenPrompts) else None,
            behind=lambda: inbox.qsize() >= MANY_WAITING,
        )
        session.begin(source=source.name, sample_rate=source.sample_rate)
        session.start()
        stack.enter_context(_pumping(source, inbox))
        _attend(session, inbox, display, view)


@contextmanager
def _pumping(source: AudioSource, inbox: Inbox) -> Iterator[None]:
    """Carry blocks from the source to the session, in a thread of its own; None at the end."""
    ending = threading.Event()

    def put(item: Block | Exception | None) -> None:
        while not ending.is_set():
            with suppress(queue.Full):
                inbox.put(item, timeout=_WAKE_S)
                return

    def pump() -> None:
        try:
            for block in source.blocks():
                put(block)
                if ending.is_set():
                    return
        except Exception as error:  # noqa: BLE001 - raised again where the session is attended to
            put(error)
        else:
            put(None)

    thread = threading.Thread(target=pump, name="sound", daemon=True)
    thread.start()
    try:
        yield
    finally:
        ending.set()
        source.close()
        thread.join(timeout=2.0)


def _attend(session: LiveSession, inbox: Inbox, display: ScreenDisplay | BenchLines, view: BenchView) -> None:
    while not session.finished:
        try:
            item = inbox.get(timeout=_WAKE_S)
        except queue.Empty:
            pass
        else:
            if isinstance(item, Exception):
                raise item
            if isinstance(item, str):
                session.command(cast("Command", item))
            elif item is None:
                session.end_of_sound()
                session.command("stop")
            elif isinstance(item, Block):
                session.take(item, decisive_only=not display.wants_running)
            else:
                session.trouble(item.sentence, listening=item.kind != "lost")
        level = session.level_rms
        view.level_db = None if level is None else 20.0 * log10(max(level, _QUIETEST_RMS))
        view.notes_left, view.seconds_left = session.runner.notes_left, session.runner.seconds_left
        display.draw()


@contextmanager
def _shown(view: BenchView, *, step_back: bool, stdout_is_taken: bool) -> Iterator[ScreenDisplay | BenchLines]:
    """The screen, where there is a terminal of which single lines can be written (consoles of old Windows have not); else lines.

    The terminal is drawn on through a copy of its descriptor, so that nothing else prints into it.
    """
    stream = sys.stderr if stdout_is_taken else sys.stdout
    if not stream.isatty() or os.environ.get("TERM") in ("dumb", "unknown") or Console(file=stream).legacy_windows:
        yield BenchLines(view, stream)
        return
    picture = WorkScreen(view) if isinstance(view, WorkView) else BenchScreen(view, step_back=step_back)
    with (
        os.fdopen(os.dup(stream.fileno()), "w", encoding=stream.encoding, errors="replace") as copy,
        ScreenDisplay(picture, copy, clock=time.monotonic) as display,
        quiet_stderr(),
    ):
        yield display
