"""The values in the cells of the live screen: read off the same posterior as the result, in a thread of its own.

A pluck is judged together with all before it within about half a second, while the next is being played; when several come in
meanwhile, they are judged together.
"""

import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager

from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.errors import FretcheckError
from fretcheck.inspection.assemble import judge
from fretcheck.report.tables.neck_cells import Cell
from fretcheck.session import events
from fretcheck.session.events import Event
from fretcheck.session.journal.outcome import inspection_of
from fretcheck.session.journal.story import Story

Show = Callable[[Mapping[tuple[int, int], "Cell"]], None]


@contextmanager
def judging(story: Story, settings: DiagnosisSettings, show: Show) -> Iterator[Callable[[Event], None]]:
    """Give a function to be told every event of the session; `show` gets the cells whenever they are new."""
    woken, ending = threading.Event(), threading.Event()

    def work() -> None:
        while True:
            woken.wait()
            woken.clear()
            if ending.is_set():
                return
            cells = judged_cells(story, settings)
            if cells is not None:
                show(cells)

    def tell(event: Event) -> None:
        if isinstance(event, events.Accepted | events.SteppedBack | events.Drifted):
            woken.set()

    thread = threading.Thread(target=work, name="values", daemon=True)
    thread.start()
    woken.set()  # what an interrupted session has already heard
    try:
        yield tell
    finally:
        ending.set()
        woken.set()
        thread.join(timeout=2.0)


def judged_cells(story: Story, settings: DiagnosisSettings) -> dict[tuple[int, int], Cell] | None:
    """Every note heard so far with its posterior value and decision; None while there is nothing to diagnose."""
    try:
        document = judge(inspection_of(story), settings=settings)
    except FretcheckError:
        return None
    return {(one.string, one.fret): Cell(one.deviation_cents, one.decision) for one in document.frets if one.plucks}
