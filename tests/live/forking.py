"""A program that has everything imported and starts `fretcheck` in a forked process as often as it is told, in milliseconds.

Each line on standard input is JSON: arguments, environment and a file for the output. The process number is printed at once,
its end (as `os.waitpid` tells it) afterwards.
"""

from __future__ import annotations

import json
import os
import sys

import scipy.optimize
import scipy.signal  # noqa: F401
import soundfile  # noqa: F401

import fretcheck.cli.inspect
import fretcheck.cli.live_display
import fretcheck.cli.live_source
import fretcheck.diagnosis.diagnose
import fretcheck.inspection.assemble
import fretcheck.session.live
import fretcheck.session.outcome  # noqa: F401
from fretcheck.cli.main import run


def serve() -> None:
    """Fork for each line until the input ends."""
    for line in sys.stdin:
        told = json.loads(line)
        pid = os.fork()
        if pid == 0:
            os.environ.update(told["environment"])
            output = os.open(told["output"], os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
            os.dup2(output, 1)
            os.dup2(output, 2)
            os._exit(run(told["arguments"]))
        print(pid, flush=True)
        print(os.waitpid(pid, 0)[1], flush=True)


if __name__ == "__main__":
    serve()
