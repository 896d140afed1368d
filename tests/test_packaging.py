"""What pip installs is whole: built from the source archive, outside a clone, it runs the demo."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


@pytest.mark.slow
def test_a_wheel_made_from_the_source_archive_runs_the_demo(tmp_path: Path) -> None:
    built = tmp_path / "built"
    command = [sys.executable, "-m", "build", "--outdir", str(built), str(ROOT)]  # the archive, then the wheel out of the archive
    done = subprocess.run(command, capture_output=True, text=True, timeout=280)
    assert done.returncode == 0, done.stderr[-2000:]
    assert len(list(built.glob("*.tar.gz"))) == 1
    site = tmp_path / "site"
    with zipfile.ZipFile(next(built.glob("*.whl"))) as wheel:
        wheel.extractall(site)
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    environment = {**os.environ, "PYTHONPATH": str(site), "FRETCHECK_DATA": str(elsewhere)}
    where = subprocess.run(
        [sys.executable, "-c", "import fretcheck; print(fretcheck.__file__)"],
        cwd=elsewhere, env=environment, capture_output=True, text=True, timeout=60, check=True,
    )  # fmt: skip
    assert Path(where.stdout.strip()).is_relative_to(site)
    demo = subprocess.run(
        [sys.executable, "-m", "fretcheck", "demo", "--json"],
        cwd=elsewhere,
        env=environment,
        capture_output=True,
        text=True,
        timeout=280,
    )
    assert demo.returncode == 0, demo.stderr[-2000:]
    assert json.loads(demo.stdout)["findings"]
    assert (elsewhere / "demo-report.html").is_file()
