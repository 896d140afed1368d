"""The examples in the docstrings do what they say, in every module that has one."""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import pytest

import fretcheck

PLACES = {"fretcheck": Path(fretcheck.__file__).parent, "tests.synth": Path(__file__).parent / "synth"}
MODULES = [
    ".".join((name, *path.relative_to(place).with_suffix("").parts))
    for name, place in PLACES.items()
    for path in sorted(place.rglob("*.py"))
    if ">>> " in path.read_text(encoding="utf-8")
]


@pytest.mark.parametrize("name", MODULES)
def test_examples(name: str) -> None:
    assert doctest.testmod(importlib.import_module(name)).failed == 0


def test_examples_are_found() -> None:
    assert {"fretcheck.door", "tests.synth.recording", "fretcheck.plain_text"} <= set(MODULES)
