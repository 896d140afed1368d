"""Which source the sound server really feeds us from.

A sound server may move a stream to another source when the first is unplugged, and PortAudio never learns of it. On Linux
the server can be asked (`pactl`, which PulseAudio and PipeWire both answer); elsewhere, and without it, nothing is known.
"""

import os
import re
import shutil
import subprocess
from typing import Any

ANSWER_WITHIN_S = 2.0


def current_route() -> str | None:
    """Name of the source that this process captures from; None when that cannot be told, or when there are several."""
    program = shutil.which("pactl")
    if program is None:
        return None
    outputs, sources = _ask(program, "source-outputs"), _ask(program, "short", "sources")
    if outputs is None or sources is None:
        return None
    numbers = {
        match[1]
        for block in re.split(r"\n(?=Source Output #)", outputs)
        if f'application.process.id = "{os.getpid()}"' in block
        and (match := re.search(r"^\s*Source: (\d+)", block, re.MULTILINE))
    }
    names = [fields[1] for line in sources.splitlines() if len(fields := line.split("\t")) > 1 and fields[0] in numbers]
    return names[0] if len(names) == 1 else None


def _ask(program: str, *what: str) -> str | None:
    how: dict[str, Any] = {"stdin": subprocess.DEVNULL, "env": os.environ | {"LC_ALL": "C"}, "timeout": ANSWER_WITHIN_S}
    try:
        return str(subprocess.run([program, "list", *what], capture_output=True, text=True, check=True, **how).stdout)
    except (OSError, subprocess.SubprocessError):
        return None
