"""Start-up stays light: what is costly to import is imported where it is used."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import fretcheck
from fretcheck.cli.lazy_group import COMMANDS
from fretcheck.cli.main import run

COSTLY = (
    "numpy",
    "scipy",
    "librosa",
    "numba",
    "matplotlib",
    "sqlalchemy",
    "sounddevice",
    "dask",
    "soundfile",
    "pydantic",
)


RUN = "from fretcheck.cli.main import run; run"


@pytest.mark.parametrize("what", ["import fretcheck", f"{RUN}(['--help'])"])
def test_nothing_costly_is_imported(what: str) -> None:
    assert loaded_by(what) == set()


def test_no_help_of_a_command_imports_what_the_work_needs() -> None:
    """Of every command and of those within it; typer itself brings pydantic to show options."""
    walk = """
from fretcheck.cli.main import build_app, run
from typer.main import get_command

root = get_command(build_app())
for name in root.commands:
    run([name, "--help"])
    for inner in getattr(root.get_command(None, name), "commands", ()):
        run([name, inner, "--help"])
"""
    assert loaded_by(walk) <= {"pydantic"}


def loaded_by(code: str) -> set[str]:
    code += f"\nimport sys\nprint('LOADED', *(name for name in {COSTLY!r} if name in sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(done.stdout.rsplit("LOADED", 1)[1].split())


def test_a_list_imports_what_it_needs(tmp_path: Path) -> None:
    """`list` and `search` are asked often: only the database is costly there, and typer brings pydantic."""
    run(["list", "--register", str(tmp_path)])
    code = f"{RUN}(['list', '--register', {str(tmp_path)!r}])"
    asked = ("alembic", "fretcheck.inspection.document", "fretcheck.register.record", *COSTLY)
    code += f"\nimport sys\nprint('LOADED', *(name for name in {asked!r} if name in sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert set(done.stdout.rsplit("LOADED", 1)[1].split()) <= {"sqlalchemy", "pydantic"}


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["--version"]) == 0
    assert capsys.readouterr().out == f"fretcheck {fretcheck.__version__}\n"


def test_every_command_is_documented() -> None:
    done = subprocess.run([sys.executable, "-m", "fretcheck", "--help"], capture_output=True, text=True, check=True)
    for name in COMMANDS:
        line = next(line for line in done.stdout.splitlines() if line.split()[:1] == [name])
        assert len(line.split()) > 3, f"{name} has no help"


def test_every_command_that_help_names_can_be_called(capsys: pytest.CaptureFixture[str]) -> None:
    for name in COMMANDS:
        assert run([name, "--help"]) == 0
        assert f" {name} " in capsys.readouterr().out


def test_a_mistyped_command_is_guessed(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["inspcet"]) == 2
    assert "'inspect'" in capsys.readouterr().err
