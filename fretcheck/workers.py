"""One thread a process for linear algebra, and processes that work beside this one and end when it does.

The fits here are small and many, and threads that wait for each other only cost: on two cores a diagnosis takes half as long
with one thread as with two, and a live session leaves the other core alone.
"""

import os
import threading
from concurrent.futures import ProcessPoolExecutor
from importlib import import_module
from multiprocessing import get_context, parent_process

from threadpoolctl import threadpool_limits


def use_one_thread() -> None:
    """From here on in this process."""
    for library in ("numpy", "scipy.linalg"):  # each brings threads of its own, which only a loaded library can be told of
        import_module(library)
    threadpool_limits(1)


def worker_pool(processes: int) -> ProcessPoolExecutor:
    """A pool of fresh processes of one thread, each of which ends within moments of this one, even where this one was killed."""
    return ProcessPoolExecutor(processes, mp_context=get_context("spawn"), initializer=_begin)


def _begin() -> None:
    use_one_thread()
    parent = parent_process()
    if parent is None:
        return

    def watch() -> None:
        parent.join()
        os._exit(1)  # nobody is left to take a result

    threading.Thread(target=watch, name="parent", daemon=True).start()
