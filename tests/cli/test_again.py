"""`inspect --again`: what was kept is read again, and gives the same while the estimator is the same."""

from __future__ import annotations

import json

import pytest

from fretcheck.cli.main import run
from tests.recordings import write_strings


@pytest.fixture
def kept(tmp_path, monkeypatch, capsys):
    """Recordings inspected and kept in a register of their own: their folder and the document."""
    monkeypatch.setenv("FRETCHECK_DATA", str(tmp_path / "data"))
    folder = write_strings(tmp_path / "strings")
    run(["inspect", str(folder / "neck.toml"), "--from", str(folder), "--json"])
    return folder, json.loads(capsys.readouterr().out)


def test_kept_recordings_are_read_from_the_registers_own_copies(kept, capsys):
    folder, document = kept
    for recording in folder.glob("string-*"):
        recording.unlink()
    code = run(["inspect", "--again", document["id"], "--no-keep", "--json"])
    again = json.loads(capsys.readouterr().out)
    assert code in (0, 1, 3)
    assert [r["f1_hz"] for r in again["readings"]] == [r["f1_hz"] for r in document["readings"]]
    assert again["conditions"]["source"] == document["conditions"]["source"]


def test_a_damaged_copy_is_not_read_nor_one_that_is_not_known(kept, tmp_path, capsys):
    _, document = kept
    (copy,) = {reading["sound_file"] for reading in document["readings"] if reading["string"] == 2}
    path = tmp_path / "data" / copy
    path.write_bytes(path.read_bytes()[:-100])
    assert run(["inspect", "--again", document["id"], "--no-keep"]) == 4
    assert "changed; it can't be read again" in capsys.readouterr().err
    assert run(["inspect", "--again", "none-such", "--no-keep"]) == 2
    assert "no inspection 'none-such'" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["neck.toml", "--again", "none-such"], "leave the neck and other choices out"),
        (["neck.toml", "--from", ".", "--plan", "press"], "--plan press is none for recordings"),
        (["neck.toml", "--from", ".", "--resume"], "--resume is for a live session"),
    ],
)
def test_choices_that_do_not_go_together(capsys, arguments, message):
    assert run(["inspect", *arguments]) == 2
    error = capsys.readouterr().err
    assert message in error
    assert error.count("\n") == 1
