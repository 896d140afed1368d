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
    path = _file(tmp_path, 'risk = 0.02\nfret_position_mm = 0.05\nsaddle = "whole"\njudge_open_notes = true\n')
    settings = read_settings(path, base=DiagnosisSettings(limit_cents=2.0))
    assert (settings.limit_cents, settings.risk, settings.fret_position_mm) == (2.0, 0.02, 0.05)
    assert settings.saddle == "whole"
    assert settings.judge_open_notes


@pytest.mark.parametrize(
    ("former", "now"), [("any", None), ("straight", "whole"), ("slanted", "slant"), ("per_string", "per_string")]
)
def test_words_of_version_0_1_for_a_saddle_are_still_read(tmp_path: Path, former: str, now: str | None) -> None:
    assert read_settings(_file(tmp_path, f'saddle = "{former}"')).saddle == now


def test_costs_and_bounds_of_the_work_are_a_shops_own(tmp_path: Path) -> None:
    settings = read_settings(_file(tmp_path, "cost_nut = 12\ncost_neck_back = 40\nleast_clearance_mm = 0.4\nmost_saddle_mm = 2"))
    assert (settings.cost_nut, settings.cost_neck_back, settings.least_clearance_mm, settings.most_saddle_mm) == (12, 40, 0.4, 2)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("risk = 2", "risk = 2"),
        ("risk = 'low'", "must be a number"),
        ("judge_open_notes = 1", "must be true or false"),
        ("fret_position_mm = nan", "fret_position_mm"),
        ("fret_position = 0.1", "did you mean fret_position_mm"),
        ("saddle = 'curved'", "must be one of"),
        ("cost_saddle = -1", "cost_saddle"),
        ("least_clearance_mm = 0", "least_clearance_mm"),
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


def test_lengths_may_be_in_inches(tmp_path: Path) -> None:
    """An inch is 25.4 mm exactly (international yard and pound agreement of 1959, from memory)."""
    (tmp_path / "own.toml").write_text('fret_position_in = 0.002\nsaddle_position_in = "1/64"\n', encoding="utf-8")
    settings = read_settings(tmp_path / "own.toml")
    assert settings.fret_position_mm == pytest.approx(0.0508, abs=1e-12)
    assert settings.saddle_position_mm == pytest.approx(25.4 / 64, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("fret_tilt_in = 0.004\nfret_tilt_mm = 0.1", "not both"),
        ('fret_tilt_in = "a hair"', "fraction in quotes"),
        ("fret_tilt_in = nan", "fret_tilt_mm"),
        ("risk_in = 0.1", "risk_in is not a limit"),
    ],
)
def test_wrong_inches_are_refused(tmp_path: Path, text: str, says: str) -> None:
    (tmp_path / "own.toml").write_text(text, encoding="utf-8")
    with pytest.raises(UsageError, match=says):
        read_settings(tmp_path / "own.toml")
