"""The README's commands are commands of this program, with options that it has, and none of its commands is left out."""

from __future__ import annotations

import re
import shlex
from dataclasses import fields
from pathlib import Path
from typing import Any

import pytest
import typer.main

from fretcheck.cli.main import build_app
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.diagnosis.settings_file import read_settings

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```sh\n(.*?)^```$", README, flags=re.MULTILINE | re.DOTALL)
LINES = [
    one.split("  #")[0].strip()
    for block in BLOCKS
    for line in block.splitlines()
    for one in line.split(" && ")
    if one.strip().startswith("fretcheck ")
]


def commands(group: Any, *names: str) -> dict[tuple[str, ...], Any]:
    """Every command by its words, those of groups by both."""
    found: dict[tuple[str, ...], Any] = {}
    for name in group.list_commands(None):
        command = group.get_command(None, name)
        if hasattr(command, "commands"):
            found |= commands(command, *names, name)
        else:
            found[(*names, name)] = command
    return found


KNOWN = commands(typer.main.get_command(build_app()))


def split_words(line: str) -> tuple[tuple[str, ...], list[str]]:
    """A command line's command, and its arguments."""
    words = shlex.split(line)[1:]
    length = 2 if tuple(words[:2]) in KNOWN else 1
    return tuple(words[:length]), words[length:]


@pytest.mark.parametrize("line", LINES)
def test_command_is_understood(line: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for folder in ("my_recordings", "march_recordings"):
        (tmp_path / folder).mkdir()
    for name in ("neck.toml", "my_recordings/string-3.wav", "inspections.json"):
        (tmp_path / name).touch()
    command, arguments = split_words(line)
    assert command in KNOWN, line
    KNOWN[command].make_context(" ".join(command), arguments)  # raises at an unknown option, a missing or surplus argument


def test_no_command_is_left_out() -> None:
    shown = {split_words(line)[0] for line in LINES}
    told = {command for command in KNOWN if f"`{' '.join(command)}" in README}
    assert sorted(set(KNOWN) - shown - told) == [("gauge", "list"), ("gauge", "show")]  # the first of `lot` and `show` over again
    assert ".venv/bin/fretcheck demo" in README


@pytest.mark.parametrize("command", [("inspect",), ("layout",), ("report",), ("lot", "open"), ("search",)])
def test_options_of_the_chief_commands_are_all_told(command: tuple[str, ...]) -> None:
    seldom = {"--channel", "--order", "--out", "--limit", "--serials-from", "--processes", "--json", "--help", "--until"}
    ways = [{*parameter.opts, *parameter.secondary_opts} for parameter in KNOWN[command].params]
    named = [way for way in ways if any(option.startswith("--") for option in way) and not way & seldom]
    assert [sorted(way) for way in named if not any(option in README for option in way)] == []


def test_limits_shown_are_the_usual_ones_and_all_there_are(tmp_path: Path) -> None:
    (shown,) = re.findall(r"^```toml\n(.*?)^```$", README, flags=re.MULTILINE | re.DOTALL)
    file = tmp_path / "shop.toml"
    file.write_text(shown, encoding="utf-8")
    assert read_settings(file) == DiagnosisSettings()
    names = set(re.findall(r"^(?:# )?([a-z_]+) = ", shown, flags=re.MULTILINE))
    assert names == {field.name for field in fields(DiagnosisSettings)} - {"gauge_repeatability_cents"}  # that comes by `gauge`
    file.write_text(re.sub(r"^# ", "", shown, flags=re.MULTILINE), encoding="utf-8")
    assert (read_settings(file).limit_cents, read_settings(file).guard_band_cents) == (2.0, 0.5)
