"""The rooms as the commands see them: what a command calls is loaded then, so that ``--help`` needs none.

`lazy_loader` reads the list from the stub beside this file, after Scientific Python's SPEC 1, as it does for the public door.
A library for linear algebra that came with what was loaded is held to one thread (`fretcheck.workers` says why).
"""

import sys

import lazy_loader

_load, __dir__, __all__ = lazy_loader.attach_stub("fretcheck", __file__)
_held: set[str] = set()


def __getattr__(name: str) -> object:
    found = _load(name)
    brought = {"numpy", "scipy.linalg"} & sys.modules.keys()
    if brought != _held:
        from threadpoolctl import threadpool_limits

        _held.update(brought)
        threadpool_limits(1)
    return found
