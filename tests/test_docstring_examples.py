"""The examples in the docstrings do what they say, in every module that has one."""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import pytest

import fretcheck

PACKAGE = Path(fretcheck.__file__).parent
MODULES = [
    ".".join(("fretcheck", *path.relative_to(PACKAGE).with_suffix("").parts))
    for path in sorted(PACKAGE.rglob("*.py"))
    if ">>> " in path.read_text(encoding="utf-8")
]


@pytest.mark.parametrize("name", MODULES)
def test_examples(name: str) -> None:
    assert doctest.testmod(importlib.import_module(name)).failed == 0


def test_examples_are_found() -> None:
    assert {"fretcheck.neck.layout", "fretcheck.synth.recording", "fretcheck.plain_text"} <= set(MODULES)
