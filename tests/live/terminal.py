"""A terminal of its own for the real program: tmux on a private socket, without anyone's configuration, of a fixed size."""

from __future__ import annotations

import os
import shlex
import shutil
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
_POLL_S = 0.03
PATIENCE_S = 60.0
"""Never waited for when all is well; a loaded machine must not fail a test."""


class Terminal:
    """A shell in tmux; `run` types a command into it."""

    def __init__(self, folder: Path, *, columns=100, rows=30, environment=None):
        self._socket = str(folder / "tmux")
        self._pause = threading.Event()
        self._runs = 0
        self.folder = folder
        whole = {**os.environ, "PYTHONPATH": str(ROOT), "TERM": "xterm-256color", "PS1": "ready> ", "LC_ALL": "C.UTF-8"}
        for name in ("TMUX", "COLUMNS", "LINES"):  # readline, once imported, leaves a size in the environment of the tests
            whole.pop(name, None)
        whole |= environment or {}
        self._environment = whole
        self._tmux("-f", "/dev/null", "new-session", "-d", "-x", str(columns), "-y", str(rows), "sh", environment=whole)
        self._tmux("set-option", "-g", "window-size", "manual")

    def _tmux(self, *arguments, environment=None):
        return subprocess.run(
            ["tmux", "-S", self._socket, *arguments],
            check=True,
            capture_output=True,
            text=True,
            timeout=30,
            env=environment or self._environment,
        ).stdout

    def screen(self) -> str:
        """What stands on the screen now."""
        return self._tmux("capture-pane", "-p")

    def printed(self) -> str:
        """What has been printed, scrolled away or not."""
        return self._tmux("capture-pane", "-p", "-S", "-")

    def type(self, text: str) -> None:
        """Send text as keys, and Enter."""
        self._tmux("send-keys", "-l", text)
        self._tmux("send-keys", "Enter")

    def press(self, *keys: str) -> None:
        """Press keys by tmux's names for them."""
        self._tmux("send-keys", *keys)

    def resize(self, columns: int, rows: int) -> None:
        """Change the size, as a user who drags the window; the program gets SIGWINCH."""
        self._tmux("resize-window", "-x", str(columns), "-y", str(rows))

    def run(self, *arguments: str) -> None:
        """Start the program; `exit_code` waits for its end."""
        self._runs += 1
        command = shlex.join([sys.executable, "-m", "fretcheck", *arguments])
        self.type(f"{command}; echo $? > {shlex.quote(str(self._code_file))}")

    @property
    def _code_file(self) -> Path:
        return self.folder / f"code-{self._runs}"

    def exit_code(self) -> int:
        """Exit code of the program, once it has ended."""
        self.wait(
            lambda: self._code_file.exists() and self._code_file.read_text().strip() != "",
            lambda: f"the end of the program; there stands:\n{self.screen()}",
        )
        return int(self._code_file.read_text())

    def program_pid(self) -> int:
        """Process number of the running program."""
        shell = self._tmux("display-message", "-p", "#{pane_pid}").strip()
        children = Path(f"/proc/{shell}/task/{shell}/children").read_text().split()
        return int(children[-1])

    def wait_for(self, text: str) -> str:
        """Poll until `text` stands on the screen, and return the screen."""
        seen = [""]

        def there() -> bool:
            seen[0] = self.screen()
            return text in seen[0]

        self.wait(there, lambda: f"{text!r} on the screen; there stands:\n{seen[0]}")
        return seen[0]

    def wait(self, condition, what) -> None:
        """Poll until a condition holds."""
        end = time.monotonic() + PATIENCE_S
        while not condition():
            if time.monotonic() > end:
                raise AssertionError(f"waited {PATIENCE_S:.0f} s for {what() if callable(what) else what}")
            self._pause.wait(_POLL_S)

    def close(self) -> None:
        """End the shell and all that runs in it."""
        subprocess.run(["tmux", "-S", self._socket, "kill-server"], check=False, capture_output=True, timeout=30)


@pytest.fixture
def terminals(tmp_path):
    """Makes terminals, and ends them."""
    if shutil.which("tmux") is None:
        pytest.skip("tmux is not installed")
    made = []

    def make(**options) -> Terminal:
        folder = tmp_path / f"terminal-{len(made)}"
        folder.mkdir()
        made.append(Terminal(folder, **options))
        return made[-1]

    yield make
    for terminal in made:
        terminal.close()
