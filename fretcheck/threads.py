"""One thread for linear algebra: the fits here are small and many, and threads that wait for each other only cost.

On two cores a diagnosis takes half as long with one thread as with two, and a live session leaves the other core alone. The
numerical libraries read these variables when they are first imported, in this process or in one that it starts.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager

_VARIABLES = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


def use_one_thread() -> None:
    """For this process and those it starts, unless the user has asked for another number; before numpy is imported."""
    for name in _VARIABLES:
        os.environ.setdefault(name, "1")


@contextmanager
def one_thread_each() -> Iterator[None]:
    """For processes started inside."""
    before = {name: os.environ.get(name) for name in _VARIABLES}
    os.environ.update(dict.fromkeys(_VARIABLES, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value
