"""Many necks over a Dask cluster, whose workers must see the same folders under the same paths and have fretcheck installed.

A worker that dies takes no neck with it: the scheduler hands its necks to others. What still fails on the cluster, be it that
a neck took several workers down or that a result was lost with another's, is read once more, alone, before it is given up.

Conventions: as in `batch`. Needs the extra ``cluster``.
"""

import socket
from collections.abc import Callable, Iterator, Sequence
from importlib import import_module
from typing import Any
from urllib.parse import urlsplit
from uuid import uuid4

from fretcheck.errors import DeviceError, UsageError
from fretcheck.lots.batch.neck_folders import NeckFolder, Outcome

CONNECT_TIMEOUT_S = 10.0


def over_cluster(necks: Sequence[NeckFolder], inspect: Callable[[NeckFolder], Outcome], *, address: str) -> Iterator[Outcome]:
    """Outcomes as they come from the cluster.

    Raises UsageError when the extra is not installed, or the address cannot be one; DeviceError when no scheduler answers, or
    the connection to it is lost.
    """
    try:
        distributed: Any = import_module("distributed")
    except ImportError as error:
        raise UsageError("--scheduler needs Dask: install fretcheck[cluster]") from error
    try:
        _knock(address)
        client = distributed.Client(address, timeout=CONNECT_TIMEOUT_S, set_as_default=False)
    except ValueError as error:
        raise UsageError(f"--scheduler {address!r} is no address: write it as tcp://HOST:8786") from error
    except OSError as error:
        raise DeviceError(
            f"no scheduler answers at {address} within {CONNECT_TIMEOUT_S:g} s: is it running, is the port right?"
        ) from error
    with client:
        work = _Work(distributed, client, inspect)
        try:
            failed: list[Outcome] = []
            yield from work.through(necks, at_once=work.threads(), failed=failed)
            for one in failed:
                again: list[Outcome] = []
                yield from work.through([one.neck], at_once=1, failed=again)
                yield from again
        except distributed.CancelledError as error:
            raise DeviceError(
                f"the connection to the scheduler at {address} was lost: start again, what was kept stays"
            ) from error


def _knock(address: str) -> None:
    """Raise at once where nothing can listen: a client that could not connect is slow to give up, and noisy at its end."""
    where = urlsplit(address if "://" in address else f"tcp://{address}")
    if where.scheme not in ("tcp", "tls") or where.hostname is None or where.port is None:
        raise ValueError("not tcp or tls, or host or port is missing")
    socket.create_connection((where.hostname, where.port), timeout=CONNECT_TIMEOUT_S).close()


class _Work:
    """Necks on their way through a cluster.

    No more are sent at once than there are threads: the scheduler blames a worker's death on all that the worker had been
    given, and a neck that waited behind a deadly one would be given up with it.
    """

    def __init__(self, distributed: Any, client: Any, inspect: Callable[[NeckFolder], Outcome]) -> None:
        self._distributed = distributed
        self._client = client
        self._inspect = inspect

    def threads(self) -> int:
        return max(1, int(sum(self._client.nthreads().values())))

    def through(self, necks: Sequence[NeckFolder], *, at_once: int, failed: list[Outcome]) -> Iterator[Outcome]:
        """Outcomes as they come; what the cluster itself failed with goes to `failed`: it may be the fault of another neck."""
        waiting = list(reversed(necks))
        running: dict[Any, NeckFolder] = {}
        coming = self._distributed.as_completed(loop=self._client.loop)
        while waiting or running:
            while waiting and len(running) < at_once:
                neck = waiting.pop()
                future = self._client.submit(self._inspect, neck, key=f"{neck.name}-{uuid4().hex}", pure=False)
                running[future] = neck
                coming.add(future)
            future = next(coming)
            neck = running.pop(future)
            try:
                outcome = future.result()
            except self._distributed.KilledWorker:
                failed.append(
                    Outcome(neck=neck, error="its workers died while reading it, alone too: too large for their memory?")
                )
            except self._distributed.CancelledError:
                raise
            except Exception as error:  # noqa: BLE001 - also when a result went down with the worker that held it
                why = f"on the cluster: {type(error).__name__}: {' '.join(str(error).split())}"
                failed.append(Outcome(neck=neck, error=why))
            else:
                yield outcome
            future.release()
