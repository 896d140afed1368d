"""``fretcheck report`` and what it says when it cannot."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from fretcheck.cli.main import run
from fretcheck.register.store import open_register
from tests.report import documents

pytestmark = pytest.mark.xdist_group("report")  # they share documents that take seconds to make


@pytest.fixture
def register(tmp_path: Path) -> tuple[str, str]:
    """(place of a register with one inspection, the inspection's id)."""
    place = tmp_path / "register.db"
    with open_register(place) as store:
        kept = store.keep(documents.before())
    assert kept.id is not None
    return str(place), kept.id


def test_writes_a_kept_inspection(register: tuple[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place, number = register
    out = tmp_path / "page.html"
    assert run(["report", number, "--register", place, "--out", str(out)]) == 0
    assert str(out) in capsys.readouterr().out
    text = out.read_text(encoding="utf-8")
    assert text.startswith("<!doctype html>")
    assert number in text


def test_json_names_the_file(
    register: tuple[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    place, number = register
    monkeypatch.chdir(tmp_path)
    assert run(["report", number, "--register", place, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["schema"] == "fretcheck/report/1"
    assert told["inspection"] == number
    assert Path(told["file"]) == tmp_path / f"report-{number}.html"
    assert Path(told["file"]).is_file()


def test_sheet_of_a_json_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    given, out = tmp_path / "neck.json", tmp_path / "page.html"
    given.write_text(documents.before().to_json(), encoding="utf-8")
    assert run(["report", str(given), "--sheet", "--out", str(out)]) == 0
    assert "Condition sheet" in out.read_text(encoding="utf-8")


def test_sheet_takes_what_is_told_here(register: tuple[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place, number = register
    monkeypatch.chdir(tmp_path)
    (tmp_path / "limits.toml").write_text("[shop]\nname = 'Reed & Daughter'\n", encoding="utf-8")
    told = ["--customer", "A. Lind", "--price", "80 EUR", "--limits", "limits.toml", "--sheet", "--out", "sheet.html"]
    assert run(["report", number, "--register", place, *told]) == 0
    text = (tmp_path / "sheet.html").read_text(encoding="utf-8")
    assert all(one in text for one in ("A. Lind", "80 EUR", "Reed &amp; Daughter"))
    with open_register(place) as store:
        assert store.load(number).job.customer is None


def test_only_its_own_page_is_replaced(register: tuple[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place, number = register
    out = tmp_path / "page.html"
    told = ["report", number, "--register", place, "--out", str(out)]
    out.write_text("<html>a customer's own page</html>", encoding="utf-8")
    assert run(told) == 2
    assert "--force" in capsys.readouterr().err
    assert out.read_text(encoding="utf-8") == "<html>a customer's own page</html>"
    assert run([*told, "--force"]) == 0
    assert run(told) == 0  # it is a page of its own now
    assert number in out.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (["999999-9"], 2, "no inspection"),
        (["none.json"], 2, "no such file"),
        (["NUMBER", "--out", "no/such/folder/page.html"], 4, "there is no folder"),
    ],
)
def test_trouble_is_one_line(
    register: tuple[str, str], tmp_path: Path, arguments: list[str], code: int, says: str,
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    place, number = register
    told = [number if one == "NUMBER" else one for one in arguments]
    assert run(["report", *told, "--register", place]) == code
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert says in err
