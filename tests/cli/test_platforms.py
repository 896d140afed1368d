"""Windows and macOS, faked: the modules see an `os`, `sys` and `signal` that lack what those systems lack.

What a system lacks is from the Python Library Reference ("Availability: Unix", "not available on macOS"), from memory. The fake
shows that no call is missing there; it does not show that the systems behave as expected. Keys of a Windows console have tests of
their own (test_live_terminal.py).
"""

from __future__ import annotations

import ast
import importlib
import os
import pkgutil
import signal
import sys
from pathlib import Path
from types import ModuleType, SimpleNamespace

import pytest
import soundfile

import fretcheck
from fretcheck.cli.live.live_terminal import ending_in_order
from fretcheck.cli.main import run
from fretcheck.errors import UsageError
from fretcheck.files import read_whole
from tests.live.strings import played, three_string_neck
from tests.neck_files import write_neck

UNIX_MODULES = ("fcntl", "grp", "pty", "pwd", "resource", "syslog", "termios", "tty")
LACKING = {
    "win32": {
        "os": (
            "O_NONBLOCK", "O_CLOEXEC", "O_DIRECTORY", "O_NOFOLLOW", "O_SYNC", "chown", "fchdir", "fchmod", "fchown", "fork",
            "forkpty", "getegid", "geteuid", "getgid", "getgroups", "getloadavg", "getpgid", "getpgrp", "getpriority", "getuid",
            "killpg", "lchown", "mkfifo", "mknod", "nice", "openpty", "pathconf", "pipe2", "posix_fadvise", "posix_fallocate",
            "posix_spawn", "pread", "pwrite", "register_at_fork", "sched_getaffinity", "sched_setaffinity", "sched_yield",
            "sendfile", "setegid", "seteuid", "setgid", "setpgid", "setpriority", "setsid", "setuid", "statvfs", "sync",
            "sysconf", "tcgetpgrp", "ttyname", "uname", "wait", "wait3", "wait4", "WIFSIGNALED", "WEXITSTATUS",
        ),
        "signal": (
            "SIGALRM", "SIGBUS", "SIGCHLD", "SIGCONT", "SIGHUP", "SIGKILL", "SIGPIPE", "SIGQUIT", "SIGSTOP", "SIGTSTP",
            "SIGTTIN", "SIGTTOU", "SIGUSR1", "SIGUSR2", "SIGWINCH", "alarm", "pause", "pthread_kill", "pthread_sigmask",
            "setitimer", "siginterrupt", "sigpending", "sigtimedwait", "sigwait",
        ),
    },
    "darwin": {
        "os": (
            "O_DIRECT", "O_TMPFILE", "copy_file_range", "eventfd", "getrandom", "memfd_create", "pipe2", "posix_fadvise",
            "posix_fallocate", "sched_getaffinity", "sched_setaffinity", "splice",
        ),
        "signal": ("SIGRTMAX", "SIGRTMIN", "sigtimedwait", "sigwaitinfo"),
    },
}  # fmt: skip
EVERYWHERE = [
    importlib.import_module(one.name)
    for one in pkgutil.walk_packages(fretcheck.__path__, "fretcheck.")
    if "__main__" not in one.name and ".migrations" not in one.name
]


def without(module: ModuleType, names: tuple[str, ...], **changed: object) -> SimpleNamespace:
    return SimpleNamespace(**{name: value for name, value in vars(module).items() if name not in names} | changed)


@pytest.fixture(params=["win32", "darwin"])
def platform(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """The name of a system whose lacks every module of fretcheck has."""
    chosen: str = request.param
    fakes = {
        "os": without(os, LACKING[chosen]["os"], name="nt" if chosen == "win32" else "posix"),
        "signal": without(signal, LACKING[chosen]["signal"]),
    }
    for module in EVERYWHERE:
        for name, fake in fakes.items():
            if getattr(module, name, None) is sys.modules[name]:
                monkeypatch.setattr(module, name, fake)
    if chosen == "win32":
        for name in UNIX_MODULES:
            monkeypatch.setitem(sys.modules, name, None)  # an import of it fails
    return chosen


def test_every_command_finds_its_calls(
    platform: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("FRETCHECK_DATA", "data")
    monkeypatch.delenv("FRETCHECK_REGISTER", raising=False)
    neck = three_string_neck(frets=3)
    write_neck(neck, tmp_path / "neck.toml")
    (tmp_path / "sounds").mkdir()
    for string in (1, 2, 3):
        sound = played(neck, [(string, fret) for fret in (0, 1, 2, 3, 0)], sample_rate=16_000.0, seconds_per_note=1.2)
        soundfile.write(tmp_path / "sounds" / f"string-{string}.flac", sound.samples, 16_000)
    for line in (
        "neck --start ukulele --out ukulele.toml", "neck --start ukulele --out ukulele.toml --force", "layout neck.toml",
        "note sounds/string-1.flac", "inspect neck.toml --from sounds --keep --report page.html", "list", "search bench",
        "export --to all.json", "export --to all.csv", "export --to all.csv", "import all.json", "backup copy.sqlite",
        "lot open March --serials TB-001..TB-009 --sample 3 --draw", "lot show March --html lot.html --csv lot.csv",
        "gauge open Spring --necks TB-001..TB-003 --operator Ann",
    ):  # fmt: skip
        assert run(line.split()) in (0, 1, 3), (platform, line, capsys.readouterr())
    if platform == "win32":  # opening a folder is a refused permission there
        monkeypatch.setattr("fretcheck.files.os.open", lambda *told: (_ for _ in ()).throw(PermissionError(13, "denied")))
        with pytest.raises(UsageError, match="is a folder"):
            read_whole(tmp_path / "sounds", most_bytes=10, refuse=UsageError)


def test_a_session_is_kept(platform: str, tmp_path: Path) -> None:
    """The journal and its lock, opened, closed and opened again."""
    from fretcheck.session.journal.journal import Journal
    from fretcheck.session.plan import make_plan

    neck = three_string_neck()
    with Journal.create(tmp_path / "sessions", neck, make_plan(neck, name="spot")) as journal:
        journal.begin_part(device="microphone", sample_rate=48_000.0)
        journal.skip(0)
    with Journal.open(journal.folder) as again:
        assert again.story.parts[0]["device"] == "microphone"


def test_requests_to_end_are_heard_where_there_are_such(platform: str) -> None:
    before = signal.getsignal(signal.SIGTERM)
    with pytest.raises(SystemExit), ending_in_order():
        signal.raise_signal(signal.SIGTERM)
    assert signal.getsignal(signal.SIGTERM) == before


def test_no_call_of_unix_stands_without_its_counterpart() -> None:
    """Every name that Windows lacks is asked for with getattr, or stands in the reading of a POSIX terminal."""
    lacking = {(module, name) for module, names in LACKING["win32"].items() for name in names}
    found = set()
    for file in sorted(Path(fretcheck.__file__).parent.rglob("*.py")):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and (node.value.id, node.attr) in lacking:
                found.add((file.name, f"{node.value.id}.{node.attr}"))
            names = [one.name for one in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
                found |= {(file.name, f"{node.module}.{one.name}") for one in node.names if (node.module, one.name) in lacking}
            found |= {(file.name, name) for name in names if name in UNIX_MODULES}
    assert found == {("live_terminal.py", "termios"), ("live_terminal.py", "tty")}, "beside each of them `_read_windows` stands"
