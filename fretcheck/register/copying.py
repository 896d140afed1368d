"""A copy of the whole register while others may go on writing.

Conventions: SQLite: the sound files, then the online backup of the database into one file beside them, so that the copy is a
register itself as soon as it has its name; interrupted before, it can be run again. What is committed while the copy runs is in
it or not, each inspection whole. PostgreSQL: an export as JSON, which `import` reads back; the server's own tools make any
other kind.
"""

import os
import sqlite3
from contextlib import closing
from pathlib import Path

from fretcheck.errors import StorageError, UsageError
from fretcheck.files import replacing
from fretcheck.register.connection import storage_error
from fretcheck.register.sound_files import SOUND_FOLDER, copy_whole
from fretcheck.register.store import Register


def back_up(register: Register, path: Path) -> int:
    """Copy `register` to the new file `path`, and return how many inspections the copy holds.

    Raises UsageError when `path` exists already, or is not one that this register can be copied to; StorageError when it cannot
    be written, or the register turns out to be damaged.
    """
    if os.path.lexists(path):
        raise UsageError(f"{path} exists already: name a new file")
    with replacing(path) as partial:
        if register.location.file is None:
            if path.suffix.lower() != ".json":
                raise UsageError(
                    f"a register on PostgreSQL is backed up as JSON: name a file that ends in .json, not {path.name} "
                    "(or use the server's own backup)"
                )
            with partial.open("w", encoding="utf-8", newline="\n") as stream:
                return register.export_json(stream)
        _copy_sounds(register.folder, path.parent)
        count = _copy_database(register, partial)
        _copy_sounds(register.folder, path.parent)  # those of inspections that were kept meanwhile
    return count


def _copy_database(register: Register, partial: Path) -> int:
    with register.transaction(write=False) as connection:
        source = connection.connection.driver_connection
        assert isinstance(source, sqlite3.Connection)
        try:
            with closing(sqlite3.connect(partial)) as target:
                source.backup(target)
                fault = target.execute("PRAGMA integrity_check(1)").fetchone()[0]
                count = int(target.execute("SELECT count(*) FROM inspections").fetchone()[0])
        except sqlite3.Error as error:
            raise storage_error(error, register.location) from error
    if fault != "ok":
        raise StorageError(
            f"the register {register.location} is damaged ({' '.join(fault.split())}): no backup was made",
            path=register.location.file,
        )
    return count


def _copy_sounds(source: Path, target: Path) -> None:
    for file in sorted((source / SOUND_FOLDER).glob("*-*")):
        copy_whole(file, target / SOUND_FOLDER / file.name)
