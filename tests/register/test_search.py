"""Inspections are found by serial, day, verdict and words, the newest first."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from fretcheck.errors import UsageError
from fretcheck.register.selection import Selection
from tests.register.documents import make_document, make_neck


@pytest.fixture
def filled(register):
    """Inspections 1 to 5, kept out of order, and two more of the first neck."""
    for number in (2, 1, 5, 4, 3):
        register.keep(make_document(number))
    for number in (40, 30):
        register.keep(make_document(number, neck=make_document(1).neck))
    return register


def names(found):
    return [one.name.removeprefix("Walnut tenor ") for one in found]


def test_a_list_shows_the_newest_first(filled):
    assert names(filled.select()) == ["1", "1", "5", "4", "3", "2", "1"]
    assert names(filled.select(limit=3)) == ["1", "1", "5"]
    assert filled.count() == 7


def test_a_summary_tells_what_the_document_tells(filled):
    one = filled.select(Selection(serial="WT-00002"))[0]
    assert (one.taken_at, one.decision, one.limit_cents) == ("2026-03-02T11:00:00+00:00", "undecided", 3.0)
    assert (one.worst_string, one.worst_fret, one.worst_cents, one.findings) == (1, 3, 6.2, 1)


def test_by_verdict(filled):
    # number % 3: 0 pass, 1 fail, 2 undecided; 40 % 3 = 1, 30 % 3 = 0
    assert names(filled.select(Selection(verdict="fail"))) == ["1", "4", "1"]
    assert names(filled.select(Selection(verdict="pass"))) == ["1", "3"]
    with pytest.raises(UsageError, match="verdict 'good' is none of pass, fail, undecided"):
        filled.select(Selection(verdict="good"))


def test_by_serial_without_regard_to_capitals_or_width(filled):
    for typed in ("WT-00001", "wt-00001", " ＷＴ-00001 "):
        assert names(filled.select(Selection(serial=typed))) == ["1", "1", "1"]


def test_a_part_of_a_serial_finds_its_necks(filled):
    assert len(filled.select(Selection(serial="wt-0000"))) == len(filled.select(Selection(text=None)))
    assert filled.select(Selection(serial="XT-")) == []


def test_a_day_is_whole_in_the_local_zone(register, monkeypatch):
    import time

    monkeypatch.setenv("TZ", "Etc/GMT-14")  # POSIX sign: 14 h ahead of UTC
    time.tzset()
    try:
        for hour in (9, 10, 33, 34):  # UTC hours from 1 March; local midnights lie at 10:00 UTC
            day, hour_of_day = divmod(hour, 24)
            register.keep(make_document(hour, taken_at=datetime(2026, 3, 1 + day, hour_of_day, tzinfo=UTC).isoformat()))
        found = register.select(Selection(since=date(2026, 3, 2), until=date(2026, 3, 2)))
    finally:
        monkeypatch.undo()
        time.tzset()
    assert names(found) == ["33", "10"]


def test_days_in_the_wrong_order_are_refused():
    with pytest.raises(UsageError, match="since 2026-03-03 lies after until 2026-03-02"):
        Selection(since=date(2026, 3, 3), until=date(2026, 3, 2))


def test_words_are_found_wherever_they_stand(filled):
    for words in ("FRET 7 sits", "operator  a", "bench MICRO", "string 1, fret 3"):
        assert filled.count(Selection(text=words)) == 7


def test_signs_of_the_query_language_are_only_text(filled):
    for number, words in enumerate(("%", "_", "fret_7", "' OR 1=1 --", "\\", "/"), start=50):
        assert filled.select(Selection(text=words)) == []
        kept = filled.keep(make_document(number, neck=make_neck(f"odd |{words}| name", None)))
        assert [one.id for one in filled.select(Selection(text=f"|{words}|"))] == [kept.id]


def test_the_inspections_of_a_neck_newest_first(filled):
    moments = [filled.load(one.id).taken_at for one in filled.select(Selection(serial="wt-00001"))]
    assert moments == ["2026-03-04T01:00:00+00:00", "2026-03-03T15:00:00+00:00", "2026-03-02T10:00:00+00:00"]
    assert filled.select(Selection(serial="unknown")) == []


def test_all_conditions_must_hold(filled):
    assert names(filled.select(Selection(serial="WT-00001", verdict="fail", since=date(2026, 3, 3)))) == ["1"]
