"""The terminal during a live session: its keys, and the signals that end a program.

Whatever happens, the terminal is left as it was found: cbreak mode ends with `Keys`, and a request to end the program
becomes an ordinary exit, so that every `finally` runs.
"""

import os
import re
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from types import FrameType
from typing import Any, Self

COMMANDS = {" ": "again", "b": "back", "s": "skip", "p": "pause", "q": "stop"}

# An arrow or function key arrives as several characters, none of which is to be taken for a command
_ESCAPE = re.compile(r"\x1b(?:\[[0-9;?]*[ -/]*[@-~]|O.|.)?")


def commands_in(text: str) -> list[str]:
    """Commands for the keys in `text`; others are passed over."""
    return [COMMANDS[key] for key in _ESCAPE.sub("", text).lower() if key in COMMANDS]


class Keys:
    """Hands each key's command to `put`, from a thread of its own; a context manager that restores the terminal.

    `put`: takes a command. Called with ``stop`` when the terminal is gone.
    """

    def __init__(self, put: Callable[[str], None]) -> None:
        self._put = put
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._read_windows if sys.platform == "win32" else self._read, daemon=True)
        self._saved: Any = None
        self._fd = -1

    def __enter__(self) -> Self:
        try:
            self._fd = sys.stdin.fileno()
            terminal = os.isatty(self._fd)
        except (AttributeError, OSError, ValueError):
            terminal = False
        if not terminal:
            return self
        if sys.platform != "win32":
            import termios
            import tty

            self._saved = termios.tcgetattr(self._fd)
            tty.setcbreak(self._fd)
        self._thread.start()
        return self

    def __exit__(self, *exc: object) -> None:
        self._ending.set()
        if self._thread.is_alive():
            self._thread.join(timeout=1.0)
        if self._saved is not None and sys.platform != "win32":
            import termios

            with suppress(termios.error, OSError):  # the terminal may be gone
                termios.tcsetattr(self._fd, termios.TCSADRAIN, self._saved)

    def _read(self) -> None:
        from select import select

        while not self._ending.is_set():
            try:
                ready, _, _ = select([self._fd], [], [], 0.1)
                content = os.read(self._fd, 1024) if ready else None
            except (OSError, ValueError):
                content = b""
            if content is None:
                continue
            if not content:
                self._put("stop")
                return
            for command in commands_in(content.decode(errors="replace")):
                self._put(command)

    def _read_windows(self) -> None:
        import importlib

        console: Any = importlib.import_module("msvcrt")
        while not self._ending.wait(0.05):
            typed = ""
            while console.kbhit():
                key = console.getwch()
                if key in "\x00\xe0" and console.kbhit():  # a function key: the second character is there already
                    console.getwch()
                else:
                    typed += key
            for command in commands_in(typed):
                self._put(command)


@contextmanager
def ending_in_order() -> Iterator[None]:
    """Make a request to end the program, or a closed terminal, raise SystemExit, so that everything is put back."""

    def leave(number: int, frame: FrameType | None) -> None:
        raise SystemExit(128 + number)

    names = [name for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
    saved = {name: signal.signal(getattr(signal, name), leave) for name in names}
    try:
        yield
    finally:
        for name, handler in saved.items():
            signal.signal(getattr(signal, name), handler)
