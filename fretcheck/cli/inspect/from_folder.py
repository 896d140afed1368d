"""`fretcheck inspect --from`: one neck's recordings, with a progress bar."""

from pathlib import Path

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.inspection.assemble import Circumstances, judge
from fretcheck.inspection.document import InspectionDocument
from fretcheck.neck.description import Neck
from fretcheck.session.recordings import inspect_recordings


def inspect_recorded(
    neck: Neck,
    folder: Path,
    *,
    settings: DiagnosisSettings | None = None,
    circumstances: Circumstances | None = None,
    plan: str = "full",
    quiet: bool = False,
) -> InspectionDocument:
    """Inspect a folder of recordings; no bar when `quiet`, or when standard error is no terminal."""
    with progress_bar(quiet=quiet) as bar:
        task = bar.add_task("Listening to strings", total=None)
        inspection = inspect_recordings(
            neck, folder, plan=plan, progress=lambda done, total: bar.update(task, completed=done, total=total)
        )
        return judge(inspection, settings=settings, circumstances=circumstances)


def progress_bar(*, quiet: bool) -> Progress:
    """A bar on standard error that leaves nothing behind."""
    console = Console(stderr=True)
    return Progress(
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
        console=console,
        transient=True,
        disable=quiet or not console.is_terminal,
    )
