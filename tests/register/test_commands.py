"""The commands that read and carry inspections: one JSON document each, an 80-column screen, user's text as text."""

from __future__ import annotations

import csv
import json

import pytest
from rich.cells import cell_len

from fretcheck.cli.main import run
from fretcheck.inspection.exchange import read_json
from fretcheck.plain_text import plain_line
from fretcheck.register.store import open_register
from tests.register.documents import make_document, make_neck
from tests.register.test_keep import HOSTILE


@pytest.fixture
def filled(tmp_path, monkeypatch):
    """Three inspections, the last with hostile text, in the register that the environment names."""
    monkeypatch.setenv("FRETCHECK_REGISTER", str(tmp_path / "register.sqlite"))
    monkeypatch.setenv("COLUMNS", "80")
    with open_register() as register:
        for number in (1, 2):
            register.keep(make_document(number))
        hostile = make_neck("[red]x[/red] <b>\n\x1b[31m🎸\u202e " + "very " * 20, "WT-[bold]\x1b]0;title\x07")
        register.keep(make_document(4, neck=hostile))
    return tmp_path


def said(capsys, *arguments, code=0):
    assert run([str(argument) for argument in arguments]) == code
    captured = capsys.readouterr()
    if code == 0 and "--to" not in arguments:
        assert captured.err == ""
    return captured.out


def test_list_fits_the_screen_and_shows_text_as_text(filled, capsys):
    out = said(capsys, "list")
    assert all(cell_len(line) <= 80 for line in out.splitlines())
    assert out.replace("\n", "").replace("\N{NO-BREAK SPACE}", " ").isprintable()
    assert "[red]x[/red]" in out
    assert [line.split()[0] for line in out.splitlines() if line.startswith("2603")] == ["260302-3", "260302-2", "260302-1"]
    assert "1/3 +6.2" in out


def test_list_tells_that_there_is_more(filled, capsys):
    assert "The newest 2 of 3; --limit 3 shows all." in said(capsys, "list", "--limit", "2")


def test_list_as_json(filled, capsys):
    found = json.loads(said(capsys, "list", "--json"))
    assert (found["schema"], found["total"]) == ("fretcheck/list/1", 3)
    assert [one["id"] for one in found["inspections"]] == ["260302-3", "260302-2", "260302-1"]
    assert found["inspections"][0]["serial"] == "WT-[bold]\x1b]0;title\x07"


def test_an_empty_register_at_the_default_place_is_no_error(tmp_path, monkeypatch, capsys):
    from fretcheck.register import location

    monkeypatch.delenv("FRETCHECK_REGISTER", raising=False)
    monkeypatch.setattr(location, "data_folder", lambda: tmp_path / "data")
    assert "No inspection found" in said(capsys, "list")


def test_search(filled, capsys):
    found = json.loads(said(capsys, "search", "walnut", "--verdict", "undecided", "--json"))
    assert [one["id"] for one in found["inspections"]] == ["260302-2"]
    assert "260302-1" in said(capsys, "search", "--serial", "wt-00001", "--since", "2026-03-01", "--until", "2026-03-04")
    assert "No inspection found" in said(capsys, "search", "nothing of the kind")


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        (("search", "--since", "2.3.2026"), "--since '2.3.2026' is no date"),
        (("search", "--verdict", "good"), "verdict 'good' is none of"),
        (("search", "--since", "2026-03-03", "--until", "2026-03-02"), "nothing can be found"),
        (("show", "9"), "the latest is 260302-3"),
        (("export", "260302-1", "--verdict", "pass"), "not both"),
        (("export", "--to", "a.txt"), "must end in .csv or .json"),
        (("export", "--json", "--to", "a.csv"), "must end in .json"),
    ],
)
def test_wrong_use_is_one_line(filled, capsys, arguments, complaint):
    assert run(list(arguments)) == 2
    captured = capsys.readouterr()
    assert complaint in captured.err
    assert captured.err.count("\n") == 1


def test_show(filled, capsys):
    out = said(capsys, "show", "260302-1")
    assert "Walnut tenor 1" in out
    for line in ("Bench microphone", "48000 Hz", "Operator A", "21.5 °C, 45 % humidity", "8, of which 6 used"):
        assert line in out
    assert json.loads(said(capsys, "show", "260302-1", "--json"))["id"] == "260302-1"


def test_show_and_errors_show_text_as_text(filled, capsys):
    out = said(capsys, "show", "260302-3")
    assert out.replace("\n", "").replace("\N{NO-BREAK SPACE}", " ").isprintable()
    assert "[red]x[/red] <b>\\n\\x1b[31m🎸\\u202e very" in out
    assert run(["show", "\x1b[31m\x07\n"]) == 2
    assert capsys.readouterr().err.rstrip("\n").isprintable()


def test_export_import_and_backup(filled, capsys):
    said(capsys, "export", "--to", filled / "all.json")
    said(capsys, "export", "260302-1", "--to", filled / "one.csv")
    assert len(read_json(filled / "all.json")) == 3
    with (filled / "one.csv").open(encoding="utf-8-sig", newline="") as stream:
        assert len(list(csv.DictReader(stream))) == 8
    assert (filled / "one.csv").read_bytes().startswith(b"\xef\xbb\xbf")  # so that a spreadsheet takes it for UTF-8
    second = filled / "second"
    second.mkdir()
    assert said(capsys, "import", filled / "all.json", "--register", second) == "3 added, 0 there already.\n"
    again = json.loads(said(capsys, "import", filled / "all.json", "--register", second, "--json"))
    assert [one["new"] for one in again["inspections"]] == [False] * 3
    made = json.loads(said(capsys, "backup", filled / "copy.sqlite", "--json"))
    assert made == {"schema": "fretcheck/backup/1", "file": str(filled / "copy.sqlite"), "inspections": 3}
    assert json.loads(said(capsys, "list", "--json", "--register", filled / "copy.sqlite"))["total"] == 3


def test_export_to_standard_output(filled, capfd):
    assert run(["export", "--verdict", "undecided"]) == 0
    assert len(list(csv.DictReader(capfd.readouterr().out.splitlines()))) == 8
    assert run(["export", "--json"]) == 0
    assert len(json.loads(capfd.readouterr().out)["inspections"]) == 3


def test_a_file_that_cannot_be_written(filled, capsys):
    assert run(["export", "--to", str(filled / "none" / "all.json")]) == 4
    assert "there is no folder" in capsys.readouterr().err


@pytest.mark.parametrize("text", HOSTILE)
def test_a_plain_line_has_no_control_characters(text):
    line = plain_line(text)
    assert line.isprintable()
    assert plain_line(line) == line


def test_letters_and_joined_emoji_stay():
    assert plain_line("Nußbaum 琴 👩‍🔧 é") == "Nußbaum 琴 👩‍🔧 é"
    assert plain_line("a\u202eb\u2028c\x9b") == "a\\u202eb\\u2028c\\x9b"
