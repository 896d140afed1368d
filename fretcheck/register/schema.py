"""The version of the database's schema: brought up to date on opening, refused when newer than this software.

Conventions: versions are the numbers of the scripts ``migrations/versions/vNNNN_what.py``, in one line without branches. The
database's own version lies in the table ``fretcheck_schema``. All steps of an update happen in one transaction under the write
lock: a crash leaves the old version whole, and two processes that open an old register at once update it once.
"""

import sqlite3
from pathlib import Path

from sqlalchemy import Connection, Engine, inspect, text

from fretcheck.errors import StorageError
from fretcheck.register.connection import WRITE_OPTION, storage_error
from fretcheck.register.location import Location

MIGRATIONS = Path(__file__).parent / "migrations"
VERSION_TABLE = "fretcheck_schema"


def newest_version() -> str:
    """The schema version that this software works with, such as ``0001``."""
    return max(script.name[1:5] for script in (MIGRATIONS / "versions").glob("v[0-9][0-9][0-9][0-9]_*.py"))


def bring_up_to_date(engine: Engine, location: Location, *, read_only: bool = False, to: str | None = None) -> None:
    """Create or update the schema, up to `to` (the newest, unless told).

    Raises StorageError for a database that is newer than this software, that belongs to something else, or is old and cannot be
    written.
    """
    wanted = to or newest_version()
    with engine.connect() as connection:
        found = _version_of(connection, location)
    if found == wanted:
        return
    if read_only:
        raise StorageError(
            f"the register {location} has the older schema {found or '(none)'} and is read-only: "
            "copy it to where it can be written, and open the copy",
            path=location.file,
        )
    if engine.dialect.name == "sqlite":
        _use_write_ahead_log(engine, location)
    with engine.execution_options(**{WRITE_OPTION: True}).begin() as connection:
        if _version_of(connection, location) != wanted:
            _migrate(connection, wanted)


def _version_of(connection: Connection, location: Location) -> str | None:
    """The database's schema version; None for an empty database."""
    tables = inspect(connection)
    if not tables.has_table(VERSION_TABLE):
        if connection.dialect.name == "sqlite" and tables.get_table_names():
            raise StorageError(
                f"{location} is a database of something else, not a register: choose another file", path=location.file
            )
        return None
    version = connection.execute(text(f"SELECT version_num FROM {VERSION_TABLE}")).scalar()  # a constant name
    if version is not None and str(version) > newest_version():
        raise StorageError(
            f"the register {location} was written by a newer fretcheck (schema {version}, this one knows {newest_version()}): "
            "update fretcheck",
            path=location.file,
        )
    return None if version is None else str(version)


def _use_write_ahead_log(engine: Engine, location: Location) -> None:
    """Persistent in the file. Where a file system cannot do it, SQLite stays with its rollback journal, which is safe too."""
    connection = engine.raw_connection()
    try:
        connection.cursor().execute("PRAGMA journal_mode=WAL")
    except sqlite3.Error as error:
        if not getattr(error, "sqlite_errorname", "").startswith("SQLITE_BUSY"):  # then another process is at this very step
            raise storage_error(error, location) from error
    finally:
        connection.close()


def _migrate(connection: Connection, wanted: str) -> None:
    from alembic import command  # seldom needed, and slow to import
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, wanted)
