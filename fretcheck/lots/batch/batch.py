"""Many necks at once: every neck of a folder inspected over all cores, or over a cluster, and kept as soon as it is done.

One bad neck never stops the rest: what went wrong with it becomes its line in the result. What was kept is not read again unless
its recordings, its description, what it is judged by or this software changed.

Conventions: results come in the order in which they are done; the final result is in the order of the folder. What was kept is
remembered in ``batches/`` below the register's folder, one line a neck, written after the register has the inspection.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from fretcheck.diagnosis.result import Decision
from fretcheck.errors import (
    EXIT_BAD_INPUT,
    EXIT_DONE,
    EXIT_OUT_OF_TOLERANCE,
    EXIT_UNDECIDED,
    FretcheckError,
    NeckError,
    StorageError,
)
from fretcheck.inspection.document import InspectionDocument
from fretcheck.lots.batch.batch_processes import over_cluster, over_cores
from fretcheck.lots.batch.neck_folders import NeckFolder, Outcome

if TYPE_CHECKING:
    from fretcheck.register.store import Register

# Inspects one neck from (neck file, folder of recordings); must be importable by name, for other processes
Worker = Callable[[Path, Path], InspectionDocument]
Progress = Callable[[int, int, str], None]  # Called with (necks done, necks in all, name of the neck just done)
State = Literal["inspected", "kept before", "failed"]


@dataclass(frozen=True, kw_only=True)
class BatchLine:
    """One neck in the result of a batch."""

    neck: str
    state: State
    inspection: str | None = None
    decision: Decision | None = None
    worst_cents: float | None = None
    error: str | None = None


@dataclass(frozen=True, kw_only=True)
class BatchResult:
    """All necks of a batch, in the order of the folder."""

    lines: tuple[BatchLine, ...]

    @property
    def exit_code(self) -> int:
        """2 when a neck failed to be read, else 1 when one is out of tolerance, 3 when one is undecided or not judged, 0."""
        states = {line.state for line in self.lines}
        decisions = {line.decision for line in self.lines}
        if "failed" in states:
            return EXIT_BAD_INPUT
        if "fail" in decisions:
            return EXIT_OUT_OF_TOLERANCE
        return EXIT_UNDECIDED if decisions & {"undecided", None} else EXIT_DONE


def inspect_necks(
    necks: Sequence[NeckFolder],
    *,
    register: Register | None,
    fragments: bool = False,
    worker: Worker | None = None,
    processes: int | None = None,
    scheduler: str | None = None,
    progress: Progress | None = None,
) -> BatchResult:
    """Inspect many necks and keep each as soon as it is done.

    `necks`: see `find_necks`. `register`: where to keep the inspections; None keeps nothing, and then nothing can be resumed.
    `fragments`: whether to keep those, too, of which too little was heard to judge the neck. `worker`: what inspects one neck;
    default: `fretcheck.inspection.assemble.inspect_folder` in one process a neck. `processes`: processes on this machine;
    default: one for each core. With 1 the necks are read in this process. `scheduler`: address of a Dask scheduler whose
    workers see the same folders; then `processes` does not matter. `progress`: called in this process.
    Raises StorageError when a result cannot be kept: then the batch stops, and may be started again where it stood; DeviceError
    when no scheduler answers.
    """
    if worker is None:
        from fretcheck.inspection.assemble import inspect_folder

        worker = partial(inspect_folder, processes=1)
    # what the worker was told beside the neck, such as limits: with other ones a kept result does not stand
    how = repr(sorted(worker.keywords.items())) if isinstance(worker, partial) else ""
    ledger = None if register is None else Ledger(register, necks, how=how)
    lines = {} if ledger is None else ledger.kept_before()
    todo = [neck for neck in necks if neck.name not in lines]
    tell: Progress = progress or (lambda *_: None)
    tell(len(lines), len(necks), "")
    for outcome in _outcomes(todo, worker, processes, scheduler):
        lines[outcome.neck.name] = _line(outcome, register, ledger, fragments=fragments)
        tell(len(lines), len(necks), outcome.neck.name)
    return BatchResult(lines=tuple(lines[neck.name] for neck in necks))


def inspect_one(worker: Worker, neck: NeckFolder) -> Outcome:
    """Inspect one neck wherever this runs; whatever goes wrong becomes part of the outcome."""
    try:
        if not neck.folder.is_dir():
            raise NeckError(f"no recordings: there is no folder {neck.folder}", file=neck.folder)
        if neck.neck_file is None:
            raise NeckError(f"{neck.name} has no description: put neck.toml into {neck.folder} or beside it", file=neck.folder)
        document = worker(neck.neck_file, neck.folder)
    except FretcheckError as error:
        return Outcome(neck=neck, error=" ".join(str(error).split()))
    except Exception as error:  # noqa: BLE001 - one neck must not stop the rest, whatever it is
        return Outcome(neck=neck, error=f"unexpected {type(error).__name__}: {' '.join(str(error).split())}")
    if neck.shared:
        document = document.model_copy(update={"neck": document.neck.model_copy(update={"serial": neck.name})})
    return Outcome(neck=neck, document=document)


def _outcomes(necks: Sequence[NeckFolder], worker: Worker, processes: int | None, scheduler: str | None) -> Iterable[Outcome]:
    inspect = partial(inspect_one, worker)
    if not necks or (processes == 1 and scheduler is None):
        return map(inspect, necks)
    if scheduler is not None:
        return over_cluster(necks, inspect, address=scheduler)
    return over_cores(necks, inspect, processes=processes or max(2, os.cpu_count() or 2))


def _line(outcome: Outcome, register: Register | None, ledger: Ledger | None, *, fragments: bool) -> BatchLine:
    """Keep an outcome and describe it."""
    document, error = outcome.document, outcome.error
    if document is not None and register is not None and (fragments or document.verdict.decision is not None):
        try:
            document = register.keep(document, sound_folder=outcome.neck.folder)
        except StorageError:
            raise
        except FretcheckError as refused:
            document, error = None, str(refused)
    if document is None:
        return BatchLine(neck=outcome.neck.name, state="failed", error=error)
    if ledger is not None and document.id is not None:
        ledger.add(outcome.neck, document.id)
    return BatchLine(
        neck=outcome.neck.name,
        state="inspected",
        inspection=document.id,
        decision=document.verdict.decision,
        worst_cents=None if document.verdict.worst is None else document.verdict.worst.deviation_cents,
    )


class Ledger:
    """Which necks of a folder were kept in this register already, judged `how`."""

    def __init__(self, register: Register, necks: Sequence[NeckFolder], *, how: str) -> None:
        self._register, self._necks, self._how = register, necks, how
        parents = sorted({str(neck.folder.parent.resolve()) for neck in necks})
        name = sha256("\n".join([str(register.location), *parents]).encode()).hexdigest()[:16]
        self.path = register.folder / "batches" / f"{name}.jsonl"

    def kept_before(self) -> dict[str, BatchLine]:
        """Necks whose inspection is in the register and still stands, by name."""
        written: dict[str, dict[str, Any]] = {}  # By neck, the last one counts
        for text in self.path.read_text(encoding="utf-8").splitlines() if self.path.is_file() else ():
            with suppress(ValueError, KeyError, TypeError):  # of a line torn by a crash: its neck is read again
                entry = json.loads(text)
                written[entry["neck"]] = entry
        present = {one.id: one for one in self._register.select()} if written else {}
        lines: dict[str, BatchLine] = {}
        for neck in self._necks:
            entry = written.get(neck.name, {})
            kept = present.get(str(entry.get("inspection")))
            if kept is not None and entry.get("fingerprint") == neck.fingerprint(self._how):
                decision = None if kept.decision == "none" else kept.decision
                lines[neck.name] = BatchLine(
                    neck=neck.name, state="kept before", inspection=kept.id, decision=decision, worst_cents=kept.worst_cents
                )
        return lines

    def add(self, neck: NeckFolder, inspection: str) -> None:
        """Remember a neck that was kept."""
        entry = {"neck": neck.name, "fingerprint": neck.fingerprint(self._how), "inspection": inspection}
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with self.path.open("a", encoding="utf-8") as stream:
                stream.write(json.dumps(entry, ensure_ascii=False) + "\n")
        except OSError as error:
            raise StorageError(f"{self.path} cannot be written: {error.strerror or error}", path=self.path) from error
