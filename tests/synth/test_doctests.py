"""The examples in the docstrings of the synthesis do what they say."""

from __future__ import annotations

import doctest
import importlib

import pytest

MODULES = ["false_string", "layout_mistake", "perfect_listener", "random_neck", "recording", "string_matter", "strung_neck"]


@pytest.mark.parametrize("name", MODULES)
def test_examples(name):
    result = doctest.testmod(importlib.import_module(f"fretcheck.synth.{name}"))
    assert result.attempted > 0
    assert result.failed == 0
