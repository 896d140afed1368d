"""kill -9 at thirty random moments of every command that writes: nothing kept is lost or half there, and it can be run again.

Live sessions have a test of their own (tests/live/test_kill.py), many necks at once another (tests/test_workers.py).
"""

from __future__ import annotations

import csv
import hashlib
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import tomllib
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from fretcheck.cli.main import run
from fretcheck.register.store import open_register
from tests.cli import test_files_given
from tests.cli.test_files_given import commands
from tests.live.strings import played, three_string_neck
from tests.lots.shop import STRINGS, inspection
from tests.neck_files import write_neck
from tests.register.documents import make_document
from tests.report.documents import heard
from tests.synth.strung_neck import BuiltNeck

pytestmark = [pytest.mark.slow, pytest.mark.skipif(sys.platform == "win32", reason="forks, and kills as POSIX does")]

ROOT = Path(__file__).parents[2]
KILLS = 30
AGAIN_AFTER = 6
"""Every so many kills the command is run again to its end; always after the last."""
LATER_H = 24 * 365 * 30
RATE = 16_000.0
WRITING = {
    "inspect": "inspect bench.toml --from heard --keep",
    "import": "import others.json",
    "export to json": "export --to own.json",
    "export to csv": "export --to own.csv",
    "backup": "backup away/copy.sqlite",
    "report": "report one.json --out own.html",
    "compare": "compare before.json after.json --html own.html",
    "neck": "neck --start ukulele --out own.toml --force",
    "lot open": "lot open New --serials B-1..B-9 --sample 3",
    "lot draw": "lot draw Opened",
    "lot add": "lot add Drawn",
    "lot spoil": "lot spoil Heard SPOILED --why dropped",
    "lot decide": "lot decide Heard",
    "lot close": "lot close Decided",
    "lot remove": "lot remove Opened",
    "lot corrected": "lot corrected T --since Drawn",
    "lot page": "lot show Heard --html own.html",
    "lot table": "lot show Heard --csv own-lot.csv",
    "template": "lot template T --csv own-template.csv",
    "gauge open": "gauge open New --necks A-1..A-2 --operator Ann",
    "gauge add": "gauge add Begun READ",
    "gauge compute": "gauge compute Read",
}
NOTHING_WRITTEN = {
    "layout", "note", "list", "show", "search", "lot list", "lot chart", "gauge next", "gauge list", "gauge show",
}  # fmt: skip
OF_OTHERS = {"work": "tests/live/test_kill.py", "demo": "as `inspect`", "devices": "listens in real time, writes as `backup`"}
WRITTEN_ALIKE = {"inspect report", "compare sheet", "lot template html"}
"""Pages, by the function that writes those of other rows."""


def test_every_command_and_output_has_its_row():
    """Else a new one would be forgotten."""
    killed = [name for name in commands() if any(line.startswith(name) for line in WRITING.values())]
    assert set(commands()) - set(killed) == NOTHING_WRITTEN | {*OF_OTHERS}
    for name, line in test_files_given.WRITING.items():
        words = line.split()
        option = words[words.index("{}") - 1]
        command = name.rpartition(" ")[0]
        rows = [row.split() for row in WRITING.values() if row.startswith(command)]
        known = command in OF_OTHERS or name in WRITTEN_ALIKE
        assert known or any(option in row or not option.startswith("--") for row in rows), name


@pytest.fixture(scope="module")
def forks():
    environment = os.environ | {"PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}
    command = [sys.executable, "-m", "tests.live.forking"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=environment, cwd=ROOT) as server:
        yield server
        server.stdin.close()


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A folder with a register, lots and studies at every stage, recordings, and pages written before; and words to fill in."""
    folder = tmp_path_factory.mktemp("shop")
    neck = three_string_neck(frets=3)
    write_neck(neck, folder / "bench.toml")
    (folder / "heard").mkdir()
    (folder / "away").mkdir()
    for string in (1, 2, 3):
        sound = played(neck, [(string, fret) for fret in (0, 1, 2, 3, 0)], sample_rate=RATE, seconds_per_note=1.2)
        soundfile.write(folder / "heard" / f"string-{string}.flac", sound.samples, round(RATE))
    chance = np.random.default_rng(1)
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        patch.setenv("FRETCHECK_REGISTER", "register.sqlite")
        with open_register("others.sqlite") as store, open("others.json", "w", encoding="utf-8") as stream:
            for number in range(100, 130):
                store.keep(make_document(number))
            store.export_json(stream)
        with open_register() as store:
            (folder / "heard.flac").write_bytes(b"some sound" * 1000)
            reading = replace(make_document(1).readings[0], sound_file="heard.flac")
            for number in range(6):
                store.keep(make_document(number, readings=[reading]), sound_folder=folder)
        (folder / "one.json").write_text(make_document(1).to_json(), encoding="utf-8")
        for number, name in enumerate(("before", "after")):
            (folder / f"{name}.json").write_text(heard(BuiltNeck(neck=neck), seed=number).to_json(), encoding="utf-8")

        def kept(serial, **options):
            noise = chance.normal(0, 0.8, (STRINGS, 3))
            with open_register() as store:
                return store.keep(inspection(serial, noise_cents=noise, hours=LATER_H, **options)).id

        for name in ("Opened", "Drawn", "Heard", "Decided"):
            assert run(["lot", "open", name, "--serials", "A-1..A-3", "--sample", "3", "--accept", "1", "--template", "T"]) == 0
            if name != "Opened":
                assert run(["lot", "draw", name]) == 0
        spoiled, *_ = [kept(f"A-{number}") for number in (1, 2, 3)]
        for name in ("Heard", "Decided"):
            assert run(["lot", "add", name]) == 0
        assert run(["lot", "decide", "Decided"]) == 0
        for name in ("Begun", "Read"):
            words = ["gauge", "open", name, "--necks", "A-1..A-2", "--operator", "Ann", "--operator", "Ben", "--seed", "5"]
            assert run(words) == 0
        from fretcheck.lots.gauge.study import GaugeStudy
        from fretcheck.lots.lot_register import load

        with open_register() as store:
            steps = load(store, GaugeStudy, "Read").steps
        readings = [kept(step.neck, operator=step.operator) for step in steps]
        for number in readings:
            assert run(["gauge", "add", "Read", number]) == 0
        for words in ("report one.json --out own.html", "export --to own.json", "export --to own.csv"):
            assert run(words.split()) == 0
        assert run(["lot", "show", "Heard", "--csv", "own-lot.csv"]) == 0
        assert run(["neck", "--start", "guitar-6-steel", "--out", "own.toml"]) == 0
    return folder, {"SPOILED": spoiled, "READ": readings[0]}


def told(forks, folder, words, **more):
    """Let a command run in a fork: its exit status as `os.waitpid` tells it, and how long it took."""
    environment = {"FRETCHECK_REGISTER": "register.sqlite", "FRETCHECK_DATA": "data"}
    line = {"arguments": words, "environment": environment, "output": "out.txt", "folder": str(folder), **more}
    forks.stdin.write(json.dumps(line) + "\n")
    forks.stdin.flush()
    forks.stdout.readline()
    return int(forks.stdout.readline()), float(forks.stdout.readline())


def kept_in(file):
    """Documents, lots and studies of a register, after its own check of itself."""
    with closing(sqlite3.connect(file)) as database:
        assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert database.execute("PRAGMA foreign_key_check").fetchall() == []
        found = {}
        for table, query in (
            ("inspection", "SELECT i.id, d.json FROM inspections i JOIN documents d ON d.inspection_key = i.key"),
            ("lot", "SELECT name, record_json FROM lots"),
            ("study", "SELECT name, record_json FROM gauge_studies"),
        ):
            found |= {(table, name): json.loads(text) for name, text in database.execute(query)}
        count = database.execute("SELECT count(*) FROM inspections").fetchone()[0]
        assert count == sum(table == "inspection" for table, _ in found)  # none without its document
        return found


def check_whole(file):
    """The file is all of what its name says."""
    match file.suffix:
        case ".html":
            assert file.read_text(encoding="utf-8").rstrip().endswith("</html>")
        case ".json":
            json.loads(file.read_bytes())
        case ".csv":
            text = file.read_text(encoding="utf-8")
            assert text.endswith("\n")
            assert len({len(row) for row in csv.reader(text.splitlines()) if row}) == 1
        case ".toml":
            tomllib.loads(file.read_text(encoding="utf-8"))
        case ".sqlite":
            kept_in(file)


def check_nothing_lost(folder, before, expected):
    """Files and register: each is as it was, or whole and new. Returns whether the register changed."""
    for path in folder.rglob("*"):
        name = path.relative_to(folder).as_posix()
        hidden = path.name.startswith(".fretcheck-")  # what a kill leaves under a name that nobody asked for
        if hidden or not path.is_file() or name == "out.txt" or name.startswith("register.sqlite"):
            continue
        if path.read_bytes() != before.get(name):
            assert name.startswith(("own", "away/", "sounds/")), name
            check_whole(path)
            if path.parent.name == "sounds" and name not in before:
                assert path.name.startswith(hashlib.sha256(path.read_bytes()).hexdigest()[:16])
    assert set(before) <= {path.relative_to(folder).as_posix() for path in folder.rglob("*")}
    now = kept_in(folder / "register.sqlite")
    for (table, name), document in expected.items():
        if table == "inspection":
            assert now[table, name] == document
    new = {place for place in now if place not in expected}
    gone = {place for place in expected if place not in now}
    changed = {place for place in expected if place in now and now[place] != expected[place]}
    return new, gone, changed


@pytest.mark.parametrize("command", WRITING)
def test_thirty_kills(command, forks, shop, tmp_path):
    template, names = shop
    words = [names.get(word, word) for word in WRITING[command].split()]
    before = {path.relative_to(template).as_posix(): path.read_bytes() for path in template.rglob("*") if path.is_file()}
    before = {name: content for name, content in before.items() if not name.startswith("register.sqlite")}
    expected = kept_in(template / "register.sqlite")
    took = []
    for here in ({"here": True}, {}, {}):  # the first imports what is imported late
        whole = tmp_path / f"whole-{len(took)}"
        shutil.copytree(template, whole)
        status, seconds = told(forks, whole, words, **here)
        assert os.waitstatus_to_exitcode(status) in (0, 1, 3), (whole / "out.txt").read_text()
        took.append(seconds)
    done = check_nothing_lost(whole, before, expected)
    chance = np.random.default_rng(30)
    killed, within_s = 0, min(took[1:])
    for attempt in range(4 * KILLS):
        folder = tmp_path / f"killed-{attempt}"
        shutil.copytree(template, folder)
        status, _ = told(forks, folder, words, kill_after_s=float(chance.uniform(0.0, within_s)))
        killed += os.WIFSIGNALED(status)
        within_s *= 1.03 if os.WIFSIGNALED(status) else 0.9  # on a machine now more, now less busy: one in five comes to its end
        now = check_nothing_lost(folder, before, expected)
        new, gone, changed = now
        assert len(new) in (0, len(done[0])), "half of what was to be kept"
        assert gone <= done[1]
        assert changed <= done[2]
        if attempt % AGAIN_AFTER == 0 or killed == KILLS:
            status, _ = told(forks, folder, words)
            code = os.waitstatus_to_exitcode(status)
            # The step had been taken: it may not be taken twice.
            happened = new or gone or changed or (folder / "away" / "copy.sqlite").exists()
            assert code in ((0, 1, 2, 3) if happened else (0, 1, 3)), (folder / "out.txt").read_text()
            after = check_nothing_lost(folder, before, expected)
            assert len(after[0]) == len(done[0])  # none twice: the same recordings heard again are the same inspection
            assert (after[1], after[2]) == (done[1], done[2])
        shutil.rmtree(folder)
        if killed == KILLS:
            return
    pytest.fail(f"only {killed} of {4 * KILLS} runs were killed before their end")
