"""`fretcheck inspect` without recordings: what was chosen, checked and carried out at the bench."""

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from fretcheck.cli.live.bench import Bench, at_the_bench
from fretcheck.cli.live.live_options import LiveOptions
from fretcheck.cli.live.live_plan import Earlier, plan_chosen
from fretcheck.cli.live.live_values import judging
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.errors import FretcheckError, UsageError
from fretcheck.folders import data_folder
from fretcheck.inspection.next_asks import chooser
from fretcheck.neck.description import Neck
from fretcheck.report.bench.bench_view import BenchView
from fretcheck.session.journal.journal import Journal
from fretcheck.session.journal.outcome import inspection_of
from fretcheck.session.journal.story import find_unfinished, read_story, sessions_folder
from fretcheck.session.live.runner import Runner
from fretcheck.session.placed_reading import Inspection

# Strings nearer to pitch than this are played as they are: their tension, and so the sharpening, is that of the design to 0.6 %.
# A hand cannot tune to less than a cent.
TUNE_WITHIN_CENTS, LEAST_TUNE_WITHIN_CENTS = 5.0, 1.0


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
        return _kept_words(len(self.inspection.readings), self.session_id, remark, self.go_on)


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
    with at_the_bench(options.device, options.channel, open_journal, cues=options.cues, spoken=options.speak) as bench:
        journal = bench.journal
        try:
            _inspect(bench, settings=settings, stdout_is_taken=stdout_is_taken)
        except (KeyboardInterrupt, SystemExit, FretcheckError):
            print(_kept_words(len(journal.story.taken), journal.story.id, "", options.go_on), file=sys.stderr)
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
    plan = plan_chosen(neck, options, earlier)
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


def _kept_words(count: int, session: str, remark: str, go_on: str) -> str:
    return f"{'1 pluck is kept' if count == 1 else f'{count} plucks are kept'} in session {session}{remark}; go on with: {go_on}"


def _inspect(bench: Bench, *, settings: DiagnosisSettings, stdout_is_taken: bool) -> None:
    """Run an inspection until its plan is done, it is stopped, or the sound ends."""
    story = bench.journal.story
    growth = story.plan.growth
    runner = Runner(
        story.neck,
        story.plan,
        keep=bench.journal.keep,
        clock=time.monotonic,
        step_back=story.step_back,
        tune_within_cents=story.tune_within_cents,
        choose=None if growth is None else chooser(story.neck, growth, strings=story.plan.strings, settings=settings),
        taken=story.taken,
        skipped=story.skipped,
    )
    view = BenchView(neck=story.neck, plan=story.plan, source=bench.source.name)
    for taken in story.taken:
        view.remember(taken, runner.deviation_cents(taken.ask, taken.note))
    with judging(story, settings, partial(setattr, view, "judged")) as judge_anew:
        bench.conduct(runner, view, also_tell=judge_anew, stdout_is_taken=stdout_is_taken)
