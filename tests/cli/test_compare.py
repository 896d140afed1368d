"""``fretcheck compare``: exit code of the second inspection, page, JSON, and another neck in one line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from fretcheck.cli.main import run
from tests.report import documents

pytestmark = pytest.mark.xdist_group("report")  # they share documents that take seconds to make

CODES = {"pass": 0, "fail": 1, "undecided": 3}


@pytest.fixture
def files(tmp_path: Path) -> tuple[str, str]:
    made = []
    for name, document in (("before", documents.before()), ("after", documents.after())):
        path = tmp_path / f"{name}.json"
        path.write_text(document.to_json(), encoding="utf-8")
        made.append(str(path))
    return made[0], made[1]


def test_terminal_and_page(files: tuple[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    page, sheet = tmp_path / "page.html", tmp_path / "sheet.html"
    assert run(["compare", *files, "--html", str(page), "--sheet", str(sheet)]) == CODES[documents.after().verdict.decision]
    assert "What came of each correction" in capsys.readouterr().out
    assert "Before and after" in page.read_text(encoding="utf-8")
    assert "Your instrument" in sheet.read_text(encoding="utf-8")


def test_json_is_one_document(files: tuple[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["compare", files[1], files[0], "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["schema"] == "fretcheck/comparison/2"


def test_other_neck_is_one_line(files: tuple[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    document = documents.after()
    other = tmp_path / "other.json"
    other.write_text(
        document.model_copy(update={"neck": document.neck.model_copy(update={"serial": "X"})}).to_json(), encoding="utf-8"
    )
    assert run(["compare", files[0], str(other)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err == "fretcheck: these are different necks: serial 'TW-014' and 'X'\n"
