"""The bench of a live session: microphone, screen, keys and loudspeaker around one runner and its journal."""

import os
import queue
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager, suppress
from dataclasses import dataclass
from math import log10
from typing import cast

from rich.console import Console

from fretcheck.audio.cues import CuePlayer
from fretcheck.audio.input.microphone import SourceState
from fretcheck.audio.input.quiet_stderr import quiet_stderr
from fretcheck.audio.input.source import AudioSource, Block
from fretcheck.audio.speech import SpokenPrompts
from fretcheck.cli.live.live_display import ScreenDisplay
from fretcheck.cli.live.live_source import open_cues, open_source
from fretcheck.cli.live.live_terminal import Keys, ending_in_order
from fretcheck.report.bench.bench_lines import BenchLines
from fretcheck.report.bench.bench_screen import BenchScreen
from fretcheck.report.bench.bench_speech import BenchSpeech
from fretcheck.report.bench.bench_view import BenchView
from fretcheck.report.bench.work_screen import WorkScreen
from fretcheck.report.bench.work_view import WorkView
from fretcheck.session.events import Event
from fretcheck.session.journal.journal import Journal
from fretcheck.session.live.live_session import Command, LiveSession
from fretcheck.session.live.runner import Runner

Inbox = queue.Queue[Block | SourceState | str | Exception | None]


# What may wait for the session before the source has to hold it back: five seconds of sound in blocks of 1024 at 48 kHz
_WAITING_ITEMS = 256
MANY_WAITING = 4  # With so many waiting the program is behind the sound, and leaves out what is only for the eye
_WAKE_S = 0.05
_QUIETEST_RMS = 1e-6


@dataclass(frozen=True, kw_only=True)
class Bench:
    """A session's sound, its journal, and its tones or voice. `inbox`: what waits for the session."""

    source: AudioSource
    journal: Journal
    cues: CuePlayer
    inbox: Inbox

    def conduct(self, runner: Runner, view: BenchView, *, also_tell: Callable[[Event], None], stdout_is_taken: bool) -> None:
        """Run a session, on the screen or in lines, until it is finished."""
        with ExitStack() as stack:
            step_back = self.journal.story.step_back
            display = stack.enter_context(_shown(view, step_back=step_back, stdout_is_taken=stdout_is_taken))
            stack.enter_context(Keys(self.inbox.put))

            def tell(event: Event) -> None:
                display.apply(event)
                also_tell(event)

            session = LiveSession(
                runner,
                self.journal,
                tell=tell,
                cues=self.cues,
                words=BenchSpeech(runner.neck).words if isinstance(self.cues, SpokenPrompts) else None,
                behind=lambda: self.inbox.qsize() >= MANY_WAITING,
            )
            session.begin(source=self.source.name, sample_rate=self.source.sample_rate)
            session.start()
            stack.enter_context(_pumping(self.source, self.inbox))
            _attend(session, self.inbox, display, view)


@contextmanager
def at_the_bench(
    device: str | None, channel: int | None, open_journal: Callable[[], Journal], *, cues: bool, spoken: bool
) -> Iterator[Bench]:
    """Open the sound, then the journal, then the loudspeaker, and close them in order, whatever ends the session."""
    inbox: Inbox = queue.Queue(maxsize=_WAITING_ITEMS)
    with (
        ending_in_order(),
        open_source(device, channel, on_state=inbox.put) as source,
        open_journal() as journal,
        closing(open_cues(wanted=cues, spoken=spoken)) as player,
    ):
        yield Bench(source=source, journal=journal, cues=player, inbox=inbox)


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
