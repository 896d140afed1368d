"""Keys during a live session, on Windows: a stand-in for its console module. Those of a real terminal are in `tests/live`."""

from __future__ import annotations

import os
import queue
import sys
from types import SimpleNamespace

import pytest

from fretcheck.cli.live.live_terminal import Keys


class Console:
    """What `msvcrt` offers: keys one by one, a function key as two characters, and never a wait while `kbhit` is true."""

    def __init__(self, typed):
        self._typed = list(typed)

    def kbhit(self):
        return bool(self._typed)

    def getwch(self):
        assert self._typed, "a read that would have waited for a key"
        return self._typed.pop(0)


@pytest.fixture
def keys_for(monkeypatch):
    """Makes the keys of a Windows console on which something has been typed."""
    pty = pytest.importorskip("pty")
    outer, inner = pty.openpty()

    def make(typed):
        monkeypatch.setitem(sys.modules, "msvcrt", Console(typed))
        stdin = SimpleNamespace(fileno=lambda: inner)
        monkeypatch.setattr("fretcheck.cli.live.live_terminal.sys", SimpleNamespace(platform="win32", stdin=stdin))
        heard = queue.SimpleQueue()
        return Keys(heard.put), heard

    yield make
    os.close(outer)
    os.close(inner)


@pytest.mark.parametrize(
    ("typed", "commands"),
    [
        (" bspq", ["again", "back", "skip", "pause", "stop"]),
        ("BxQ", ["back", "stop"]),
        ("\xe0H\x00;\xe0s\x00q b", ["again", "back"]),  # up, F1, and function keys whose second half is a command's letter
    ],
)
def test_keys_of_a_windows_console(keys_for, typed, commands):
    keys, heard = keys_for(typed + "p")
    with keys:
        assert [heard.get(timeout=10) for _ in commands] == commands
        assert heard.get(timeout=10) == "pause"
    assert heard.empty()


def test_a_letter_that_looks_like_a_function_key_waits_for_nothing(keys_for):
    keys, heard = keys_for("s\xe0")
    with keys:
        assert heard.get(timeout=10) == "skip"
    assert not keys._thread.is_alive()


def test_without_a_console_no_key_is_read(monkeypatch):
    with open(os.devnull, encoding="utf-8") as nothing:
        monkeypatch.setattr("fretcheck.cli.live.live_terminal.sys", SimpleNamespace(platform="win32", stdin=nothing))
        with Keys(lambda command: None) as keys:
            assert not keys._thread.is_alive()
