"""Tests are shared out among processes without one waiting for ever: whole and partial runs, and processes that die.

A faked process behaves as pytest-xdist's does (read in its source, remote.py): it runs a test only once it knows the next one, or
that there is none, and it may die in any test.
"""

from __future__ import annotations

from collections import deque
from itertools import product
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from tests.conftest import pytest_xdist_make_scheduler

pytest.importorskip("xdist")
END = -1


class Process:
    """What the scheduler sees of a process that runs tests, and the queue of what it was told."""

    def __init__(self, name: str) -> None:
        self.gateway = SimpleNamespace(id=name)
        self.told: deque[int] = deque()
        self.shutting_down = False
        self.ran: list[str] = []
        self.has_collected = False

    def send_runtest_some(self, indices: list[int]) -> None:
        self.told.extend(indices)

    def shutdown(self) -> None:
        self.shutting_down = True
        self.told.append(END)

    @property
    def ready(self) -> bool:
        return not self.has_collected or len(self.told) >= 2 or self.told == deque([END])


def modules(folder: Path, **tests: int) -> list[str]:
    """Modules with so many tests each, in the order in which a collection has them; the name tells the kind."""
    texts = {"live": "pytestmark = pytest.mark.live", "whole": '@pytest.fixture(scope="module")', "plain": ""}
    for name in tests:
        (folder / f"test_{name}.py").write_text(texts[name.rstrip("0123456789")], encoding="utf-8")
    return [f"test_{name}.py::test_{number}" for name, count in tests.items() for number in range(count)]


def run_all(
    folder: Path, collection: list[str], *, processes: int, chance: np.random.Generator, deaths: int = 0
) -> list[list[str]]:
    """What each process ran, in its order; a test that kills its process counts as run. Fails where all wait."""
    option = SimpleNamespace(loadscopereorder=True, tx=["popen"] * processes, numprocesses=processes)
    config = SimpleNamespace(rootpath=folder, option=option, getvalue=lambda name: getattr(option, name, None))
    scheduler = pytest_xdist_make_scheduler(config, None)
    everyone = [Process(f"gw{number}") for number in range(processes)]
    for process in everyone:
        scheduler.add_node(process)
    alive, ending = list(everyone), False
    while alive:
        if scheduler.tests_finished and not ending:
            ending = True
            for process in alive:
                process.shutdown()
        ready = [process for process in alive if process.ready]
        assert ready, f"all wait; not run: {set(collection) - {test for process in everyone for test in process.ran}}"
        process = ready[int(chance.integers(len(ready)))]
        if not process.has_collected:
            process.has_collected = True
            if not ending:
                scheduler.add_node_collection(process, collection)
                if scheduler.collection_is_completed:
                    scheduler.schedule()
            continue
        index = process.told.popleft()
        if index == END:
            alive.remove(process)
            if process in scheduler.nodes:
                assert scheduler.remove_node(process) is None
            continue
        process.ran.append(collection[index])
        if deaths and chance.random() < 0.3:
            deaths -= 1
            alive.remove(process)
            process.shutting_down = True
            assert scheduler.remove_node(process) == collection[index]
            everyone.append(another := Process(f"gw{len(everyone)}"))
            alive.append(another)
            scheduler.add_node(another)
            ending = False
        else:
            scheduler.mark_test_complete(process, index)
    return [process.ran for process in everyone]


SHAPES: dict[str, dict[str, int]] = {
    "one test": {"plain": 1},
    "one group": {"whole": 7},
    "one group of one": {"live": 1},
    "live alone": {"live": 3, "live2": 4},
    "two groups": {"live": 1, "whole": 1},
    "fewer modules than processes": {"whole": 2, "whole2": 1},
    "no group": {"plain": 5},
    "groups of one": {"whole": 1, "whole2": 1, "whole3": 1, "whole4": 1, "plain": 1},
    "all kinds": {"live": 4, "whole": 3, "whole2": 1, "plain": 9},
}


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("deaths", [0, 1, 3])
def test_every_test_runs_once_and_groups_stay_together(shape: str, deaths: int, tmp_path: Path) -> None:
    collection = modules(tmp_path, **SHAPES[shape])
    for processes, seed in product((1, 2, 3, 8), range(6)):
        ran = run_all(tmp_path, collection, processes=processes, chance=np.random.default_rng(seed), deaths=deaths)
        assert sorted(test for history in ran for test in history) == sorted(collection)
        if not deaths:
            for kind in ("test_live", "test_whole.py", "test_whole2.py"):
                assert sum(any(test.startswith(kind) for test in history) for history in ran) <= 1
