"""`fretcheck neck` through the command line."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import tomllib

import pytest
import tomlkit

from fretcheck.cli.main import run
from fretcheck.neck.neck_file import neck_from_mapping, read_neck
from fretcheck.neck.starts import STARTS
from tests.neck.test_short_forms import FAULTY, SHORT


@pytest.mark.parametrize("start", STARTS)
def test_start_prints_a_commented_description(capsys, start):
    assert run(["neck", "--start", start]) == 0
    text = capsys.readouterr().out
    assert neck_from_mapping(tomllib.loads(text)) == STARTS[start].neck
    assert "# [[measured]]" in text
    assert "common practice, no source" in text
    assert max(map(len, text.splitlines())) <= 120


@pytest.mark.parametrize("start", STARTS)
def test_example_measurement_can_be_uncommented(capsys, start):
    run(["neck", "--start", start])
    lines = capsys.readouterr().out.splitlines()
    first = lines.index("# [[measured]]")
    lines[first : first + 5] = [line.removeprefix("# ") for line in lines[first : first + 5]]
    (measured,) = neck_from_mapping(tomllib.loads("\n".join(lines))).measured
    assert measured.what == "nut_to_fret"


def test_start_to_a_file_is_never_overwritten_unasked(tmp_path, capsys):
    path = tmp_path / "neck.toml"
    assert run(["neck", "--start", "mandolin", "--out", str(path)]) == 0
    assert run(["neck", "--start", "ukulele", "--out", str(path)]) == 2
    assert "add --force" in capsys.readouterr().err
    assert read_neck(path) == STARTS["mandolin"].neck
    assert run(["neck", "--start", "ukulele", "--out", str(path), "--force"]) == 0
    assert read_neck(path) == STARTS["ukulele"].neck


def test_list(capsys):
    assert run(["neck", "--list"]) == 0
    assert [line.split()[0] for line in capsys.readouterr().out.splitlines()] == list(STARTS)
    assert run(["neck", "--list", "--json"]) == 0
    assert [one["name"] for one in json.loads(capsys.readouterr().out)["starts"]] == list(STARTS)


def test_check_says_what_was_understood(tmp_path, capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    path = tmp_path / "neck.toml"
    run(["neck", "--start", "guitar-12-steel", "--out", str(path)])
    capsys.readouterr()
    assert run(["neck", str(path)]) == 0
    said = capsys.readouterr().out
    assert "12 strings in 6 courses, 20 frets" in said
    assert "String 1 (E4) is at the treble side, string 12 (E3) at the bass side." in said
    assert "Assumed, since not described: over fret 12 (action_12_mm)" in " ".join(said.split())
    assert "needs a tolerance_cents of" in " ".join(said.split())
    assert "tune up slowly" in said
    assert max(map(len, said.splitlines())) <= 80


def test_check_as_json(tmp_path, capsys):
    path = tmp_path / "neck.toml"
    run(["neck", "--start", "guitar-6-nylon", "--out", str(path)])
    capsys.readouterr()
    assert run(["neck", str(path), "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert neck_from_mapping(document["neck"]) == STARTS["guitar-6-nylon"].neck
    treble = document["strings"][0]
    assert treble["open_hz"] == pytest.approx(329.6276, abs=5e-5)  # check 1 (CALC)
    assert treble["kappa"] is None
    assert "measured inharmonicity" in treble["reason"]


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        ((), "give one of FILE, --start KIND or --list"),
        (("--start", "ukelele"), 'did you mean "ukulele"'),
        (("--start", "zzz"), "there are banjo-5"),
        (("neck.toml", "--list"), "not FILE and --list"),
        (("--list", "--force"), "go with --start"),
        (("--start", "ukulele", "--force"), "goes with --out"),
        (("nowhere/neck.toml",), "no such file"),
        (("--frobnicate",), "--frobnicate"),
    ],
)
def test_bad_usage_gives_one_line_and_code_2(capsys, arguments, line):
    assert run(["neck", *arguments]) == 2
    streams = capsys.readouterr()
    assert streams.out == ""
    assert len(streams.err.splitlines()) == 1
    assert line in streams.err


def test_unwritable_place_is_a_storage_failure(tmp_path, capsys):
    assert run(["neck", "--start", "ukulele", "--out", str(tmp_path / "nowhere" / "neck.toml")]) == 4
    assert "there is no folder" in capsys.readouterr().err


def test_console_without_the_signs(tmp_path):
    path = tmp_path / "neck.toml"
    run(["neck", "--start", "ukulele", "--out", str(path)])
    environment = {**os.environ, "PYTHONIOENCODING": "ascii"}
    command = [sys.executable, "-m", "fretcheck", "neck", str(path)]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert "My ukulele" in done.stdout
    assert "tolerance +/-4 cents" in done.stdout
    assert "?" not in done.stdout


@pytest.mark.parametrize("start", STARTS)
def test_each_start_is_described_back(tmp_path, capsys, start):
    path = tmp_path / "neck.toml"
    run(["neck", "--start", start, "--out", str(path)])
    capsys.readouterr()
    assert run(["neck", str(path)]) == 0
    said = capsys.readouterr().out
    rows = [line for line in said.splitlines() if line.split()[:1] and line.split()[0].isdigit() and " ± " in line]
    assert len(rows) == len(STARTS[start].neck.strings)
    for string, row in zip(STARTS[start].neck.strings, rows, strict=True):
        assert row.split()[1] == string.note
        assert f" {string.saddle_setback_mm:.1f} " in row


def test_measured_and_left_out_are_told(tmp_path, capsys):
    path = tmp_path / "neck.toml"
    run(["neck", "--start", "guitar-6-electric", "--out", str(path)])
    capsys.readouterr()
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith("saddle_setback_mm")]
    measured = ["[[measured]]", 'what = "first_fret_clearance"', "in = 0.018", "date = 2026-11-28"]
    path.write_text("\n".join([*lines, *measured]), encoding="utf-8")
    assert run(["neck", str(path)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Measured: first_fret_clearance: 0.4572 ± 0.03 mm (2026-11-28)" in said
    assert "* not described (saddle_setback_mm): where it puts the octave in tune with the open string." in said


@pytest.mark.parametrize(("changes", "told"), FAULTY)
def test_a_faulty_file_gets_one_line_and_code_2(tmp_path, capsys, changes, told):
    path = tmp_path / "neck.toml"
    path.write_text(
        tomlkit.dumps({key: value for key, value in {**SHORT, **changes}.items() if value is not None}), encoding="utf-8"
    )
    assert run(["neck", str(path)]) == 2
    streams = capsys.readouterr()
    assert streams.out == ""
    assert len(streams.err.splitlines()) == 1
    assert "neck.toml: " in streams.err
    assert re.search(told, streams.err)
