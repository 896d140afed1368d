"""Shows a live session: on the screen of a terminal, or as plain lines where there is none.

The screen is redrawn at most ten times in any second: at once when something happened, eight times a second for running values,
and now and then for the level alone.
"""

from collections import deque
from collections.abc import Callable
from typing import Protocol, Self, TextIO

from fretcheck.cli.live.terminal_screen import Picture, TerminalScreen
from fretcheck.report.bench.bench_lines import BenchLines
from fretcheck.report.bench.bench_view import BenchView
from fretcheck.session import events

MOST_DRAWS_A_SECOND = 10
RUNNING_INTERVAL_S = 0.125  # Leaves two frames a second for what has to be shown at once
LEVEL_INTERVAL_S = 0.2


class Display(Protocol):
    """Where a session is shown."""

    def apply(self, event: events.Event) -> None:
        """Take in one event."""

    def draw(self) -> None:
        """Bring what was taken in before the eyes, if it is time to."""

    @property
    def wants_running(self) -> bool:
        """Whether a running value would be shown if there were one now; reading one that nobody sees is work for nothing."""
        ...

    def __enter__(self) -> Self: ...

    def __exit__(self, *exc: object) -> None: ...


class ScreenDisplay:
    """The whole terminal, redrawn; its size is taken anew for each frame.

    `view`: shared with the session, which keeps level and time left up to date in it. `picture`: of the view. `stream`: the
    terminal. `clock`: seconds, monotonic.
    """

    def __init__(self, view: BenchView, picture: Picture, stream: TextIO, *, clock: Callable[[], float]) -> None:
        self._view = view
        self._picture = picture
        self._screen = TerminalScreen(stream, clock=clock)
        self._clock = clock
        self._drawn: deque[float] = deque(maxlen=MOST_DRAWS_A_SECOND)
        self._owed_at_once = self._owed = False
        self.draws = 0

    def __enter__(self) -> Self:
        self._screen.__enter__()
        return self

    def __exit__(self, *exc: object) -> None:
        self._screen.__exit__(*exc)

    def apply(self, event: events.Event) -> None:
        self._view.apply(event)
        self._owed = True
        self._owed_at_once |= not isinstance(event, events.Running)

    @property
    def wants_running(self) -> bool:
        return self._since_last(self._clock()) >= RUNNING_INTERVAL_S

    def _since_last(self, now: float) -> float:
        return now - self._drawn[-1] if self._drawn else float("inf")

    def draw(self) -> None:
        now = self._clock()
        full = len(self._drawn) == MOST_DRAWS_A_SECOND and now - self._drawn[0] < 1.0
        due = self._since_last(now) >= (RUNNING_INTERVAL_S if self._owed else LEVEL_INTERVAL_S)
        if full or not (self._owed_at_once or due):
            return
        self._owed_at_once = self._owed = False
        self._drawn.append(now)
        self.draws += 1
        self._screen.show(self._picture)


class LinesDisplay:
    """A line for each event, at once."""

    def __init__(self, view: BenchView, stream: TextIO) -> None:
        self._view = view
        self._lines = BenchLines(view.neck, lambda line: print(line, file=stream, flush=True))

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        pass

    def apply(self, event: events.Event) -> None:
        self._view.apply(event)
        self._lines.apply(event)

    def draw(self) -> None:
        pass

    @property
    def wants_running(self) -> bool:
        return False
