"""Inspections leave the register and come into another, unchanged and without doing harm there."""

from __future__ import annotations

import csv
import io
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretcheck.errors import UsageError
from fretcheck.inspection.exchange import read_json, write_csv
from fretcheck.register.sound_files import checked_sound_path
from fretcheck.register.store import open_register
from tests.register.documents import make_document, make_neck
from tests.register.test_keep import HOSTILE, with_sound

LEAVING = [
    "../outside.flac", "sounds/../../outside.flac", "/etc/passwd", "//server/share/a.flac", "C:\\sounds\\a.flac", "C:a.flac",
    "..\\outside.flac", "sounds\\..\\..\\a.flac", "sounds/a\0.flac", "sounds/a\n.flac", "", ".", "..", "~/../../a.flac",
    "a" * 2000,
]  # fmt: skip


def exported(register, tmp_path, ids=None):
    file = tmp_path / "export.json"
    with file.open("w", encoding="utf-8") as stream:
        register.export_json(stream, ids)
    return file


def test_an_export_read_by_another_register_is_the_same(register, tmp_path):
    kept = [register.keep(make_document(number, neck=make_neck(said, said))) for number, said in enumerate(HOSTILE)]
    file = exported(register, tmp_path)
    assert json.loads(file.read_text(encoding="utf-8"))["schema"] == "fretcheck/export/1"
    with open_register(tmp_path / "second" / "register.sqlite") as second:
        done = second.import_documents(read_json(file))
        assert all(one.new and one.id == one.was for one in done)
        assert [second.load(one.id) for one in kept] == kept
        assert not any(one.new for one in second.import_documents(read_json(file)))
        assert second.count() == len(HOSTILE)


def test_an_id_that_is_taken_gives_way(register, tmp_path):
    register.keep(make_document(1))
    with open_register(tmp_path / "second" / "register.sqlite") as second:
        second.keep(make_document(2))
        done = second.import_documents(read_json(exported(register, tmp_path)))
        assert [(one.was, one.id, one.new) for one in done] == [("260302-1", "260302-2", True)]
        assert second.load("260302-2").neck == make_document(1).neck


@pytest.mark.parametrize("odd", ["../../x", "260302-0", "260302-01", "١٢٣٤٥٦-1", "x" * 300])
def test_an_id_of_no_register_is_replaced(sqlite_register, odd):
    assert sqlite_register.import_documents([make_document(1).model_copy(update={"id": odd})])[0].id == "260302-1"


def test_what_inspect_printed_can_be_imported(tmp_path):
    (tmp_path / "one.json").write_text("\ufeff" + make_document(1).to_json(), encoding="utf-8")
    assert read_json(tmp_path / "one.json") == [make_document(1)]


def test_a_field_at_its_default_does_not_change_the_content(register, tmp_path):
    """A document written before a field existed is the same as one that has the field's default."""
    register.keep(make_document(1))
    older = json.loads(make_document(1).to_json())
    for optional in ("sharpeners", "set_aside", "layout"):
        del older[optional]
    (tmp_path / "older.json").write_text(json.dumps(older), encoding="utf-8")
    assert [one.new for one in register.import_documents(read_json(tmp_path / "older.json"))] == [False]


def test_a_path_that_leaves_the_folder_imports_nothing(register):
    for path in LEAVING:
        documents = [make_document(1), with_sound(make_document(2), path)]
        with pytest.raises(UsageError, match="is refused"):
            register.import_documents(documents)
    assert register.count() == 0


def test_a_link_that_leaves_the_folder_is_refused(sqlite_register, tmp_path):
    outside = tmp_path.parent / f"{tmp_path.name}-outside"
    outside.mkdir()
    (sqlite_register.folder / "sounds").symlink_to(outside)
    with pytest.raises(UsageError, match="a link leads out of the register's folder"):
        sqlite_register.import_documents([with_sound(make_document(1), "sounds/a.flac")])


@given(st.text(alphabet="./\\:~ab\0\n\u202e", max_size=12))
def test_no_accepted_path_leaves_a_folder(tmp_path_factory, path):
    folder = tmp_path_factory.getbasetemp() / "folder"
    try:
        checked_sound_path(path)
    except UsageError:
        return
    assert folder in (folder / path).resolve().parents


@pytest.mark.parametrize(
    ("content", "complaint"),
    [
        (b"", "is no export"),
        (b"not json", "is no export"),
        (b"\xff\xfe\x00", "is no export"),
        (b'{"schema": "fretcheck/export/2", "inspections": []}', "schema: Input should be 'fretcheck/export/1'"),
        (b'{"schema": "fretcheck/export/1", "inspections": [{}]}', "inspections.0.neck: Field required"),
        (b'{"schema": "fretcheck/export/1", "inspections": [], "more": 1}', "more: Extra inputs"),
        (b"[" * 100_000, "is no export"),
    ],
)
def test_a_file_that_is_no_export_is_one_line(tmp_path, content, complaint):
    file = tmp_path / "file.json"
    file.write_bytes(content)
    with pytest.raises(UsageError, match=complaint):
        read_json(file)


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(UsageError, match=r"none\.json: no such file"):
        read_json(tmp_path / "none.json")


def csv_rows(register):
    stream = io.StringIO(newline="")
    count = write_csv(register.documents([one.id for one in reversed(register.select())]), stream)
    rows = list(csv.DictReader(io.StringIO(stream.getvalue(), newline="")))
    assert len(rows) == count
    return rows


def test_csv_has_one_row_a_reading_with_the_values_of_the_document(register):
    kept = [register.keep(make_document(number)) for number in (1, 2)]
    rows = csv_rows(register)
    readings = [(document, reading) for document in kept for reading in document.readings]
    assert len(rows) == len(readings) == 16
    for row, (document, reading) in zip(rows, readings, strict=True):
        assert (row["inspection"], row["serial"], row["verdict"]) == (
            document.id,
            document.neck.serial,
            document.verdict.decision,
        )
        assert (int(row["string"]), int(row["fret"]), float(row["f1_hz"])) == (reading.string, reading.fret, reading.f1_hz)
        assert float(row["deviation_cents"]) == reading.deviation_cents  # a negative number stays a number
        assert row["used"] == ("yes" if reading.used else "no")
        assert row["glide_cents"] == ""
        assert row["flags"] == " ".join(reading.flags)


# What a spreadsheet may take for a formula: OWASP, "CSV Injection" (MEMORY).
@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", " =", "\n=", "＝"])
def test_no_text_in_csv_is_a_formula(sqlite_register, start):
    said = f'{start}HYPERLINK("http://example.invalid")'
    sqlite_register.keep(make_document(1, neck=make_neck(said, said)))
    for row in csv_rows(sqlite_register):
        assert row["neck"].startswith("'")
        assert row["serial"].startswith("'")


@pytest.mark.parametrize("said", HOSTILE)
def test_a_csv_cell_stays_in_its_cell(sqlite_register, said):
    sqlite_register.keep(make_document(1, neck=make_neck(said, None)))
    rows = csv_rows(sqlite_register)
    assert len(rows) == 8
    assert all(row["verdict"] == "fail" for row in rows)
    assert all(row["neck"].isprintable() or "\u200d" in row["neck"] for row in rows)
