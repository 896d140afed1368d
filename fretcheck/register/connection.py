"""Connections to the register's database, and what its errors mean.

Conventions: SQLite runs with foreign keys enforced, a write-ahead log (readers never wait for a writer), full synchronisation
(what was committed survives loss of power) and a busy timeout, so that two processes at once wait for each other. A transaction
opened for writing takes the write lock at its start (``BEGIN IMMEDIATE``; on PostgreSQL an advisory lock of the transaction),
so it never fails half-way for another writer. (sqlite.org, "Write-Ahead Logging" and "Transaction", from memory.)
"""

import os
import sqlite3
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.exc import DBAPIError
from sqlalchemy.pool import QueuePool

from fretcheck.errors import FretcheckError, StorageError, UsageError
from fretcheck.register.location import Location

BUSY_TIMEOUT_S = 30.0
WRITE_OPTION = "fretcheck_write"
_ADVISORY_LOCK = 0x66726574  # any fixed number that nobody else in the database is likely to use


def connect(location: Location) -> Engine:
    """An engine for the register at `location`; nothing is opened yet.

    Raises StorageError when the folder cannot be made, or the driver for PostgreSQL is not installed.
    """
    if location.file is not None:
        engine = _sqlite_engine(location.file)
    else:
        try:
            engine = create_engine(location.url or "", connect_args={"connect_timeout": 10}, pool_pre_ping=True)
        except ImportError as error:
            raise StorageError(
                "a register on PostgreSQL needs the driver psycopg: pip install 'fretcheck[postgres]'", path=str(location)
            ) from error

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        writes = bool(connection.get_execution_options().get(WRITE_OPTION))
        if connection.dialect.name == "sqlite":
            connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
        elif writes:
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_ADVISORY_LOCK})")

    return engine


def is_read_only(file: Path) -> bool:
    """Whether the database file exists and may not be written."""
    return file.exists() and not _writable(file)


def _sqlite_engine(file: Path) -> Engine:
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StorageError(f"the register's folder {file.parent} cannot be made: {error.strerror or error}", path=file) from error
    uri = file.as_uri()
    if is_read_only(file):
        # Without its log beside it nobody has the database open, and no log need be (or can be) made to read it.
        uri += "?mode=ro" if Path(f"{file}-wal").exists() else "?mode=ro&immutable=1"

    def open_file() -> sqlite3.Connection:
        connection = sqlite3.connect(uri, uri=True, timeout=BUSY_TIMEOUT_S, isolation_level=None, check_same_thread=False)
        connection.execute("PRAGMA foreign_keys=ON")
        connection.execute("PRAGMA synchronous=FULL")
        return connection

    return create_engine("sqlite+pysqlite://", creator=open_file, poolclass=QueuePool)


def storage_error(error: BaseException, location: Location) -> FretcheckError:
    """What a database error means, in one line with its cure."""
    original: Any = error.orig if isinstance(error, DBAPIError) and error.orig is not None else error
    if isinstance(original, OverflowError):
        return UsageError(f"a number is too large for the register: {original}")
    code = str(getattr(original, "sqlite_errorname", None) or getattr(original, "sqlstate", None) or "")
    if code.startswith("SQLITE_CANTOPEN"):
        cause = "is it a folder, or of another user?" if _writable(location.folder) else "its folder is read-only"
        reason = f"cannot be opened: {cause}"
    else:
        first_line = next(iter(str(original).strip().splitlines()), type(original).__name__)
        how = "is not open to this user" if code == "42501" else "reports" if code or location.file else "cannot be opened"
        reason = next((why for start, why in _REASONS.items() if code.startswith(start)), f"{how}: {first_line}")
    return StorageError(f"the register {location} {reason}", path=location.file or str(location))


_READ_ONLY = "cannot be written: the file or its folder is read-only"
_BUSY = f"is in use: another process has been writing for more than {BUSY_TIMEOUT_S:g} s"
_REASONS = {  # by the beginning of SQLite's name of the error, or PostgreSQL's SQLSTATE
    "SQLITE_NOTADB": "is not a database: choose another file, or bring back a backup",
    "SQLITE_CORRUPT": "is damaged: keep the file, and bring back a backup",
    "SQLITE_FULL": "cannot be written: the disk is full; nothing of this was kept, what was kept before is safe",
    "SQLITE_READONLY": _READ_ONLY,
    "SQLITE_PERM": _READ_ONLY,
    "SQLITE_BUSY": _BUSY,
    "SQLITE_LOCKED": _BUSY,
    "SQLITE_IOERR": "cannot be read or written: the disk reports an error (full, damaged or gone)",
    "53100": "cannot be written: the server's disk is full",
    "25006": "cannot be written: the server allows reading only",
}


def _writable(path: Path) -> bool:
    return os.access(path, os.W_OK, effective_ids=os.access in os.supports_effective_ids)
