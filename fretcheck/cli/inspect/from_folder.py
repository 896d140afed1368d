"""`fretcheck inspect --from`: one neck's recordings, or those of every neck of a folder, over all cores or a cluster."""

from contextlib import ExitStack
from dataclasses import asdict
from functools import partial
from pathlib import Path

from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

from fretcheck.cli.inspect.inspect_options import ManyOptions
from fretcheck.cli.shared_options import ResultOptions, console, print_json, serials_in
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.inspection.assemble import Circumstances, inspect_folder, judge
from fretcheck.inspection.document import InspectionDocument
from fretcheck.lots.batch.batch import inspect_necks
from fretcheck.lots.batch.neck_folders import find_necks
from fretcheck.neck.description import Neck
from fretcheck.register.store import open_register
from fretcheck.report.tables.batch_table import batch_table
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
    with _progress_bar(quiet=quiet) as bar:
        task = bar.add_task("Listening to strings", total=None)
        inspection = inspect_recordings(
            neck, folder, plan=plan, progress=lambda done, total: bar.update(task, completed=done, total=total)
        )
        return judge(inspection, settings=settings, circumstances=circumstances)


def inspect_many(
    folder: Path,
    many: ManyOptions,
    *,
    neck: Path | None,
    plan: str,
    settings: DiagnosisSettings,
    circumstances: Circumstances,
    result: ResultOptions,
) -> int:
    """Inspect the necks of a folder, print a line for each, and return the worst exit code.

    Raises RecordingError, StorageError, DeviceError when there are no necks, results cannot be kept, or no scheduler answers.
    """
    serials = None if many.serials_from is None else serials_in((), many.serials_from)
    necks = find_necks(folder, neck_file=neck, serials=serials)
    with ExitStack() as stack:
        store = stack.enter_context(open_register(result.register)) if result.keep is not False else None
        bar = stack.enter_context(_progress_bar(quiet=result.json))
        task = bar.add_task("Inspecting necks", total=len(necks))
        batch = inspect_necks(
            necks,
            register=store,
            fragments=bool(result.keep),
            worker=partial(inspect_folder, settings=settings, circumstances=circumstances, plan=plan, processes=1),
            processes=many.processes,
            scheduler=many.scheduler,
            progress=lambda done, total, name: bar.update(task, completed=done, total=total, description=f"Inspecting {name}"),
        )
    if result.json:
        print_json({"schema": "fretcheck/batch/1", "necks": [asdict(line) for line in batch.lines]})
    else:
        console().print(batch_table(batch))
    return batch.exit_code


def _progress_bar(*, quiet: bool) -> Progress:
    """A bar on standard error that leaves nothing behind."""
    screen = console(stderr=True)
    columns = (TextColumn("{task.description}", markup=False), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    return Progress(*columns, console=screen, transient=True, disable=quiet or not screen.is_terminal)
