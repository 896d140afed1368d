"""Necks read by many processes: of this machine, or of a Dask cluster whose workers see the same folders under the same paths.

A process that dies (out of memory, killed) takes no neck with it: what was lost, be it that its own reading or another's was
deadly or that its result never came back, is read once more, alone, before it is given up.

Conventions: a cluster needs the extra ``cluster``, and its workers fretcheck.
"""

import socket
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, CancelledError, Executor, Future, ThreadPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import AbstractContextManager, nullcontext
from importlib import import_module
from typing import Any
from urllib.parse import urlsplit
from uuid import uuid4

from fretcheck.errors import DeviceError, UsageError
from fretcheck.lots.batch.neck_folders import NeckFolder, Outcome
from fretcheck.workers import worker_pool

CONNECT_TIMEOUT_S = 10.0
Inspect = Callable[[NeckFolder], Outcome]
Pool = AbstractContextManager[Executor]


def over_cores(
    necks: Sequence[NeckFolder], inspect: Inspect, *, processes: int, executor: Callable[[int], Pool] = worker_pool
) -> Iterator[Outcome]:
    """Outcomes as they come; `executor` is made anew, for so many necks at once, when a process of its pool dies."""

    def through(waiting: list[NeckFolder], lost: list[tuple[NeckFolder, Exception]]) -> Iterator[Outcome]:
        """Work on `waiting` from its end until it is empty or a pool is broken; what did not come back goes to `lost`.

        No more are sent at once than can be read: a scheduler blames a worker's death on all that the worker had been given.
        """
        at_once, broken = min(processes, len(waiting)), False
        running: dict[Future[Outcome], NeckFolder] = {}
        with executor(at_once) as pool:
            while running or (waiting and not broken):
                while waiting and not broken and len(running) < at_once:
                    neck = waiting.pop()
                    try:
                        running[pool.submit(inspect, neck)] = neck
                    except BrokenProcessPool as error:
                        lost.append((neck, error))
                        broken = True
                for future in wait(running, return_when=FIRST_COMPLETED).done:
                    neck = running.pop(future)
                    try:
                        outcome = future.result()
                    except CancelledError:
                        raise
                    except Exception as error:  # noqa: BLE001 - `inspect` itself raises none
                        lost.append((neck, error))
                        broken = broken or isinstance(error, BrokenProcessPool)
                    else:
                        yield outcome

    waiting = list(reversed(necks))
    while waiting:
        lost: list[tuple[NeckFolder, Exception]] = []
        yield from through(waiting, lost)
        for neck, _ in lost:
            again: list[tuple[NeckFolder, Exception]] = []
            yield from through([neck], again)
            yield from (Outcome(neck=neck, error=_why(error)) for _, error in again)


def _why(error: Exception) -> str:
    if isinstance(error, BrokenProcessPool) or type(error).__name__ == "KilledWorker":
        return "its process died twice while reading it: too large for the memory?"
    return f"its result did not come back: {type(error).__name__}: {' '.join(str(error).split())}"


def over_cluster(necks: Sequence[NeckFolder], inspect: Inspect, *, address: str) -> Iterator[Outcome]:
    """Outcomes as they come from the cluster.

    Raises UsageError when the extra is not installed, or the address cannot be one; DeviceError when no scheduler answers, or
    the connection to it is lost.
    """
    try:
        distributed: Any = import_module("distributed")
    except ImportError as error:
        raise UsageError("--scheduler needs Dask: install fretcheck[cluster]") from error
    try:
        where = urlsplit(address if "://" in address else f"tcp://{address}")
        if where.scheme not in ("tcp", "tls") or where.hostname is None or where.port is None:
            raise ValueError("not tcp or tls, or host or port is missing")
        # Fails at once where nothing can listen: a client that could not connect is slow to give up, and noisy at its end.
        socket.create_connection((where.hostname, where.port), timeout=CONNECT_TIMEOUT_S).close()
        client = distributed.Client(address, timeout=CONNECT_TIMEOUT_S, set_as_default=False)
    except ValueError as error:
        raise UsageError(f"--scheduler {address!r} is no address: write it as tcp://HOST:8786") from error
    except OSError as error:
        raise DeviceError(
            f"no scheduler answers at {address} within {CONNECT_TIMEOUT_S:g} s: is it running, is the port right?"
        ) from error
    with client:
        threads = max(1, sum(client.nthreads().values()))
        waiters = ThreadPoolExecutor(threads)  # what they wait for ends with the client

        def away(neck: NeckFolder) -> Outcome:
            key = f"{neck.name}-{uuid4().hex}"  # with the key made of the function's name one waited for ever (seen twice)
            found: Outcome = client.submit(inspect, neck, key=key, pure=False).result()
            return found

        try:
            yield from over_cores(necks, away, processes=threads, executor=lambda _: nullcontext(waiters))
        except CancelledError as error:
            raise DeviceError(
                f"the connection to the scheduler at {address} was lost: start again, what was kept stays"
            ) from error
