"""`fretcheck inspect --from FOLDER_OF_NECKS`: every neck of a folder, over all cores or a cluster."""

from contextlib import ExitStack
from dataclasses import asdict
from functools import partial
from pathlib import Path

from rich.console import Console

from fretcheck.cli.inspect.from_folder import progress_bar
from fretcheck.cli.inspect.inspect_options import ManyOptions
from fretcheck.cli.shared_options import ResultOptions, print_json
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.errors import UsageError
from fretcheck.files import read_text
from fretcheck.inspection.assemble import Circumstances, inspect_folder
from fretcheck.lots.acceptance.lot_steps import check_serials, serials_from
from fretcheck.lots.batch.batch import BatchResult, inspect_necks
from fretcheck.lots.batch.neck_folders import find_necks
from fretcheck.register.store import open_register
from fretcheck.report.tables.batch_table import batch_table


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
    necks = find_necks(folder, neck_file=neck, serials=None if many.serials_from is None else _serials(many.serials_from))
    with ExitStack() as stack:
        store = stack.enter_context(open_register(result.register)) if result.keep is not False else None
        bar = stack.enter_context(progress_bar(quiet=result.json))
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
    _show(batch, as_json=result.json)
    return batch.exit_code


def _serials(path: Path) -> tuple[str, ...]:
    text = read_text(path, most_bytes=1_000_000, refuse=lambda why: UsageError(f"--serials-from {path}: {why}"))
    serials = serials_from(text.split())
    check_serials(serials)
    return serials


def _show(result: BatchResult, *, as_json: bool) -> None:
    if as_json:
        print_json({"schema": "fretcheck/batch/1", "necks": [asdict(line) for line in result.lines]})
        return
    Console().print(batch_table(result))
