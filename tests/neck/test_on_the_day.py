"""Measurements given with an inspection, and those that work has overtaken."""

from __future__ import annotations

from datetime import date

import pytest

from fretcheck.errors import UsageError
from fretcheck.neck.measured import fresh, given, on_the_day, stale, worked_parts
from fretcheck.neck.neck_file import neck_from_mapping
from fretcheck.neck.writing import neck_to_mapping
from tests.synth.demo import demo_neck


def described(**more: object):
    plain = neck_to_mapping(demo_neck())
    rows = [
        {"what": "first_fret_clearance", "mm": 0.9, "u_mm": 0.05, "date": "2026-11-20"},
        {"what": "first_fret_clearance", "mm": 0.7, "u_mm": 0.05, "string": 3},
        {"what": "nut_to_fret", "fret": 7, "mm": 214.5, "u_mm": 0.1, "date": "2026-11-20"},
        {"what": "relief", "mm": 0.2, "u_mm": 0.05, "date": "2026-11-25"},
    ]
    return neck_from_mapping({**plain, "measured": rows, **more})


@pytest.mark.parametrize(
    ("work", "holds"),
    [
        ([], ["first_fret_clearance", "first_fret_clearance", "nut_to_fret", "relief"]),
        ([{"part": "nut", "date": date(2026, 11, 21)}], ["relief"]),
        ([{"part": "nut", "date": "2026-11-19"}], ["first_fret_clearance", "nut_to_fret", "relief"]),  # one is not dated
        ([{"part": "nut", "date": "2026-11-20"}], ["relief"]),  # of the same day: nobody knows which came first
        ([{"part": "strings", "date": "2026-11-24"}], ["nut_to_fret", "relief"]),
        ([{"part": "saddle", "date": "2026-11-24"}], ["nut_to_fret", "relief"]),
    ],
)
def test_work_overtakes_earlier_measurements_of_its_part(work: list[dict[str, object]], holds: list[str]) -> None:
    neck = described(worked=work)
    assert [one.what for one in fresh(neck)] == holds
    assert len(stale(neck)) == 4 - len(holds)
    assert all("Measure it anew" in text for text in stale(neck).values())
    assert neck_from_mapping(neck_to_mapping(neck)) == neck


def test_given_measurements_replace_those_of_their_kind() -> None:
    neck = described(worked=[{"part": "nut", "date": "2026-11-28"}])
    now = on_the_day(neck, measured=given(["first_fret_clearance=0.62"], neck))
    assert [(one.what, one.mm) for one in fresh(now)] == [("relief", 0.2), ("first_fret_clearance", 0.62)]
    assert on_the_day(described(), worked=worked_parts(["nut"])).measured == fresh(neck)


def test_ways_to_give_one() -> None:
    neck = demo_neck()
    fret, slot, inches = given(["nut_to_fret@7/1=214.6", "first_fret_clearance/3 = 0.6mm", "first_fret_clearance=0.024in"], neck)
    assert (fret.what, fret.fret, fret.string, fret.mm) == ("nut_to_fret", 7, 1, 214.6)
    assert (slot.string, slot.mm) == (3, 0.6)
    assert inches.mm == pytest.approx(0.024 * 25.4)
    assert all(one.date is not None for one in (fret, slot, inches))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("0.62", "write what=mm"),
        ("clearance=0.62", "is not one of"),
        ("first_fret_clearance=often", "often"),
        ("first_fret_clearance/9=0.6", "this neck has 6 strings"),
        ("nut_to_fret=215", "needs fret"),
        ("nut_to_fret@7=115", "is the fret right"),
        ("first_fret_clearance=14", "0"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(text: str, says: str) -> None:
    with pytest.raises(UsageError, match=says) as caught:
        given([text], demo_neck())
    assert str(caught.value).startswith(f"--measured {text}: ")
    assert "\n" not in str(caught.value)


def test_parts_worked_on() -> None:
    assert worked_parts(["strings", "nut"]) == ("nut", "strings")
    with pytest.raises(UsageError, match=r'--worked .*"nuts" is not one of .*did you mean "nut"'):
        worked_parts(["nuts"])
