"""A program that has everything imported and starts `fretcheck` in a forked process as often as it is told, in milliseconds.

Each line on standard input is JSON: arguments, environment, a file for the output, and perhaps a folder to work in. Started with
``here`` the command runs in this process, so that what it imports late is there for the next. With ``kill_after_s`` the fork is
killed at that moment if it still runs. The process number is printed at once, its end (as `os.waitpid` tells it) and how long it
took afterwards.
"""

from __future__ import annotations

import contextlib
import importlib
import json
import os
import pkgutil
import signal
import sys
import time

import soundfile  # noqa: F401

import fretcheck
from fretcheck.cli.main import run

for _module in pkgutil.walk_packages(fretcheck.__path__, "fretcheck."):
    if "__main__" not in _module.name and ".migrations" not in _module.name:
        importlib.import_module(_module.name)


def obey(told: dict) -> int:
    """Run the command, its output and complaints in a file."""
    os.environ.update(told["environment"])
    os.chdir(told.get("folder", "."))
    output = os.open(told["output"], os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    os.dup2(output, 1)
    os.dup2(output, 2)
    code = run(told["arguments"])
    with contextlib.suppress(OSError, ValueError):
        sys.stdout.flush()
    return code


def serve() -> None:
    """Fork for each line until the input ends."""
    answers = os.fdopen(os.dup(1), "w")
    for line in sys.stdin:
        told = json.loads(line)
        began = time.monotonic()
        if told.get("here"):
            obey(told)
            print(os.getpid(), 0, time.monotonic() - began, sep="\n", file=answers, flush=True)
            continue
        pid = os.fork()
        if pid == 0:
            os._exit(obey(told))
        print(pid, file=answers, flush=True)
        if "kill_after_s" in told:
            time.sleep(told["kill_after_s"])
            os.kill(pid, signal.SIGKILL)  # not yet waited for, so it is still this one
        print(os.waitpid(pid, 0)[1], time.monotonic() - began, sep="\n", file=answers, flush=True)


if __name__ == "__main__":
    serve()
