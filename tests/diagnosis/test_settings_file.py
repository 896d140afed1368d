"""A shop's own limits: what is taken, and what is refused in one line."""

from __future__ import annotations

from pathlib import Path

import pytest

from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.diagnosis.settings_file import read_settings
from fretcheck.errors import UsageError


def _file(folder: Path, text: str) -> Path:
    path = folder / "limits.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_limits_are_laid_over_what_was_given(tmp_path: Path) -> None:
    path = _file(tmp_path, 'risk = 0.02\nfret_position_mm = 0.05\nsaddle = "straight"\njudge_open_notes = true\n')
    settings = read_settings(path, base=DiagnosisSettings(limit_cents=2.0))
    assert (settings.limit_cents, settings.risk, settings.fret_position_mm) == (2.0, 0.02, 0.05)
    assert settings.saddle == "straight"
    assert settings.judge_open_notes


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("risk = 2", "risk = 2"),
        ("risk = 'low'", "must be a number"),
        ("judge_open_notes = 1", "must be true or false"),
        ("fret_position_mm = nan", "fret_position_mm"),
        ("fret_position = 0.1", "did you mean fret_position_mm"),
        ("saddle = 'curved'", "must be one of"),
        ("risk = ", "is no TOML"),
    ],
)
def test_bad_limits_are_refused_with_their_place(tmp_path: Path, text: str, says: str) -> None:
    path = _file(tmp_path, text)
    with pytest.raises(UsageError, match=says) as caught:
        read_settings(path)
    assert str(path) in str(caught.value)


def test_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"nowhere\.toml"):
        read_settings(tmp_path / "nowhere.toml")
