"""`fretcheck inspect --from FOLDER_OF_NECKS`: every neck of a folder, over all cores or a cluster."""

from __future__ import annotations

import json
from contextlib import ExitStack
from dataclasses import asdict
from functools import partial
from pathlib import Path

from rich.console import Console

from fretcheck.cli.recorded import progress_bar
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.errors import UsageError
from fretcheck.files import read_text
from fretcheck.inspection.assemble import Circumstances, inspect_folder
from fretcheck.lots.batch import BatchResult, inspect_necks
from fretcheck.lots.lot import check_serials, serials_from
from fretcheck.lots.neck_folders import find_necks
from fretcheck.register.store import open_register
from fretcheck.report.batch_table import batch_table


def inspect_many(
    folder: Path,
    *,
    neck: Path | None,
    serials_from: Path | None,
    keep: bool | None,
    register: str | None,
    settings: DiagnosisSettings,
    circumstances: Circumstances,
    plan: str,
    processes: int | None,
    scheduler: str | None,
    as_json: bool,
) -> int:
    """Inspect the necks of a folder, print a line for each, and return the worst exit code.

    Raises
    ------
    RecordingError, StorageError, DeviceError
        When there are no necks, results cannot be kept, or no scheduler answers.
    """
    necks = find_necks(folder, neck_file=neck, serials=None if serials_from is None else _serials(serials_from))
    with ExitStack() as stack:
        store = stack.enter_context(open_register(register)) if keep is not False else None
        bar = stack.enter_context(progress_bar(quiet=as_json))
        task = bar.add_task("Inspecting necks", total=len(necks))
        result = inspect_necks(
            necks,
            register=store,
            fragments=bool(keep),
            worker=partial(inspect_folder, settings=settings, circumstances=circumstances, plan=plan, processes=1),
            processes=processes,
            scheduler=scheduler,
            progress=lambda done, total, name: bar.update(task, completed=done, total=total, description=f"Inspecting {name}"),
        )
    _show(result, as_json=as_json)
    return result.exit_code


def _serials(path: Path) -> tuple[str, ...]:
    text = read_text(path, most_bytes=1_000_000, refuse=lambda why: UsageError(f"--serials-from {path}: {why}"))
    serials = serials_from(text.split())
    check_serials(serials)
    return serials


def _show(result: BatchResult, *, as_json: bool) -> None:
    if as_json:
        print(json.dumps({"schema": "fretcheck/batch/1", "necks": [asdict(line) for line in result.lines]}, indent=2))
        return
    Console().print(batch_table(result))
