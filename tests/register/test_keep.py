"""What is kept comes back as it was, under an id that a person can type."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sqlalchemy import text

from fretcheck.errors import StorageError, UsageError
from fretcheck.inspection.document import NeckPart
from fretcheck.register.selection import Selection
from tests.register.documents import make_document, make_neck

# FIPS 180-4 example, SHA-256 of the message "abc" (MEMORY).
SHA256_OF_ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
HOSTILE = [
    "<script>alert('x')</script>",
    "Robert'); DROP TABLE inspections;--",
    'quote " and \\ and %_',
    "two\nlines\r\nand\ta tab",
    "🎸 ñ 琴 e\u0301 \u202e",
    "\x1b[31mred\x1b[0m \x00 \x07",
    " ",
]


def with_sound(document, name, sha256=None):
    """`document` with `name` as the sound file of every reading."""
    readings = [replace(one, sound_file=name, sound_sha256=sha256) for one in document.readings]
    return document.model_copy(update={"readings": readings})


def test_a_kept_document_comes_back_whole(register):
    kept = register.keep(make_document(1))
    assert kept.model_copy(update={"id": None}) == make_document(1)
    assert register.load(kept.id) == kept


def test_ids_number_the_inspections_of_a_day(register):
    # Document n is taken n hours after 09:00 on 2 March 2026 (UTC).
    assert [register.keep(make_document(number)).id for number in (1, 2, 20, 21)] == [
        "260302-1", "260302-2", "260303-1", "260303-2",
    ]  # fmt: skip


def test_the_same_content_is_kept_once(register):
    first = register.keep(make_document(1))
    assert register.keep(make_document(1)) == first
    assert register.keep(first) == first
    assert register.count() == 1


@pytest.mark.parametrize("said", HOSTILE)
def test_whatever_a_user_typed_is_only_text(register, said):
    kept = register.keep(make_document(1, neck=make_neck(said, said)))
    assert register.load(kept.id).neck == make_neck(said, said)
    assert [one.id for one in register.select(Selection(serial=said))] == [kept.id]
    assert register.count() == 1


def test_a_document_without_serial_moment_or_readings_is_kept(register):
    bare = make_document(1, neck=make_neck("Unnamed", None), taken_at=None, readings=[], frets=[], findings=[])
    kept = register.keep(bare)
    assert register.load(kept.id).neck.serial is None
    assert register.select()[0].taken_at is None


def test_the_parts_lie_in_tables_of_their_own(register):
    document = make_document(1)
    register.keep(document)
    with register.transaction(write=False) as session:

        def column(query):
            return [tuple(row) for row in session.execute(text(query))]

        assert column("SELECT serial, name FROM necks") == [("WT-00001", "Walnut tenor 1")]
        assert column("SELECT string, fret, f1_hz, flags FROM readings ORDER BY position") == [
            (one.string, one.fret, one.f1_hz, " ".join(one.flags)) for one in document.readings
        ]
        assert column("SELECT cause, fret, value_mm FROM findings") == [("fret_position", 7, 0.31)]
        assert column("SELECT what, fret, mm, u_mm FROM measurements ORDER BY position") == [
            ("nut_to_fret", 12, 324.1, 0.1),
            ("relief", None, 0.2, 0.02),
        ]
        assert column(
            "SELECT software_version, source, sample_rate_hz, reference_hz, operator, temperature_c, humidity_pct "
            "FROM inspections"
        ) == [("0.1.0", "Bench microphone", 48000.0, 440.0, "Operator A", 21.5, 45.0)]


def test_measurements_of_an_odd_shape_stay_in_the_document_only(register):
    odd = {"measured": [{"what": "relief", "mm": "much"}, {"mm": 1.0}, "relief"]}
    kept = register.keep(make_document(1, neck=NeckPart(name="Odd", description=odd)))
    assert register.load(kept.id).neck.description == odd
    with register.transaction(write=False) as session:
        assert session.execute(text("SELECT what, mm FROM measurements")).all() == [("relief", None)]


def test_sound_files_are_copied_with_their_digest(register, tmp_path):
    folder = tmp_path / "heard"
    folder.mkdir()
    (folder / "string 1.flac").write_bytes(b"abc")
    kept = register.keep(with_sound(make_document(1), "string 1.flac"), sound_folder=folder)
    (folder / "string 1.flac").unlink()
    (sound,) = register.sounds_of(register.load(kept.id))
    assert {one.sound_sha256 for one in kept.readings} == {SHA256_OF_ABC}
    assert (sound.file.read_bytes(), sound.state) == (b"abc", "whole")
    assert sound.file.is_relative_to(register.folder)
    sound.file.write_bytes(b"abd")
    assert register.sounds_of(kept)[0].state == "changed"
    sound.file.unlink()
    assert register.sounds_of(kept)[0].state == "missing"


def test_one_recording_kept_twice_is_one_file(sqlite_register, tmp_path):
    (tmp_path / "string-1.flac").write_bytes(b"abc")
    for number in (1, 2):
        sqlite_register.keep(with_sound(make_document(number), "string-1.flac"), sound_folder=tmp_path)
    assert len(list((tmp_path / "sounds").iterdir())) == 1


def test_a_missing_sound_file_keeps_nothing(sqlite_register, tmp_path):
    with pytest.raises(OSError, match=r"string-1\.flac cannot be read: No such file"):
        sqlite_register.keep(with_sound(make_document(1), "string-1.flac"), sound_folder=tmp_path)
    assert sqlite_register.count() == 0


@pytest.mark.parametrize(
    ("changes", "complaint"),
    [
        ({"taken_at": "yesterday"}, "taken_at 'yesterday' is no date"),
        ({"taken_at": "2026-03-02T10:00:00"}, "with offset"),
        ({"neck": make_neck("Long", "x" * 201)}, "has 201 characters; the register holds 200"),
    ],
)
def test_what_no_register_can_hold_is_refused(register, changes, complaint):
    with pytest.raises(UsageError, match=complaint):
        register.keep(make_document(1, **changes))
    assert register.count() == 0


def test_a_number_beyond_the_database_is_one_line(register):
    document = make_document(1)
    huge = replace(document.readings[0], fret=10**30)
    with pytest.raises((UsageError, OSError), match=r"too large|out of range"):
        register.keep(document.model_copy(update={"readings": [huge]}))
    assert register.count() == 0


def test_an_unknown_id_names_the_latest(register):
    register.keep(make_document(1))
    with pytest.raises(UsageError, match=r"no inspection '7' in the register .*: the latest is 260302-1"):
        register.load("7")


def test_an_exception_in_a_session_undoes_it(register):
    register.keep(make_document(1))

    def stopped():
        with register.transaction() as session:
            session.execute(text("DELETE FROM documents"))
            raise RuntimeError("stop")

    with pytest.raises(RuntimeError, match="stop"):
        stopped()
    assert register.load("260302-1")


def test_a_reading_session_writes_nothing(register):
    register.keep(make_document(1))
    with register.transaction(write=False) as session:
        session.execute(text("DELETE FROM documents"))
    assert register.load("260302-1")


def test_foreign_keys_are_enforced(register):
    with pytest.raises(StorageError, match=r"(?i)foreign key"), register.transaction() as session:
        session.execute(text("INSERT INTO documents (inspection_key, json) VALUES (99, '{}')"))
