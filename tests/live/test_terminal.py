"""The real program in a real terminal, with a recording in place of the microphone: keys, sizes, and every way to end."""

from __future__ import annotations

import os
import re
import signal
import subprocess

import pytest

from fretcheck.session.journal.story import read_story

pytestmark = pytest.mark.live


@pytest.fixture
def bench(terminals, bench_folder, tmp_path):
    """A terminal in which the bench recording is heard, and the folder of its sessions."""

    def make(*, pace="1", environment=None, **size):
        environment = {
            "FRETCHECK_LIVE_FROM": str(bench_folder / "spot.flac"),
            "FRETCHECK_LIVE_PACE": pace,
            "FRETCHECK_DATA": str(tmp_path / "data"),
            **(environment or {}),
        }
        terminal = terminals(environment=environment, **size)
        terminal.neck = str(bench_folder / "neck.toml")
        terminal.data = tmp_path / "data"
        return terminal

    return make


def the_story(terminal):
    (folder,) = (terminal.data / "sessions").iterdir()
    return read_story(folder)[0]


def terminal_settings(terminal):
    """What `stty` says of the terminal, in its own words."""
    path = terminal.folder / "stty"
    path.unlink(missing_ok=True)
    terminal.type(f"stty -a > {path}; echo settings-told")
    terminal.wait(lambda: path.exists() and "lnext" in path.read_text() and path.read_text().endswith("\n"), "the settings")
    return re.sub(r"rows \d+; columns \d+;", "", path.read_text())


def test_a_session_in_a_small_terminal_steps_on_by_itself_and_ends_in_a_verdict(bench):
    terminal = bench(columns=80, rows=24, pace="2")
    terminal.run("inspect", terminal.neck, "--plan", "spot", "--strings", "3", "--no-keep")
    terminal.wait_for("LISTENING")
    screen = terminal.wait_for("TAKEN")
    assert "STRING" in screen
    assert "of 5 done" in screen
    assert "q stop and keep" in screen.rstrip().splitlines()[-1]
    assert terminal.exit_code() in (0, 1, 3)
    story = the_story(terminal)
    assert story.complete
    assert [taken.ask.fret for taken in story.taken] == [0, 1, 5, 12, 0]
    assert "Three-string bench neck  (TB-003)" in terminal.printed()


def test_the_figures_are_fifteen_rows_high_in_a_hundred_by_thirty_and_follow_the_size(bench):
    # a shell that exports the size it had at first must not keep the screen at that
    terminal = bench(pace="0.01", environment={"COLUMNS": "70", "LINES": "18"})
    terminal.run("inspect", terminal.neck, "--plan", "spot", "--no-keep")
    terminal.wait_for("PLUCK")

    def figure_rows():
        return sum(bool(re.search("[█▀▄]{3}", line[:60])) for line in terminal.screen().splitlines())

    terminal.wait(
        lambda: figure_rows() >= 15,  # a capture may catch a frame half drawn
        lambda: f"figures fifteen rows high; there stands:\n{terminal.screen()}",
    )
    for columns, rows, least in ((80, 24, 10), (140, 50, 20), (60, 16, 3), (100, 30, 15)):
        terminal.resize(columns, rows)
        terminal.wait(
            lambda rows=rows, least=least: (
                figure_rows() >= least
                and "space again" in terminal.screen().splitlines()[rows - 1]
                and terminal.screen().splitlines()[0].startswith("Three")
            ),
            f"the screen in {columns}x{rows}",
        )
    terminal.press("q")
    terminal.exit_code()


def test_keys(bench):
    terminal = bench(pace="0.01")  # so slow that nothing is heard: only keys act
    terminal.run("inspect", terminal.neck, "--plan", "spot", "--no-keep")
    terminal.wait_for("String 3 open (G3)")
    terminal.press("s")
    terminal.wait_for("String 3, fret 1 (G#3)")
    terminal.press("s")
    terminal.wait_for("String 3, fret 5 (C4)")
    terminal.press("b")
    terminal.wait_for("One back. String 3, fret 1 (G#3)")
    terminal.press("p")
    terminal.wait_for("PAUSED")
    terminal.press("s")  # nothing but p while paused
    terminal.press("p")
    terminal.wait_for("PLUCK  String 3, fret 1 (G#3)")
    terminal.press("Up", "F5", "x")  # keys that mean nothing
    terminal.press("Space")
    terminal.wait_for("PLUCK  String 3, fret 1 (G#3)")
    terminal.press("q")
    assert terminal.exit_code() in (0, 2, 3)
    story = the_story(terminal)
    assert not story.complete
    assert story.skipped == {0}  # the first was skipped; the second was gone back to


@pytest.mark.parametrize(
    ("how", "code"), [("C-c", 130), (signal.SIGTERM, 143), (signal.SIGHUP, 129)], ids=["ctrl-c", "terminated", "hung up"]
)
def test_the_terminal_is_restored_and_the_session_kept_and_resumed(bench, how, code):
    terminal = bench(pace="4")
    before = terminal_settings(terminal)
    terminal.run("inspect", terminal.neck, "--plan", "spot", "--strings", "2,3", "--no-keep")
    terminal.wait_for("TAKEN")
    if isinstance(how, str):
        terminal.press(how)
    else:
        os.kill(terminal.program_pid(), how)
    assert terminal.exit_code() == code
    screen = terminal.wait_for("--resume")
    assert "kept in session" in screen
    assert "space again" not in screen  # the alternate screen is gone
    assert terminal_settings(terminal) == before
    kept = len(the_story(terminal).taken)
    assert kept >= 1
    assert not the_story(terminal).complete
    if how != "C-c":
        return  # the session lies there all the same; that it goes on is seen once here and often in `test_kill`
    terminal.run("inspect", terminal.neck, "--resume", "--no-keep")
    assert terminal.exit_code() in (0, 1, 3)
    assert the_story(terminal).complete
    assert len(the_story(terminal).taken) >= 10


def test_a_closed_terminal_loses_nothing(bench):
    terminal = bench(pace="6")
    terminal.run("inspect", terminal.neck, "--plan", "spot", "--no-keep")
    terminal.wait_for("TAKEN")
    pid = terminal.program_pid()
    terminal.close()
    terminal.wait(lambda: not os.path.exists(f"/proc/{pid}"), "the end of the program")
    story = the_story(terminal)
    assert len(story.taken) >= 1
    assert not story.complete


def test_without_a_terminal_there_are_plain_lines(bench, bench_folder, tmp_path):
    environment = os.environ | {
        "FRETCHECK_LIVE_FROM": str(bench_folder / "spot.flac"),
        "FRETCHECK_LIVE_PACE": "0",
        "FRETCHECK_DATA": str(tmp_path / "data"),
        "PYTHONIOENCODING": "utf-8",
    }
    import sys

    arguments = ["inspect", str(bench_folder / "neck.toml"), "--plan", "spot", "--strings", "3", "--no-keep"]
    done = subprocess.run(
        [sys.executable, "-m", "fretcheck", *arguments], env=environment, capture_output=True, text=True, timeout=100, check=False
    )
    assert done.returncode in (0, 1, 3)
    assert done.stderr == ""
    lines = done.stdout.splitlines()
    assert lines[0] == "pluck     string 3 open (G3)"
    assert sum(line.startswith("taken") for line in lines) == 5
    assert "\x1b" not in done.stdout


def test_json_is_alone_on_standard_output(bench_folder, tmp_path):
    import json
    import sys

    environment = os.environ | {
        "FRETCHECK_LIVE_FROM": str(bench_folder / "spot.flac"),
        "FRETCHECK_LIVE_PACE": "0",
        "FRETCHECK_DATA": str(tmp_path / "data"),
    }
    arguments = ["inspect", str(bench_folder / "neck.toml"), "--plan", "spot", "--strings", "3", "--keep", "--json"]
    done = subprocess.run(
        [sys.executable, "-m", "fretcheck", *arguments], env=environment, capture_output=True, text=True, timeout=100, check=False
    )
    document = json.loads(done.stdout)
    assert document["conditions"]["plan"] == "spot"
    assert len([r for r in document["readings"] if r["used"]]) == 5
    assert "taken     string 3" in done.stderr
    # the kept inspection leads back to the session's sounds
    again = subprocess.run(
        [sys.executable, "-m", "fretcheck", "inspect", "--again", document["id"], "--no-keep", "--json"],
        env=environment,
        capture_output=True,
        text=True,
        timeout=100,
        check=False,
    )
    assert [r["f1_hz"] for r in json.loads(again.stdout)["readings"]] == [r["f1_hz"] for r in document["readings"]]


def test_a_full_disk_is_one_line_and_costs_nothing_that_was_accepted(bench):
    """A limit on the size of files stands in for the full disk: journal lines still fit, the sound of a pluck does not."""
    terminal = bench(pace="2")  # so that even on a busy machine the key comes before the last note
    terminal.run("inspect", terminal.neck, "--plan", "spot", "--no-keep")
    terminal.wait_for("TAKEN")
    terminal.press("C-c")
    terminal.exit_code()
    kept = the_story(terminal).taken
    assert len(kept) >= 1
    terminal.type("export FRETCHECK_LIVE_PACE=6; ulimit -f 40")  # in units of 512 bytes
    terminal.run("inspect", terminal.neck, "--resume", "--no-keep")
    assert terminal.exit_code() == 4
    said = "cannot be written: File too large; what was accepted before is safe"
    assert "".join(said.split()) in "".join(terminal.printed().split())  # a long path wraps the line anywhere
    assert the_story(terminal).taken == kept
