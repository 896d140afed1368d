"""Processes that read necks or strings beside this one, and end when it does."""

from __future__ import annotations

import os
import threading
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context, parent_process


def worker_pool(processes: int) -> ProcessPoolExecutor:
    """A pool of fresh processes, each of which ends within moments of this one, even where this one was killed."""
    return ProcessPoolExecutor(processes, mp_context=get_context("spawn"), initializer=_end_with_parent)


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is None:
        return

    def watch() -> None:
        parent.join()
        os._exit(1)  # nobody is left to take a result

    threading.Thread(target=watch, name="parent", daemon=True).start()
