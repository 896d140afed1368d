"""Every command, given what it cannot use: one line on standard error, the right exit code, never a traceback."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from fretcheck.cli.main import run

READING = {
    "layout": ["layout", "{}"],
    "neck": ["neck", "{}"],
    "start": ["neck", "--start", "{}"],
    "note": ["note", "{}"],
    "inspect neck": ["inspect", "{}", "--from", "folder", "--no-keep"],
    "inspect from": ["inspect", "neck.toml", "--from", "{}", "--no-keep"],
    "inspect again": ["inspect", "--again", "{}"],
    "inspect limits": ["inspect", "neck.toml", "--from", "folder", "--limits", "{}"],
    "report": ["report", "{}"],
    "compare": ["compare", "{}", "{}"],
    "show": ["show", "{}"],
    "import": ["import", "{}"],
    "export": ["export", "{}"],
    "since": ["search", "--since", "{}"],
    "verdict": ["search", "--verdict", "{}"],
    "lot show": ["lot", "show", "{}"],
    "lot decide": ["lot", "decide", "{}"],
    "gauge show": ["gauge", "show", "{}"],
    "devices": ["devices", "{}"],
}
GIVEN = {
    "missing": "missing.json",
    "a folder": "folder",
    "garbage": "garbage",
    "garbage named json": "garbage.json",
    "garbage named toml": "garbage.toml",
    "nested without end": "deep.json",
    "a number too large": "huge.json",
    "an empty file": "empty.json",
    "nothing": "",
    "other letters": "Löffel ☃ 漢字",
    "a NUL": "a\0b",
    "a long name": "x" * 5000,
    "a device": "/dev/null",
    "no file of text": "/proc/self/mem",
}


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A working folder with all that is in GIVEN, and a register of its own."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("FRETCHECK_DATA", str(tmp_path / "data"))
    monkeypatch.delenv("FRETCHECK_REGISTER", raising=False)
    (tmp_path / "folder").mkdir()
    noise = bytes((7 * n * n + n // 3) % 256 for n in range(4000))
    for name in ("garbage", "garbage.json", "garbage.toml"):
        (tmp_path / name).write_bytes(noise)
    (tmp_path / "deep.json").write_text("[" * 100_000, encoding="utf-8")
    (tmp_path / "huge.json").write_text("1e999", encoding="utf-8")
    (tmp_path / "empty.json").write_bytes(b"")
    assert run(["neck", "--start", "ukulele", "--out", "neck.toml"]) == 0
    return tmp_path


def refused(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    capsys.readouterr()
    code = run(arguments)
    out, err = capsys.readouterr()
    assert code in (2, 4), (arguments, code, out[:200])
    assert out == "", arguments
    assert err.startswith("fretcheck: "), arguments
    assert err.count("\n") == 1, (arguments, err)
    assert len(err) < 1200, arguments


@pytest.mark.parametrize("command", READING)
def test_what_cannot_be_read_is_refused_in_one_line(command: str, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for given in GIVEN.values():
        refused([word.format(given) for word in READING[command]], capsys)


WRITING = {
    "neck": ["neck", "--start", "ukulele", "--out", "{}"],
    "backup": ["backup", "{}"],
    "export": ["export", "--to", "{}"],
    "register": ["list", "--register", "{}"],
}


@pytest.mark.parametrize("command", WRITING)
@pytest.mark.parametrize("place", ["/proc/nowhere/x.json", "missing/folder/x.json", "a\0b", "x" * 5000])
def test_what_cannot_be_written_is_refused_in_one_line(
    command: str, place: str, bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    refused([word.format(place) for word in WRITING[command]], capsys)


NUMBERS = {
    "round": ["layout", "neck.toml", "--round", "{}"],
    "limit": ["list", "--limit", "{}"],
    "a4": ["note", "garbage", "--a4", "{}"],
    "tolerance": ["inspect", "neck.toml", "--from", "folder", "--tolerance", "{}"],
    "temperature": ["inspect", "neck.toml", "--from", "folder", "--temperature", "{}"],
    "frets": ["inspect", "neck.toml", "--frets", "{}"],
    "strings": ["inspect", "neck.toml", "--strings", "{}"],
    "repeats": ["inspect", "neck.toml", "--repeats", "{}"],
    "sample": ["lot", "open", "L", "--serials", "A-1..A-9", "--sample", "{}"],
    "risk": ["lot", "open", "L", "--serials", "A-1..A-9", "--good", "0", "--bad", "3", "--makers-risk", "{}"],
    "confidence": ["gauge", "compute", "G", "--confidence", "{}"],
}


@pytest.mark.parametrize("command", NUMBERS)
def test_impossible_numbers_are_refused_in_one_line(command: str, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for number in ("1e999", "-1", "nan", "1/0", "twelve", ""):
        refused([word.format(number) for word in NUMBERS[command]], capsys)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["list", "--limit", "0"], "--limit: must be greater than or equal to 1"),
        (["inspect", "neck.toml", "--repeats", "two"], "--repeats: must be a valid integer"),
        (["layout", "neck.toml", "--unit", "furlong"], "--unit: 'furlong' is not one of 'mm', 'in'"),
        (["layout"], "Missing argument 'NECK'"),
        (["layout", "neck.toml", "--rond", "1"], "No such option: --rond"),
        (["inspct"], "Did you mean 'inspect'"),
    ],
)
def test_a_wrong_option_is_named(arguments: list[str], said: str, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    capsys.readouterr()
    assert run(arguments) == 2
    assert said in capsys.readouterr().err


@pytest.mark.skipif(sys.platform == "win32", reason="closes and redirects streams as a POSIX shell does")
@pytest.mark.parametrize(
    ("redirected", "code", "says"),
    [("| true; exit ${PIPESTATUS[0]}", 0, ""), (">&-", 0, ""), ("> /dev/full", 4, "fretcheck: No space left on device\n")],
)
def test_output_that_goes_nowhere(redirected: str, code: int, says: str, bench: Path) -> None:
    if not os.path.exists("/dev/full") and "full" in redirected:
        pytest.skip("no /dev/full here")
    line = f'"{sys.executable}" -m fretcheck layout neck.toml --json {redirected}'
    root = str(Path(__file__).parents[2])
    done = subprocess.run(
        ["bash", "-c", line], env={**os.environ, "PYTHONPATH": root}, capture_output=True, text=True, timeout=60
    )
    assert (done.returncode, done.stderr) == (code, says)


@pytest.mark.skipif(sys.platform == "win32", reason="a pipe as a POSIX shell makes it")
def test_help_may_be_read_in_part(bench: Path) -> None:
    line = f'"{sys.executable}" -m fretcheck | true; exit ${{PIPESTATUS[0]}}'
    root = str(Path(__file__).parents[2])
    done = subprocess.run(
        ["bash", "-c", line], env={**os.environ, "PYTHONPATH": root}, capture_output=True, text=True, timeout=60
    )
    assert (done.returncode, done.stderr) in [(0, ""), (2, "")]  # 2 where the help went out before the pipe was closed
