"""A register to test with, on SQLite and on a real PostgreSQL server of the tests' own."""

from __future__ import annotations

import itertools
import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from fretcheck.register import location
from fretcheck.register.store import Register, open_register

_numbers = itertools.count(1)


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    """A private PostgreSQL server, reached through a socket in a temporary folder only: its URL."""
    programs = _postgres_programs()
    if programs is None:
        pytest.skip("PostgreSQL's initdb and pg_ctl are not installed")
    folder = Path(tempfile.mkdtemp(prefix="fretcheck-pg-", dir="/tmp"))  # a socket's path must be short
    user = None
    if os.geteuid() == 0:  # PostgreSQL refuses to run as root
        user = "postgres"
        shutil.chown(folder, user)
    environment = {"LC_ALL": "C.UTF-8", "PATH": os.environ["PATH"]}

    def run(*command: str) -> None:
        subprocess.run(command, user=user, cwd=folder, env=environment, check=True, stdout=subprocess.DEVNULL, timeout=120)

    data = str(folder / "data")
    run(str(programs / "initdb"), "-D", data, "-U", "bench", "-A", "trust", "-E", "UTF8", "--no-sync", "--no-instructions")
    options = f"-k {folder} -c listen_addresses='' -c fsync=off"
    run(str(programs / "pg_ctl"), "-D", data, "-w", "-l", str(folder / "log"), "-o", options, "start")
    try:
        yield f"postgresql://bench@/postgres?host={folder}"
    finally:
        run(str(programs / "pg_ctl"), "-D", data, "-m", "immediate", "stop")
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def postgres_place(postgres_server, tmp_path, monkeypatch) -> str:
    """URL of a new, empty schema, which to a program is like a database of its own but is made faster; sound files go to the
    test's own folder."""
    import psycopg

    monkeypatch.setattr(location, "data_folder", lambda: tmp_path)
    name = f"register_{next(_numbers)}"
    with psycopg.connect(postgres_server) as server:
        server.execute(f"CREATE SCHEMA {name}")
    return f"{postgres_server}&options=-csearch_path%3D{name}"


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def place(request, tmp_path) -> str:
    """Where a new register can be made: a path, then a PostgreSQL URL."""
    if request.param == "postgres":
        return request.getfixturevalue("postgres_place")
    return str(tmp_path / "register.sqlite")


@pytest.fixture
def register(place) -> Iterator[Register]:
    """An empty register."""
    with open_register(place) as opened:
        yield opened


@pytest.fixture
def sqlite_register(tmp_path) -> Iterator[Register]:
    """An empty register on SQLite, for what concerns files."""
    with open_register(tmp_path / "register.sqlite") as opened:
        yield opened


def _postgres_programs() -> Path | None:
    found = [path.parent for path in Path("/usr/lib/postgresql").glob("*/bin/initdb")]
    on_path = shutil.which("initdb")
    if on_path and not found:
        found.append(Path(on_path).parent)
    return max(found, key=lambda path: float(path.parent.name) if path.parent.name.isdigit() else 0, default=None)
