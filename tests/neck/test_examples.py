"""The examples in the docstrings do what they say."""

from __future__ import annotations

import doctest

import pytest

from fretcheck.neck import layout, temperament


@pytest.mark.parametrize("module", [layout, temperament], ids=lambda module: module.__name__)
def test_examples(module):
    result = doctest.testmod(module)
    assert result.attempted > 0
    assert result.failed == 0
