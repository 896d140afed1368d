"""A backup is a register itself, whole, made while others write."""

from __future__ import annotations

import pytest

from fretcheck.errors import StorageError, UsageError
from fretcheck.inspection.exchange import read_json
from fretcheck.register.copying import back_up
from fretcheck.register.store import open_register
from tests.register.documents import make_document
from tests.register.test_keep import with_sound


def test_a_backup_opens_as_a_register_with_its_sounds(sqlite_register, tmp_path):
    heard, away = tmp_path / "heard", tmp_path / "away"
    heard.mkdir()
    away.mkdir()
    (heard / "string-1.flac").write_bytes(b"abc")
    kept = [sqlite_register.keep(with_sound(make_document(number), "string-1.flac"), sound_folder=heard) for number in (1, 2)]
    assert back_up(sqlite_register, away / "copy.sqlite") == 2
    with open_register(away / "copy.sqlite") as copy:
        assert [copy.load(one.id) for one in kept] == kept
        assert [one.state for one in copy.sounds_of(kept[0])] == ["whole"]
    assert not list(away.glob("*.partial"))


def test_a_backup_holds_what_is_committed_and_only_that(sqlite_register, tmp_path):
    from fretcheck.register.record import insert_document

    sqlite_register.keep(make_document(1))
    with sqlite_register.transaction() as session:
        insert_document(session, make_document(2))
        with open_register(tmp_path) as other:
            assert back_up(other, tmp_path / "copy.sqlite") == 1
    with open_register(tmp_path / "copy.sqlite") as copy:
        assert [one.name for one in copy.select()] == ["Walnut tenor 1"]


def test_nothing_is_overwritten(sqlite_register, tmp_path):
    (tmp_path / "copy.sqlite").write_text("precious")
    with pytest.raises(UsageError, match=r"copy\.sqlite exists already: name a new file"):
        back_up(sqlite_register, tmp_path / "copy.sqlite")
    assert (tmp_path / "copy.sqlite").read_text() == "precious"


def test_a_folder_that_is_not_there(sqlite_register, tmp_path):
    with pytest.raises(StorageError, match=r"there is no folder .*none to write copy.sqlite in"):
        back_up(sqlite_register, tmp_path / "none" / "copy.sqlite")


def test_postgresql_is_backed_up_as_json(postgres_place, tmp_path):
    with open_register(postgres_place) as register:
        kept = [register.keep(make_document(number)) for number in (1, 2)]
        assert back_up(register, tmp_path / "copy.json") == 2
        assert read_json(tmp_path / "copy.json") == kept
        with pytest.raises(UsageError, match=r"name a file that ends in \.json, not copy\.sqlite"):
            back_up(register, tmp_path / "copy.sqlite")
