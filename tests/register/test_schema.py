"""The schema is brought up to date on opening, and a newer one is left alone."""

from __future__ import annotations

import shutil
import sqlite3
from importlib import import_module
from importlib.util import find_spec

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import text

from fretcheck.errors import StorageError
from fretcheck.register import schema
from fretcheck.register.base import METADATA
from fretcheck.register.connection import connect
from fretcheck.register.location import find_location
from fretcheck.register.selection import Selection
from fretcheck.register.store import open_register
from tests.register.documents import make_document

VERSIONS = sorted(script.name[1:5] for script in (schema.MIGRATIONS / "versions").glob("v*.py"))

NEXT_STEP = """
from alembic import op
import sqlalchemy as sa

revision = "9999"
down_revision = "{newest}"


def upgrade():
    op.add_column("inspections", sa.Column("bench", sa.Text(), nullable=True))
    op.create_table("shelves", sa.Column("key", sa.Integer(), primary_key=True))
"""
BREAKING_STEP = NEXT_STEP + '    op.execute("SELECT no_such_function()")\n'


@pytest.fixture
def next_version(tmp_path, monkeypatch):
    """Makes this software one schema version newer, by a script of the given text."""

    def become(step):
        scripts = tmp_path / "later"
        shutil.copytree(schema.MIGRATIONS, scripts)
        (scripts / "versions" / "v9999_shelves.py").write_text(step.format(newest=VERSIONS[-1]))
        monkeypatch.setattr(schema, "MIGRATIONS", scripts)

    return become


def version_in(register):
    with register.transaction(write=False) as session:
        return session.execute(text("SELECT version_num FROM fretcheck_schema")).scalar_one()


def test_versions_are_one_line_and_the_newest_is_the_head():
    config = Config()
    config.set_main_option("script_location", str(schema.MIGRATIONS))
    assert ScriptDirectory.from_config(config).get_heads() == [schema.newest_version()] == [VERSIONS[-1]]


def test_the_migrated_database_is_what_the_models_say(register):
    import_module("fretcheck.register.tables")
    if find_spec("fretcheck.lots.lot_register"):
        import_module("fretcheck.lots.lot_register")
    with register.transaction(write=False) as session:
        options = {"version_table": schema.VERSION_TABLE, "compare_server_default": True}
        assert compare_metadata(MigrationContext.configure(session, opts=options), METADATA) == []


@pytest.mark.parametrize("version", VERSIONS)
def test_a_database_of_an_older_schema_opens_with_all_it_holds(place, version):
    location = find_location(place)
    engine = connect(location)
    schema.bring_up_to_date(engine, location, to=version)
    document = make_document(1).model_copy(update={"id": "260302-1"})
    with engine.begin() as connection:
        connection.execute(text(INSERT_INSPECTION))
        connection.execute(text("INSERT INTO documents (inspection_key, json) VALUES (1, :json)"), {"json": document.to_json()})
    engine.dispose()
    with open_register(place) as register:
        assert version_in(register) == schema.newest_version()
        assert register.load("260302-1") == document
        assert [one.id for one in register.select(Selection(text="fret 7"))] == ["260302-1"]


INSERT_INSPECTION = """
    INSERT INTO inspections (key, id, day, number, content_sha256, neck_name, taken_at, taken_utc, kept_utc, plan, decision,
                             limit_cents, findings, text_folded)
    VALUES (1, '260302-1', '260302', 1, 'none', 'Walnut tenor 1', '2026-03-02T10:00:00+00:00', '2026-03-02 10:00:00',
            '2026-03-02 10:05:00', 'full', 'fail', 3.0, 1, 'fret 7 sits 0.31 mm toward the bridge.')
"""


def test_a_later_version_updates_in_place_and_this_one_then_refuses(place, next_version, monkeypatch):
    with open_register(place) as register:
        kept = register.keep(make_document(1))
    these = schema.MIGRATIONS
    next_version(NEXT_STEP)
    with open_register(place) as register:
        assert version_in(register) == "9999"
        assert register.load(kept.id) == kept
        with register.transaction(write=False) as session:
            assert session.execute(text("SELECT count(*) FROM shelves")).scalar_one() == 0
    monkeypatch.setattr(schema, "MIGRATIONS", these)
    with pytest.raises(
        StorageError, match=r"written by a newer fretcheck \(schema 9999, this one knows \d{4}\): update fretcheck"
    ):
        open_register(place)


def test_an_update_that_fails_leaves_the_old_version_whole(place, next_version):
    with open_register(place) as register:
        kept = register.keep(make_document(1))
        before = version_in(register)
    next_version(BREAKING_STEP)
    with pytest.raises(StorageError, match="no_such_function"):
        open_register(place)
    location = find_location(place)
    engine = connect(location)
    with engine.connect() as connection:
        assert connection.execute(text("SELECT version_num FROM fretcheck_schema")).scalar_one() == before
        assert connection.execute(text("SELECT id FROM inspections")).scalars().all() == [kept.id]
        with pytest.raises(Exception, match="bench"):
            connection.execute(text("SELECT bench FROM inspections"))
    engine.dispose()


def test_an_empty_file_becomes_a_register(tmp_path):
    (tmp_path / "register.sqlite").touch()
    with open_register(tmp_path) as register:
        assert register.count() == 0


def test_the_database_of_another_program_is_left_alone(tmp_path):
    other = tmp_path / "other.sqlite"
    with sqlite3.connect(other) as connection:
        connection.execute("CREATE TABLE customers (name TEXT)")
    connection.close()
    before = other.read_bytes()
    with pytest.raises(StorageError, match="is a database of something else, not a register"):
        open_register(other)
    assert other.read_bytes() == before


def test_write_ahead_log_full_sync_and_foreign_keys_are_on(sqlite_register):
    with sqlite_register.transaction(write=False) as session:
        values = {
            name: session.execute(text(f"PRAGMA {name}")).scalar_one() for name in ("journal_mode", "synchronous", "foreign_keys")
        }
    assert values == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}  # sqlite.org/pragma.html: 2 is FULL (MEMORY)
