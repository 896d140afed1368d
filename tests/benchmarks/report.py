"""How long a report takes: the page of one inspection, and the whole command; prints figures, asserts nothing.

    python -m tests.benchmarks.report [--register PATH|URL --id ID]

Without a register one is made, with a single inspection. "Command" is a new process, Python's start included; a report should
take 3 s at most.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from pathlib import Path

from fretcheck.register.store import open_register
from fretcheck.report.pages.report_file import report_page
from tests.benchmarks.register import timed
from tests.report import documents


def main() -> None:
    """Time the page and the command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--register")
    parser.add_argument("--id")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        place, number = options.register, options.id
        if place is None:
            place = str(Path(folder) / "register.sqlite")
            with open_register(place) as register:
                number = register.keep(documents.before()).id
        with open_register(place) as register:
            document = register.load(number)
            print(f"{register.count()} inspections in the register")
        out = str(Path(folder) / "page.html")
        command = [sys.executable, "-m", "fretcheck", "report", number, "--register", place, "--out", out]
        timed("page of an inspection", lambda: report_page(document, sheet=False))
        timed("page with the condition sheet", lambda: report_page(document, sheet=True))
        timed("command", lambda: subprocess.run(command, check=True, stdout=subprocess.DEVNULL))
        print(f"the page has {Path(out).stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main()
