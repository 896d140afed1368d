"""kill -9 at fifty random moments: nothing accepted is lost, and the session can be resumed to its end."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import threading

import numpy as np
import pytest

from fretcheck.session.journal.outcome import inspection_of
from fretcheck.session.journal.sounds import flac_bytes, on_grid, read_flac
from fretcheck.session.journal.story import JOURNAL_NAME, read_story
from fretcheck.session.plan import make_plan
from tests.live.strings import played, three_string_neck
from tests.live.terminal import ROOT
from tests.neck_files import write_neck

pytestmark = [pytest.mark.live, pytest.mark.slow]

NECK = three_string_neck()
PLAN = make_plan(NECK, name="spot")
FIRST = ("--plan", "spot", "--no-step-back")
RATE = 16_000.0
KILLS = 50
LATEST_KILL_S = 0.8
"""A run gets through a few notes in that time, or through one where the machine is loaded."""
NOTES_A_RUN = 4


class Player:
    """Writes what the session will ask for next as a recording, each note synthesised once."""

    def __init__(self, path):
        self.path = path
        self._clips = {}

    def _clip(self, string, fret):
        if (string, fret) not in self._clips:
            recording = played(NECK, [(string, fret)], sample_rate=RATE, seconds_per_note=1.3, lead_s=0.15)
            self._clips[string, fret] = recording.samples
        return self._clips[string, fret]

    def prepare(self, story, *, most):
        """The open string first, as a resumed session asks for it, then what is left of the plan; at most `most` notes."""
        done = set() if story is None else {taken.step for taken in story.taken}
        left = [ask for step, ask in enumerate(PLAN.asks) if step not in done][:most]
        places = [(ask.string, ask.fret) for ask in left]
        if left and left[0].fret:
            places.insert(0, (left[0].string, 0))
        lead = 1e-4 * np.random.default_rng(3).standard_normal(round(0.5 * RATE))
        sound = np.concatenate([lead, *(self._clip(*place) for place in places)])
        self.path.write_bytes(flac_bytes(on_grid(sound), RATE))


@pytest.fixture
def forks():
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-m", "tests.live.forking"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=environment, cwd=ROOT) as server:
        yield server
        server.stdin.close()


def test_fifty_kills(forks, tmp_path):
    rng = np.random.default_rng(50)
    pause = threading.Event()
    write_neck(NECK, tmp_path / "neck.toml")
    player = Player(tmp_path / "sound.flac")
    output = tmp_path / "output"
    sessions = tmp_path / "data" / "sessions"

    def start(*options):
        environment = {
            "FRETCHECK_LIVE_FROM": str(player.path),
            "FRETCHECK_LIVE_PACE": "0",
            "FRETCHECK_DATA": str(tmp_path / "data"),
        }
        arguments = ["inspect", str(tmp_path / "neck.toml"), "--no-keep", *options]
        forks.stdin.write(json.dumps({"arguments": arguments, "environment": environment, "output": str(output)}) + "\n")
        forks.stdin.flush()
        return int(forks.stdout.readline())

    def ended():
        status = int(forks.stdout.readline())
        forks.stdout.readline()  # how long it took
        return status

    def begun():
        """Sessions that have their first line; a kill between the folder and that line leaves one that the program ignores."""
        journals = sessions.glob(f"*/{JOURNAL_NAME}")
        return [journal.parent for journal in journals if b"\n" in journal.read_bytes()]

    def story():
        """The newest session as it stands on the disk; None before the first, and once it is complete."""
        folders = sorted(begun())
        newest = read_story(folders[-1])[0] if folders else None
        return None if newest is None or newest.complete else newest

    def start_next(*, most):
        now = story()
        player.prepare(now, most=most)
        output.write_text("")
        return start(*(FIRST if now is None else ("--resume",)))

    known: dict[str, list] = {}
    told = killed = 0
    while killed < KILLS:
        pid = start_next(most=NOTES_A_RUN)
        pause.wait(float(rng.uniform(0.0, LATEST_KILL_S)))
        with contextlib.suppress(ProcessLookupError):  # it may have come to its end
            os.kill(pid, signal.SIGKILL)
        killed += os.WIFSIGNALED(ended())
        announced = sum(line.startswith("taken") for line in output.read_text(encoding="utf-8", errors="replace").splitlines())
        fresh = 0
        for folder in begun():
            accepted = read_story(folder)[0].accepted
            before = known.get(folder.name, [])
            assert accepted[: len(before)] == before  # all that was known is still there, unchanged
            fresh += len(accepted) - len(before)
            known[folder.name] = accepted
        assert fresh >= announced  # and so is all that this run has told of
        told += announced
    assert told >= 5  # the kills fell into work, not only into starts

    if story() is None:
        start_next(most=2)
        ended()
    start_next(most=len(PLAN.asks))
    assert os.waitstatus_to_exitcode(ended()) in (0, 1, 3), output.read_text()
    assert story() is None  # it is complete
    for folder in begun():
        last, _ = read_story(folder)
        assert last.complete
        assert last.accepted[: len(known.get(folder.name, []))] == known.get(folder.name, [])
        assert inspection_of(last).missing == ()
        for taken in last.accepted:
            samples, rate = read_flac(folder / taken.sound_file)
            assert rate == RATE
            assert len(samples) == round(last.plucks[taken.number]["duration_s"] * rate)
