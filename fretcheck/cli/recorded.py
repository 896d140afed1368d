"""`fretcheck inspect --from`: one neck's recordings, with a progress bar."""

from __future__ import annotations

from pathlib import Path

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.inspection.assemble import Circumstances, inspect_folder
from fretcheck.inspection.document import InspectionDocument


def inspect_recorded(
    neck: Path,
    folder: Path,
    *,
    serial: str | None = None,
    settings: DiagnosisSettings | None = None,
    circumstances: Circumstances | None = None,
    plan: str = "full",
    quiet: bool = False,
) -> InspectionDocument:
    """Inspect a folder of recordings; no bar when `quiet`, or when standard error is no terminal."""
    with progress_bar(quiet=quiet) as bar:
        task = bar.add_task("Listening to strings", total=None)
        return inspect_folder(
            neck,
            folder,
            serial=serial,
            settings=settings,
            circumstances=circumstances,
            plan=plan,
            progress=lambda done, total: bar.update(task, completed=done, total=total),
        )


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
