"""The names that notebooks and other programs import from fretcheck itself."""

from __future__ import annotations

import resource
import subprocess
import sys

import fretcheck


def test_every_name_leads_somewhere() -> None:
    for name in fretcheck.__all__:
        assert getattr(fretcheck, name) is not None
    assert set(fretcheck.__all__) <= set(dir(fretcheck))


def test_functions_and_their_results_are_there() -> None:
    # the contract of the public door: five functions, and the types they take and give back
    functions = {"read_neck", "find_plucks", "read_note", "inspect", "diagnose"}
    types = {"Neck", "Pluck", "NoteReading", "InspectionDocument", "Observation", "Diagnosis", "DiagnosisSettings"}
    assert functions | types <= set(fretcheck.__all__)
    assert all(getattr(fretcheck, name).__doc__.count(">>> ") for name in functions)


def _cpu_seconds(statement: str) -> float:
    """The least of five starts of Python."""
    took = []
    for _ in range(5):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, "-c", statement], check=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        took.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return min(took)


def test_importing_it_takes_no_time() -> None:
    # processor time, so that what else the machine does makes no difference; the limit is the contract's
    assert _cpu_seconds("import fretcheck") - _cpu_seconds("pass") < 0.1
