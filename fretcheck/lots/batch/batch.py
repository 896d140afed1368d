"""Many necks at once: every neck of a folder inspected over all cores, or over a cluster, and kept as soon as it is done.

One bad neck never stops the rest: what went wrong with it becomes its line in the result. A process that dies (out of memory,
killed) takes no neck with it: those it may have been reading are read again, each alone, and only a neck that kills its
process again is given up. What was kept is not read again unless its recordings, its description, what it is judged by or
this software changed.

Conventions: results come in the order in which they are done; the final result is in the order of the folder. What was kept is
remembered in ``batches/`` below the register's folder, one line a neck, written after the register has the inspection.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, wait
from concurrent.futures.process import BrokenProcessPool
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
from fretcheck.lots.batch.neck_folders import NeckFolder, Outcome
from fretcheck.workers import worker_pool

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
    inspection: str | None
    decision: Decision | None
    worst_cents: float | None
    error: str | None


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
    worker = worker or _default_worker()
    ledger = None if register is None else Ledger(register, necks, how=_described(worker))
    lines = {} if ledger is None else ledger.kept_before()
    todo = [neck for neck in necks if neck.name not in lines]
    done = len(lines)
    if progress:
        progress(done, len(necks), "")
    for outcome in _outcomes(todo, worker, processes, scheduler):
        lines[outcome.neck.name] = _line(outcome, register, ledger, fragments=fragments)
        done += 1
        if progress:
            progress(done, len(necks), outcome.neck.name)
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
    if not necks:
        return []
    if scheduler is not None:
        from fretcheck.lots.batch.batch_cluster import over_cluster

        return over_cluster(necks, partial(inspect_one, worker), address=scheduler)
    if processes == 1:
        return (inspect_one(worker, neck) for neck in necks)
    return over_cores(necks, partial(inspect_one, worker), processes=processes or max(2, os.cpu_count() or 2))


def over_cores(necks: Sequence[NeckFolder], inspect: Callable[[NeckFolder], Outcome], *, processes: int) -> Iterator[Outcome]:
    """Outcomes as they come from a pool of processes, which is made anew when one of them dies."""
    waiting, suspects = list(reversed(necks)), list[NeckFolder]()
    while waiting:
        yield from _one_pool(waiting, inspect, min(processes, len(waiting)), suspects)
        while suspects:
            suspect = suspects.pop()
            died_again: list[NeckFolder] = []
            yield from _one_pool([suspect], inspect, 1, died_again)
            if died_again:
                yield Outcome(neck=suspect, error="its process died twice while reading it: too large for the memory?")


def _one_pool(
    waiting: list[NeckFolder], inspect: Callable[[NeckFolder], Outcome], processes: int, suspects: list[NeckFolder]
) -> Iterator[Outcome]:
    """Work on `waiting` from its end until it is empty or a process dies; the necks then in hand go to `suspects`."""
    pool = worker_pool(processes)
    running: dict[Future[Outcome], NeckFolder] = {}
    broken = False
    try:
        while running or (waiting and not broken):
            while waiting and not broken and len(running) < processes:
                neck = waiting.pop()
                try:
                    running[pool.submit(inspect, neck)] = neck
                except BrokenProcessPool:
                    suspects.append(neck)
                    broken = True
            finished, _ = wait(running, return_when=FIRST_COMPLETED)
            for future in finished:
                neck = running.pop(future)
                try:
                    outcome = future.result()
                except BrokenProcessPool:
                    suspects.append(neck)
                    broken = True
                else:
                    yield outcome
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _described(worker: Worker) -> str:
    """What the worker was told beside the neck, such as limits: with other ones a kept result does not stand."""
    return repr(sorted(worker.keywords.items())) if isinstance(worker, partial) else ""


def _default_worker() -> Worker:
    from fretcheck.inspection.assemble import inspect_folder

    return partial(inspect_folder, processes=1)


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
        return BatchLine(neck=outcome.neck.name, state="failed", inspection=None, decision=None, worst_cents=None, error=error)
    worst = document.verdict.worst
    line = BatchLine(
        neck=outcome.neck.name,
        state="inspected",
        inspection=document.id,
        decision=document.verdict.decision,
        worst_cents=None if worst is None else worst.deviation_cents,
        error=None,
    )
    if ledger is not None and line.inspection is not None:
        ledger.add(outcome.neck, line)
    return line


class Ledger:
    """Which necks of a folder were kept in this register already."""

    def __init__(self, register: Register, necks: Sequence[NeckFolder], *, how: str = "") -> None:
        self._register = register
        self._how = how
        self._necks = necks
        parents = sorted({str(neck.folder.parent.resolve()) for neck in necks})
        name = sha256("\n".join([str(register.location), *parents]).encode()).hexdigest()[:16]
        self.path = register.folder / "batches" / f"{name}.jsonl"

    def kept_before(self) -> dict[str, BatchLine]:
        """Necks whose inspection is in the register and still stands, by name."""
        lines: dict[str, BatchLine] = {}
        written = self._written()
        present = {summary.id for summary in self._register.select()} if written else set()
        for neck in self._necks:
            entry = written.get(neck.name)
            if entry is not None and entry["inspection"] in present and entry["fingerprint"] == neck.fingerprint(self._how):
                lines[neck.name] = BatchLine(
                    neck=neck.name,
                    state="kept before",
                    inspection=entry["inspection"],
                    decision=entry["decision"],
                    worst_cents=entry["worst_cents"],
                    error=None,
                )
        return lines

    def add(self, neck: NeckFolder, line: BatchLine) -> None:
        """Remember a neck that was kept."""
        entry = {
            "neck": neck.name,
            "fingerprint": neck.fingerprint(self._how),
            "inspection": line.inspection,
            "decision": line.decision,
            "worst_cents": line.worst_cents,
        }
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with self.path.open("a", encoding="utf-8") as stream:
                stream.write(json.dumps(entry, ensure_ascii=False) + "\n")
        except OSError as error:
            raise StorageError(f"{self.path} cannot be written: {error.strerror or error}", path=self.path) from error

    def _written(self) -> dict[str, dict[str, Any]]:
        """Entries by neck, the last one counts; a line torn by a crash is passed over, its neck is read again."""
        if not self.path.is_file():
            return {}
        entries = {}
        for text in self.path.read_text(encoding="utf-8").splitlines():
            try:
                entry = json.loads(text)
                entries[entry["neck"]] = entry
            except (ValueError, KeyError, TypeError):
                continue
        return entries
