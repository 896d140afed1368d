"""Keeps what C libraries print to file descriptor 2 away from a live screen."""

import contextlib
import os
from collections.abc import Iterator


@contextlib.contextmanager
def quiet_stderr() -> Iterator[None]:
    """Send the process's standard error, C level included, to nowhere while the context lasts.

    PortAudio and ALSA print their complaints there; in the middle of a live screen they would tear it. Does nothing where
    there is no standard error.
    """
    try:
        kept = os.dup(2)
    except OSError:
        yield
        return
    try:
        with open(os.devnull, "wb") as nowhere:
            os.dup2(nowhere.fileno(), 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
