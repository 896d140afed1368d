"""`fretcheck devices` on the real capture path."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from rich.console import Console

from fretcheck.cli.main import run
from fretcheck.report.tables.devices_table import meter
from tests.audio import streams
from tests.sound_server import sound_server  # noqa: F401

pytestmark = pytest.mark.live

WAIT_S = 120.0
RATE = 48_000
COMMAND = ["-c", "from fretcheck.cli.main import main; main()", "devices"]


def devices(server, *arguments, env=None):
    return subprocess.run(
        [sys.executable, *COMMAND, *arguments],
        env=server.environment | (env or {}),
        capture_output=True,
        text=True,
        timeout=WAIT_S,
    )


def started(server, *arguments):
    return subprocess.Popen(
        [sys.executable, *COMMAND, *arguments],
        env=server.environment | {"PYTHONUNBUFFERED": "1"},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def test_lists_inputs_with_rates(sound_server):  # noqa: F811
    done = devices(sound_server, "--json")
    assert (done.returncode, done.stderr) == (0, "")
    document = json.loads(done.stdout)
    assert document["schema"] == "fretcheck/devices/1"
    by_name = {item["name"]: item for item in document["inputs"]}
    assert {"bench", "spare", "default"} <= set(by_name)
    assert {44_100, 48_000, 96_000} <= set(by_name["bench"]["rates_hz"])
    table = devices(sound_server)
    assert (table.returncode, table.stderr) == (0, "")
    assert "bench" in table.stdout
    assert max(len(line) for line in table.stdout.splitlines()) <= 80


def test_check_says_fit_and_is_heard_to_the_end(sound_server, rng):  # noqa: F811
    stream = streams.string_stream(rng, f1_hz=(110.0, 147.0), levels_db=(0.0,), lead_s=2.0, noise_db=-70.0, sample_rate=RATE)
    with started(sound_server, "--device", "bench", "--rate", str(RATE), "--check", "--seconds", "6") as process:
        assert "keep quiet for two seconds, then pluck" in process.stdout.readline()
        sound_server.play(stream.samples, RATE)
        text, errors = process.communicate(timeout=WAIT_S)
        assert (process.returncode, errors) == (0, "")
    assert "Plucks heard" in text
    assert "FIT FOR WORK" in text


def test_check_of_a_muted_input(sound_server):  # noqa: F811
    done = devices(sound_server, "--device", "bench", "--check", "--seconds", "1", "--json")
    assert done.returncode == 1
    document = json.loads(done.stdout)
    assert document["grade"] == "unfit"
    assert document["signal_dbfs"] is None
    assert document["reason_unknown"] == "no pluck was heard"
    assert "Nothing but zeros" in document["remarks"][0]["sentence"]


def test_listen_saves_what_came_in(sound_server, tmp_path, rng):  # noqa: F811
    noise = 0.1 * rng.standard_normal(3 * RATE).astype("<f4")
    path = tmp_path / "heard.flac"
    with started(sound_server, "--device", "bench", "--rate", str(RATE), "--listen", str(path), "--seconds", "2") as process:
        assert "Listening to 'bench' for 2 s" in process.stdout.readline()
        sound_server.play(noise, RATE)
        text, errors = process.communicate(timeout=WAIT_S)
        assert (process.returncode, errors) == (0, "")
    assert "Listen at a low volume first" in text
    heard, rate = soundfile.read(path)
    assert rate == RATE
    assert len(heard) == pytest.approx(2 * RATE, abs=1024)
    start = int(np.flatnonzero(heard)[0])
    shared = len(heard) - start
    assert shared > RATE
    assert np.max(np.abs(heard[start:] - noise[:shared])) <= 2**-23  # 24 bit


def test_listen_does_not_overwrite_and_wants_a_known_format(tmp_path, capsys):
    (tmp_path / "a.wav").touch()
    for name, code, message in (
        ("a.wav", 2, "there is such a file already"),
        ("a.mp3", 2, "must end in .wav or .flac"),
        ("none/a.wav", 4, "there is no folder"),
    ):
        assert run(["devices", "--listen", str(tmp_path / name)]) == code
        told = capsys.readouterr().err
        assert message in told
        assert told.count("\n") == 1


def shows_level(text, rms_db):
    """Whether some line tells this level; a window that holds no whole number of periods is off by up to 0.15 dB."""
    return any(abs(-float(number) - rms_db) <= 0.15 for number in re.findall(r"([0-9]+\.[0-9]) dB", text))


def test_level_prints_plain_lines_where_there_is_no_terminal(sound_server):  # noqa: F811
    tone = 0.5 * np.sin(2 * np.pi * 220.0 * np.arange(20 * RATE) / RATE)
    sound_server.play(tone, RATE)
    done = devices(sound_server, "--device", "bench", "--level", "--seconds", "2", env={"PYTHONIOENCODING": "utf-8"})
    assert (done.returncode, done.stderr) == (0, "")
    assert "\x1b" not in done.stdout
    assert shows_level(done.stdout, -9.03)  # 0.5 peak


def test_level_in_a_terminal_moves_in_place_and_gives_the_cursor_back(sound_server):  # noqa: F811
    pty = pytest.importorskip("pty")
    ours, theirs = pty.openpty()
    tone = 0.5 * np.sin(2 * np.pi * 220.0 * np.arange(20 * RATE) / RATE)
    sound_server.play(tone, RATE)
    environment = sound_server.environment | {"TERM": "xterm", "COLUMNS": "80", "PYTHONIOENCODING": "utf-8"}
    command = [sys.executable, *COMMAND, "--device", "bench", "--level", "--seconds", "2"]
    with subprocess.Popen(command, env=environment, stdin=theirs, stdout=theirs, stderr=theirs) as process:
        os.close(theirs)
        shown = b""
        try:
            while chunk := os.read(ours, 65_536):
                shown += chunk
        except OSError:  # a terminal whose last writer has gone reads as an error
            pass
        assert process.wait(timeout=WAIT_S) == 0
    os.close(ours)
    text = shown.decode()
    assert shows_level(text, -9.03)
    assert text.count("dB") <= 2 * 10 + 2  # at most ten redraws a second
    assert text.index("\x1b[?25l") < text.rindex("\x1b[?25h")  # hidden while it moves, shown at the end


def test_a_device_pulled_out_while_listening(sound_server, tmp_path):  # noqa: F811
    path = tmp_path / "heard.wav"
    with started(sound_server, "--device", "bench", "--listen", str(path)) as process:
        process.stdout.readline()
        sound_server.remove_sink()
        _, errors = process.communicate(timeout=WAIT_S)
    assert process.returncode == 4
    assert "The sound input has ended ('bench')" in errors.splitlines()[-1]
    assert not path.exists()


def test_unknown_device_and_options_that_do_not_go_together(sound_server, capsys):  # noqa: F811
    done = devices(sound_server, "--device", "violet", "--check")
    assert done.returncode == 4
    assert "no sound input's name contains 'violet'" in done.stderr
    assert run(["devices", "--level", "--check"]) == 2
    assert "choose one of --level and --check" in capsys.readouterr().err
    assert run(["devices", "--level", "--json"]) == 2
    assert run(["devices", "--check", "--seconds", "0"]) == 2
    assert "must be above 0" in capsys.readouterr().err


def test_no_portaudio_is_one_line_and_code_4(sound_server, tmp_path):  # noqa: F811
    (tmp_path / "sounddevice.py").write_text("raise OSError('PortAudio library not found')\n", encoding="utf-8")
    paths = os.pathsep.join([str(tmp_path), str(Path(__file__).parents[2])])
    done = devices(sound_server, env={"PYTHONPATH": paths})
    assert done.returncode == 4
    assert done.stderr.startswith("fretcheck: PortAudio, the library for sound input, is missing.")
    assert done.stderr.count("\n") == 1


@pytest.mark.parametrize("ascii_only", [False, True])
def test_the_meter_reads_right(ascii_only):
    line = meter(10 ** (-36 / 20), 10 ** (-60 / 20), clipped=False, width=84, ascii_only=ascii_only)
    text = line.plain
    full, mark = ("#", "|") if ascii_only else ("█", "│")
    assert "36.0 dB" in text
    bar = text.split("  ")[1]
    assert len(bar) == 60
    assert bar.rindex(full) + 1 == 30  # −36 dB is half of 72
    assert bar.index(mark) == 10  # −60 dB: 12 of 72 up
    assert ascii_only <= text.isascii()
    assert "CLIPPED" in meter(0.9, None, clipped=True).plain
    Console(file=None).print(line)
