"""The two pages for newcomers name the files that their rooms have, and no others."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOMS = Path(__file__).parents[1] / "fretcheck"
NO_FILES = {"pitch": {"read_note"}, "diagnosis": {"work"}}  # a function of the public door, a command


@pytest.mark.parametrize("room", ["pitch", "diagnosis"])
def test_page_names_every_file_and_no_other(room: str) -> None:
    page = (ROOMS / room / "README.md").read_text(encoding="utf-8")
    files = {path.stem for path in (ROOMS / room).rglob("*.py")} - {"__init__"}
    (drawing,) = re.findall(r"^```\n(.*?)^```$", page, flags=re.MULTILINE | re.DOTALL)
    named = {name.rpartition("/")[2] for name in re.findall(r"`([a-z_/]*[a-z_])(?:\.py)?`", page) if not name.startswith("tests")}
    assert sorted(named - files - NO_FILES[room]) == []
    assert sorted(files - named - set(re.findall(r"[a-z_]+", drawing.lower()))) == []
