"""Where a register lies: a file of SQLite, or a PostgreSQL database by URL.

Conventions: what is given wins over the environment variable ``FRETCHECK_REGISTER``, which wins over the user's data folder. A
folder stands for the file ``register.sqlite`` in it. The register's folder, below which its sound files lie, is that of the
file; for PostgreSQL it is the user's data folder.
"""

import os
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import URL, make_url
from sqlalchemy.exc import ArgumentError

from fretcheck.errors import UsageError
from fretcheck.folders import data_folder

ENVIRONMENT_VARIABLE = "FRETCHECK_REGISTER"
FILE_NAME = "register.sqlite"


@dataclass(frozen=True, kw_only=True)
class Location:
    """A register's place. Exactly one of `file` and `url` is known."""

    folder: Path
    file: Path | None = None
    url: URL | None = None
    given: bool = True  # False for the default place, which may always be made

    def __str__(self) -> str:
        """For messages; never shows a password."""
        return str(self.file) if self.url is None else self.url.set(drivername="postgresql").render_as_string(hide_password=True)


def find_location(given: str | Path | None) -> Location:
    """Where the register lies. Raises UsageError for a URL that is none, or of a kind of database that is not supported."""
    chosen = given or os.environ.get(ENVIRONMENT_VARIABLE) or None
    if chosen is None:
        return Location(folder=data_folder(), file=data_folder() / FILE_NAME, given=False)
    if isinstance(chosen, str) and "://" in chosen:
        url = _url(chosen)
        if url.drivername.startswith("postgresql"):
            return Location(folder=data_folder(), url=url.set(drivername="postgresql+psycopg"))
        if not url.database or url.database == ":memory:":
            raise UsageError("sqlite:// needs a path, three slashes and the file: sqlite:///necks/register.sqlite")
        chosen = url.database
    if "\0" in str(chosen):
        raise UsageError(f"{str(chosen)!r} is no path: it holds a NUL character")
    try:
        path = Path(chosen).expanduser().absolute()
    except RuntimeError:
        raise UsageError(f"{chosen}: there is no such user's home here; write the path out") from None
    if path.is_dir():
        path /= FILE_NAME
    return Location(folder=path.parent, file=path)


def _url(text: str) -> URL:
    scheme = text.partition("://")[0].partition("+")[0].lower()
    if scheme not in ("sqlite", "postgresql", "postgres"):
        raise UsageError(
            f"a register by URL is sqlite:///PATH or postgresql://USER@HOST/DATABASE; {scheme or 'nothing'}:// is not known"
        )
    try:
        return make_url("postgresql" + text[len("postgres") :] if scheme == "postgres" else text)
    except (ArgumentError, ValueError):
        raise UsageError("the register's URL cannot be read: write postgresql://USER@HOST:PORT/DATABASE") from None
