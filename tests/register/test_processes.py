"""Several processes at once, and processes that are killed: nothing that was promised is lost, nothing is half there."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from sqlalchemy import text

from fretcheck.register.store import open_register
from tests.register.documents import make_document

ROOT = Path(__file__).parents[2]


def start(*arguments):
    command = [sys.executable, "-m", "tests.register.writer", *map(str, arguments)]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def finish(process):
    out, err = process.communicate(timeout=120)
    assert process.returncode == 0, err
    return out.splitlines()


def test_two_processes_at_once_are_safe(place):
    """They also make the database at the same moment."""
    writers = [start("write", place, first, 40) for first in (0, 1000)]
    promised = dict(line.split() for writer in writers for line in finish(writer))
    assert len(promised) == 80
    assert len(set(promised.values())) == 80
    with open_register(place) as register:
        assert register.count() == 80
        for number, inspection_id in promised.items():
            assert register.load(inspection_id).neck.serial == f"WT-{int(number):05d}"


def test_a_reader_does_not_wait_for_a_writer(register, place):
    register.keep(make_document(1))
    with register.transaction() as session:
        session.execute(text("DELETE FROM documents"))
        with open_register(place) as other:
            assert other.load("260302-1").neck == make_document(1).neck
        session.rollback()


@pytest.mark.slow
def test_killed_a_hundred_times_while_writing(tmp_path):
    place = tmp_path / "register.sqlite"
    *lines, alive = finish(start("killed", place, 100))
    assert alive == "alive when killed: 100"
    promised = dict(line.split() for line in lines)
    assert len(promised) >= 50  # every second one was let live until its first promise
    with open_register(place) as register:
        with register.transaction(write=False) as session:
            assert session.execute(text("PRAGMA integrity_check")).scalars().all() == ["ok"]
            assert session.execute(text("PRAGMA foreign_key_check")).all() == []
            counts = "SELECT i.id, (SELECT count(*) FROM readings r WHERE r.inspection_key = i.key) FROM inspections i"
            readings = dict(tuple(row) for row in session.execute(text(counts)))
        assert set(promised.values()) <= set(readings)
        assert set(readings.values()) == {6 * 13}  # each inspection has all its readings
        for number, inspection_id in promised.items():
            assert register.load(inspection_id).neck.serial == f"WT-{int(number):05d}"
