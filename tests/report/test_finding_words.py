"""Which way is said, for every cause and both signs, against the axis: + nearer the bridge, sharper, or higher."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fretcheck.diagnosis.result import Cause, Finding
from fretcheck.report.words.condition_words import how_noticeable, plain_rival, plain_words
from fretcheck.report.words.finding_words import clause, label, where_heard

CAUSES: tuple[Cause, ...] = Cause.__args__  # type: ignore[attr-defined]


def finding(cause: str, value: float, *, fret: int | None = 7, string: int | None = None) -> Finding:
    in_mm = cause not in ("string", "tuning_drift", "finger_pressure", "layout_rule")
    return Finding(
        cause=cause, fret=fret, string=string, value_mm=value if in_mm else None, u_mm=0.05 if in_mm else None, probability=0.9,
        text="x", value_cents=None if in_mm else value,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("cause", "string", "plus", "minus"),
    [
        ("fret_position", None, "too near the bridge", "too near the nut"),
        ("nut_position", None, "too near the bridge", "too far from the bridge"),
        ("nut_height", None, "too high", "too low"),
        ("nut_height", 3, "too high", "too low"),
        ("saddle_position", 3, "too far from the nut", "too near the nut"),
        ("scale_length", None, "longer than designed", "shorter than designed"),
        ("finger_pressure", None, "too hard", "too lightly"),
    ],
)
def test_way(cause: str, string: int | None, plus: str, minus: str) -> None:
    assert plus in clause(finding(cause, 0.4, string=string))
    assert minus in clause(finding(cause, -0.4, string=string))


@pytest.mark.parametrize(
    ("cause", "string", "plus", "minus"),
    [  # physics: a fret nearer the bridge shortens the string; a nut nearer the bridge shortens the open string only;
        # a saddle farther back lengthens it; a high nut stretches it
        ("fret_position", None, "too high", "too low"),
        ("nut_position", None, "too low", "too high"),
        ("nut_height", None, "too high", "too low"),
        ("saddle_position", 3, "too low", "too high"),
    ],
)
def test_what_the_owner_hears(cause: str, string: int | None, plus: str, minus: str) -> None:
    assert plus in plain_words(finding(cause, 0.4, string=string), strings=6).hear
    assert minus in plain_words(finding(cause, -0.4, string=string), strings=6).hear


@pytest.mark.parametrize("cause", CAUSES)
def test_every_cause_has_words_of_its_own(cause: str) -> None:
    # As the diagnosis gives them: a fret only where one is meant, a string where it is one string's
    fret = 7 if cause in ("fret_position", "fret_tilt", "string") else None
    one = finding(cause, 0.4, fret=fret, string=2 if cause in ("string", "tuning_drift") else None)
    plain = plain_words(one, strings=6)
    assert plain.title != "Something else"
    assert "_" not in clause(one)
    assert label(one)[0].isupper()
    assert "None" not in " ".join((clause(one), label(one), *plain, plain_rival(cause, fret=fret, string=one.string)))


def test_worn_crowns_are_told_of_the_low_frets() -> None:
    worn = finding("fret_wear", 0.3, fret=None)
    assert clause(worn) == "the crowns of the low frets are worn to one side by up to 0.30 mm"
    assert label(worn).startswith("Crowns of the low frets")
    assert "first frets" in plain_words(worn, strings=6).hear


@pytest.mark.parametrize("cause", ["string", "tuning_drift"])  # rivals of the bridge and of the nut: of all strings
def test_a_rival_of_all_strings_names_no_string(cause: str) -> None:
    assert "strings" in plain_rival(cause, fret=None, string=None)
    assert "None" not in plain_rival(cause, fret=None, string=None)
    assert "string 3" in plain_rival(cause, fret=None, string=3)


@pytest.mark.parametrize(
    ("notes", "words"),
    [
        ([], ""),
        ([(3, 20), (3, 18), (3, 19)], "string 3 at frets 18, 19, 20"),
        ([(6, 7), (1, 7)], "fret 7 of strings 1, 6"),
        ([(2, 1), (6, 1), (6, 2)], "string 2 at fret 1; string 6 at frets 1, 2"),
    ],
)
def test_where_it_is_heard(notes: list[tuple[int, int]], words: str) -> None:
    assert where_heard(replace(finding("fret_position", 0.4), shown_by=notes)) == words


def test_ten_cents_is_heard_in_a_melody() -> None:
    assert "hear that in a melody" in how_noticeable(-12.0)  # Hill & Summers 2007: about 10 cents (READ abstract)
    assert "few would hear" in how_noticeable(5.0)
    assert "too low" in how_noticeable(-12.0)
