"""The README's lines of Python do what they say, as a plain script outside a notebook, and find the demo's faults."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]


def test_the_lines_from_python_run_as_a_script(tmp_path: Path) -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    (block,) = re.findall(r"^```python\n(.*?)^```$", readme, flags=re.MULTILINE | re.DOTALL)
    script = tmp_path / "script.py"
    script.write_text(block, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-W", "ignore", str(script)],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT), "MPLBACKEND": "Agg"},
        capture_output=True,
        text=True,
        timeout=200,
    )
    assert done.returncode == 0, done.stderr[-2000:]

    pitch, *findings = done.stdout.strip().splitlines()
    assert re.fullmatch(r"\d+\.\d\d Hz ± 0\.\d\d cents", pitch)
    assert len(findings) == 3
    for told in ("saddle of string 3", "nut", "Fret 7"):
        assert any(told in line for line in findings), (told, findings)
