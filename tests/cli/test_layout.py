"""`fretcheck layout` through the command line."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace

import pytest

from fretcheck.cli.main import run
from fretcheck.neck.starts import STARTS
from tests.neck_files import write_neck


@pytest.fixture
def neck_file(tmp_path):
    def write(start):
        path = tmp_path / f"{start}.toml"
        write_neck(STARTS[start].neck, path)
        return str(path)

    return write


@pytest.fixture
def narrow(monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")


@pytest.mark.usefixtures("narrow")
@pytest.mark.parametrize("start", STARTS)
@pytest.mark.parametrize("options", [(), ("--round", "0.5"), ("--unit", "in", "--round", "1/64"), ("--unit", "in")])
def test_table_fits_80_columns(neck_file, capsys, start, options):
    assert run(["layout", neck_file(start), *options]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    assert not any("…" in line for line in lines)
    assert any("never from fret to fret" in line for line in lines)
    rows = [line.split() for line in lines if line.strip().startswith("12 ")]
    assert rows


@pytest.mark.usefixtures("narrow")
@pytest.mark.parametrize("options", [(), ("--round", "1/64", "--unit", "in"), ("--round", "1/128", "--unit", "in")])
def test_largest_fanned_neck_fits_too(tmp_path, capsys, options):
    bass = STARTS["bass-4"].neck
    strings = tuple(replace(bass.string(1 + n // 4), scale_length_mm=800.0 + 10.0 * n) for n in range(14))
    path = tmp_path / "neck.toml"
    write_neck(replace(bass, frets=36, zero_fret=True, strings=strings, square_fret=9), path)
    assert run(["layout", str(path), *options]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    # string 14, 930 mm, fret 36 = three octaves: 7/8 of the scale = 813.75 mm = 32.0374 in (CALC)
    shown = {(): "813.75", "1/64": "32 1/32", "1/128": "32.0391"}[options and options[1]]
    assert any(line.startswith("  36 ") and line.endswith(shown) for line in lines)


@pytest.mark.usefixtures("narrow")
def test_table_rows(neck_file, capsys):
    run(["layout", neck_file("guitar-6-steel")])
    rows = [line.split() for line in capsys.readouterr().out.splitlines()]
    # 648 mm: fret 12 at half of it; fret 1 at 648·0.056126 = 36.37 mm (check 3, READ); open notes of check 1 (CALC)
    assert ["12", "324.00", "19.27", "324.00", "659.26", "493.88", "392.00", "293.66", "220.00", "164.81"] in rows
    assert next(row for row in rows if row[:1] == ["1"] and len(row) == 10)[1:4] == ["36.37", "36.37", "611.63"]
    assert next(row for row in rows if row[:1] == ["0"])[-6:] == ["329.63", "246.94", "196.00", "146.83", "110.00", "82.407"]


@pytest.mark.usefixtures("narrow")
@pytest.mark.parametrize(("step", "mark"), [("0.5", "36.50"), ("1/8", "36.375"), ("0.005", "36.370"), ("1", "36.00")])
def test_marks_are_shown_whole(neck_file, capsys, step, mark):
    # fret 1 of 648 mm lies at 648·0.056126 = 36.3696 mm (check 3, READ)
    run(["layout", neck_file("guitar-6-steel"), "--round", step])
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    assert any(line.split()[:2] == ["1", mark] for line in lines)


def test_json(neck_file, capsys):
    assert run(["layout", neck_file("banjo-5"), "--json", "--round", "0.5"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "fretcheck/layout/1"
    (scale,) = document["scales"]
    assert scale["strings"] == [1, 2, 3, 4, 5]
    twelfth = scale["frets"][12]
    assert (twelfth["from_nut_mm"], twelfth["marked_mm"], twelfth["rounding_cents"]) == (335.0, 335.0, 0.0)
    first = scale["frets"][1]  # 670·0.056126 = 37.604 (check 3, READ), marked at 37.5: 0.104 mm too near the nut
    assert first["marked_mm"] == 37.5
    assert first["rounding_cents"] == pytest.approx(-1731.234 * 0.104 / 632.4, abs=0.002)
    fifth = document["strings"][4]
    lowest = fifth["frets"][0]
    assert (lowest["fret"], lowest["note"]) == (5, "G4")
    assert lowest["speaking_length_mm"] == pytest.approx(670.0 * 2 ** (-5 / 12), abs=1e-4)


def test_json_says_no_rounding(neck_file, capsys):
    run(["layout", neck_file("ukulele"), "--json", "--unit", "in"])
    document = json.loads(capsys.readouterr().out)
    assert document["rounding"] is None
    assert document["scales"][0]["scale_length_in"] == pytest.approx(380.0 / 25.4, abs=1e-6)


def test_csv(neck_file, capsys):
    assert run(["layout", neck_file("mandolin"), "--csv", "--unit", "in"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert len(rows) == 21
    assert float(rows[12]["from_nut_in"]) == pytest.approx(176.0 / 25.4, abs=1e-6)
    assert float(rows[5]["string_3_hz"]) == pytest.approx(587.3295, abs=1e-4)  # D5 (CALC)
    assert rows[0]["from_previous_in"] == ""


@pytest.mark.parametrize(
    ("options", "line"),
    [
        (("--csv", "--json"), "choose --csv or --json"),
        (("--round", "fine"), 'rounding step "fine" is no number'),
        (("--unit", "ell"), "'ell' is not one of"),
    ],
)
def test_bad_options(neck_file, capsys, options, line):
    assert run(["layout", neck_file("ukulele"), *options]) == 2
    streams = capsys.readouterr()
    assert streams.out == ""
    assert len(streams.err.splitlines()) == 1
    assert line in streams.err


@pytest.mark.parametrize(
    ("content", "line"),
    [
        (None, "no such file"),
        ("name = ", "line 1: broken TOML"),
        ('name = "Ash"\nscale_lenght_mm = 648\n', 'did you mean "scale_length_mm"'),
        ('name = "Ash"\nfrets = 0\n', "frets = 0 lies outside the allowed 1 to 36"),
        ('name = "Ash"\nfrets = 20\nscale_length_mm = 25.5\n', "looks like inches, use scale_length_in"),
        ('name = "Ash"\nfrets = 20\nscale_length_mm = nan\n', "not a finite number"),
    ],
)
def test_bad_descriptions_give_one_line_and_code_2(tmp_path, capsys, content, line):
    path = tmp_path / "neck.toml"
    if content is not None:
        path.write_text(content, encoding="utf-8")
    assert run(["layout", str(path)]) == 2
    streams = capsys.readouterr()
    assert streams.out == ""
    assert len(streams.err.splitlines()) == 1
    assert "neck.toml" in streams.err
    assert line in streams.err


def test_nut_saddle_and_partial_frets_are_told(tmp_path, capsys):
    path = tmp_path / "neck.toml"
    path.write_text(
        """
name = "Compensated"
scale_length_in = 25
frets = 22
tuning = "E4 B3 G3 D3 A2 E2"
gauges_in = [0.010, 0.013, 0.017, "w0.026", "w0.036", "w0.046"]
wound_material = "nickel_plated_steel"
saddle_setback_in = [0.06, 0.1, 0.18, 0.09, 0.12, 0.16]
nut_compensation_mm = 0.5
[[partial_frets]]
fret = 22
strings = [1, 2]
""",
        encoding="utf-8",
    )
    assert run(["layout", str(path)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Fret 22 runs under strings 1, 2 only." in said
    assert "nut's edge stands before the line that slots are measured from, in mm, by string: 1: 0.50, 2: 0.50" in said
    assert "beyond the scale length, in mm, by string: 1: 1.52, 2: 2.54, 3: 4.57" in said
    assert run(["layout", str(path), "--unit", "in", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert [string["saddle_setback_in"] for string in document["strings"]] == [0.06, 0.1, 0.18, 0.09, 0.12, 0.16]
    assert [len(string["frets"]) for string in document["strings"]] == [23, 23, 22, 22, 22, 22]
