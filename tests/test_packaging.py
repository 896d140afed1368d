"""What pip installs is whole: from the source archive and from the wheel made of it, outside a clone, in a fresh environment."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
OFFLINE = ("--no-index", "--no-deps", "--no-build-isolation")


def done(*words: str | Path, folder: Path) -> str:
    """The output of a command that must succeed; nothing of the clone is in its way."""
    environment = {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "FRETCHECK_REGISTER")}
    environment |= {"FRETCHECK_DATA": str(folder), "PIP_NO_COMPILE": "1", "PIP_DISABLE_PIP_VERSION_CHECK": "1"}
    words = [str(word) for word in words]
    run = subprocess.run(words, cwd=folder, env=environment, capture_output=True, text=True, timeout=280)
    assert run.returncode == 0, (words, run.stderr[-2000:])
    return run.stdout


def installed(archive: Path, place: Path) -> Path:
    """The `bin` folder of a fresh environment with an archive in it; what fretcheck depends on is this environment's."""
    done(sys.executable, "-m", "venv", "--without-pip", place, folder=place.parent)
    inside = sysconfig.get_path("purelib", vars={"base": str(place)})
    Path(inside, "what_it_depends_on.pth").write_text("\n".join(path for path in sys.path if path.endswith("site-packages")))
    python = Path(sysconfig.get_path("scripts", vars={"base": str(place)}), "python")
    pip = [sys.executable, "-m", "pip", "--python", python, "install", "-q", "--ignore-installed", *OFFLINE]
    done(*pip, archive, folder=place.parent)
    return python.parent


def contents(environment: Path) -> dict[str, bytes]:
    """What fretcheck's files hold, by their place."""
    (package,) = environment.glob("**/site-packages/fretcheck")
    return {path.relative_to(package).as_posix(): path.read_bytes() for path in package.rglob("*.*") if path.suffix != ".pyc"}


@pytest.mark.slow
def test_source_archive_and_wheel_are_installed_and_run_the_demo(tmp_path: Path) -> None:
    built = tmp_path / "built"
    done(sys.executable, "-m", "build", "--no-isolation", "--sdist", "--outdir", built, ROOT, folder=tmp_path)
    (archive,) = built.glob("*.tar.gz")
    done(sys.executable, "-m", "pip", "wheel", "-q", *OFFLINE, archive, folder=built)
    (wheel,) = built.glob("*.whl")
    fretcheck = installed(wheel, tmp_path / "from wheel") / "fretcheck"
    assert json.loads(done(fretcheck, "demo", "--json", folder=tmp_path))["findings"]
    assert (tmp_path / "demo-report.html").is_file()
    python = installed(archive, tmp_path / "from archive") / "python"
    where = done(python, "-c", "import fretcheck; print(fretcheck.__file__)", folder=tmp_path)
    assert Path(where.strip()).is_relative_to(tmp_path / "from archive")
    whole = contents(tmp_path / "from wheel")
    assert contents(tmp_path / "from archive") == whole  # the demo of one is that of the other
    assert "recordings_demo/string-1.flac" in whole
