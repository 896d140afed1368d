"""A folder of necks over cores and over a real local cluster: failures, dead processes, resuming."""

from __future__ import annotations

import os
import shutil
import socket
from dataclasses import replace
from functools import partial
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from fretcheck.cli.main import run
from fretcheck.errors import DeviceError, RecordingError, StorageError, UsageError
from fretcheck.lots.batch.batch import inspect_necks
from fretcheck.lots.batch.neck_folders import find_necks, is_folder_of_necks
from fretcheck.register.store import open_register
from tests.lots.batch_workers import inspect
from tests.neck_files import write_neck
from tests.synth.demo import demo_neck, write_recording
from tests.synth.recording import open_up_and_down, plan_take, record
from tests.synth.strung_neck import BuiltNeck


def make_necks(folder: Path, *names: str) -> Path:
    """Subfolders with a recording each (a few bytes: the tests' worker does not listen) and a neck.toml for all."""
    folder.mkdir()
    (folder / "neck.toml").write_text("shared", encoding="utf-8")
    for name in names:
        (folder / name).mkdir()
        (folder / name / "string-1.flac").write_bytes(name.encode())
    return folder


def attempts(folder: Path, name: str) -> int:
    marks = folder / f"{name}.attempts"
    return len(marks.read_text(encoding="utf-8").splitlines()) if marks.exists() else 0


@pytest.fixture
def register(tmp_path):
    with open_register(tmp_path / "kept" / "register.sqlite") as opened:
        yield opened


def states(result):
    return {line.neck: line.state for line in result.lines}


def test_one_bad_neck_never_stops_the_rest(tmp_path, register):
    folder = make_necks(tmp_path / "batch", "WT-1", "WT-2-silent", "WT-3-odd", "WT-4-shaky", "WT-5-deadly", "WT-6-bad", "WT-10")
    seen = []
    result = inspect_necks(
        find_necks(folder),
        register=register,
        worker=inspect,
        processes=2,
        progress=lambda done, total, name: seen.append((done, total)),
    )
    assert [line.neck for line in result.lines] == [neck.name for neck in find_necks(folder)]
    assert states(result) == {
        "WT-1": "inspected",
        "WT-2-silent": "failed",
        "WT-3-odd": "failed",
        "WT-4-shaky": "inspected",
        "WT-5-deadly": "failed",
        "WT-6-bad": "inspected",
        "WT-10": "inspected",
    }
    errors = {line.neck: line.error for line in result.lines}
    assert errors["WT-2-silent"] == "string-1.flac holds no plucks: is the gain up?"
    assert errors["WT-3-odd"] == "unexpected ZeroDivisionError: division by zero"
    assert "died twice" in errors["WT-5-deadly"]
    assert result.exit_code == 2
    assert seen[0] == (0, 7)
    assert seen[-1] == (7, 7)
    assert {one.serial for one in register.select()} == {"WT-1", "WT-4-shaky", "WT-6-bad", "WT-10"}


def test_what_was_kept_is_not_read_again(tmp_path, register):
    folder = make_necks(tmp_path / "batch", "A", "B", "C-silent")
    first = inspect_necks(find_necks(folder), register=register, worker=inspect, processes=1)
    (folder / "B" / "string-1.flac").write_bytes(b"recorded anew")
    second = inspect_necks(find_necks(folder), register=register, worker=inspect, processes=1)
    assert states(second) == {"A": "kept before", "B": "inspected", "C-silent": "failed"}
    assert [attempts(folder, name) for name in ("A", "B", "C-silent")] == [1, 2, 2]
    assert second.lines[0].inspection == first.lines[0].inspection
    with open_register(tmp_path / "elsewhere.sqlite") as other:  # another register holds nothing yet
        assert states(inspect_necks(find_necks(folder), register=other, worker=inspect, processes=1))["A"] == "inspected"


def test_other_limits_are_judged_anew(tmp_path, register):
    folder = make_necks(tmp_path / "batch", "A")
    for limit, state in ((3.0, "inspected"), (3.0, "kept before"), (5.0, "inspected")):
        worker = partial(inspect, limit_cents=limit)
        assert states(inspect_necks(find_necks(folder), register=register, worker=worker, processes=1)) == {"A": state}


def test_a_torn_line_only_costs_its_own_neck(tmp_path, register):
    folder = make_necks(tmp_path / "batch", "A", "B")
    inspect_necks(find_necks(folder), register=register, worker=inspect, processes=1)
    (ledger,) = (register.folder / "batches").glob("*.jsonl")
    text = ledger.read_text(encoding="utf-8")
    ledger.write_text(text[:-20], encoding="utf-8")
    again = inspect_necks(find_necks(folder), register=register, worker=inspect, processes=1)
    assert sorted(states(again).values()) == ["inspected", "kept before"]


def test_without_a_register_nothing_is_kept(tmp_path):
    folder = make_necks(tmp_path / "batch", "A")
    for _ in range(2):
        result = inspect_necks(find_necks(folder), register=None, worker=inspect, processes=1)
        assert states(result) == {"A": "inspected"}
    assert result.lines[0].inspection is None
    assert attempts(folder, "A") == 2


def test_a_ledger_that_cannot_be_written_stops_the_batch(tmp_path, register):
    folder = make_necks(tmp_path / "batch", "A")
    (register.folder / "batches").write_text("in the way", encoding="utf-8")
    with pytest.raises(StorageError, match="cannot be written"):
        inspect_necks(find_necks(folder), register=register, worker=inspect, processes=1)


def test_which_folders_are_necks(tmp_path):
    folder = make_necks(tmp_path / "batch", "N-2", "N-10", "N-1")
    (folder / "notes").mkdir()
    (folder / "N-10" / "neck.toml").write_text("own", encoding="utf-8")
    necks = find_necks(folder)
    assert [neck.name for neck in necks] == ["N-1", "N-2", "N-10"]
    assert [neck.shared for neck in necks] == [True, True, False]
    assert is_folder_of_necks(folder)
    assert not is_folder_of_necks(folder / "N-1")
    with pytest.raises(RecordingError, match="no necks in"):
        find_necks(folder / "notes")
    with pytest.raises(RecordingError, match="no necks in"):
        find_necks(tmp_path / "nowhere")


def test_only_the_necks_of_a_list_and_each_that_is_missing(tmp_path):
    folder = make_necks(tmp_path / "batch", "N-1", "N-2", "N-3")
    necks = find_necks(folder, serials=("N-3", "N-7", "N-1"))
    result = inspect_necks(necks, register=None, worker=inspect, processes=1)
    assert states(result) == {"N-3": "inspected", "N-7": "failed", "N-1": "inspected"}
    assert list(states(result)) == ["N-3", "N-7", "N-1"]
    assert "no recordings: there is no folder" in result.lines[1].error


def test_a_neck_without_description_says_so(tmp_path):
    folder = make_necks(tmp_path / "batch", "A")
    (folder / "neck.toml").unlink()
    result = inspect_necks(find_necks(folder), register=None, worker=inspect, processes=1)
    assert "A has no description" in result.lines[0].error
    given = find_necks(folder, neck_file=make_necks(tmp_path / "other") / "neck.toml")
    assert states(inspect_necks(given, register=None, worker=inspect, processes=1)) == {"A": "inspected"}


@pytest.fixture(scope="module")
def cluster():
    """A scheduler and two worker processes on this machine, as the product meets them: no client is this process's default."""
    distributed = pytest.importorskip("distributed")
    dask = pytest.importorskip("dask")
    with (
        dask.config.set({"distributed.scheduler.allowed-failures": 1}),  # give up sooner: each death takes seconds
        distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address="127.0.0.1:0") as running,
    ):
        with distributed.Client(running.scheduler_address, set_as_default=False) as client:
            client.wait_for_workers(2)
            workers = set(client.run(os.getpid).values())
        with pytest.raises(ValueError, match="No clients found"):
            distributed.default_client()
        yield running.scheduler_address, workers


def test_a_cluster_loses_no_neck_when_a_worker_is_killed(tmp_path, register, cluster):
    address, before = cluster
    names = [f"WT-{number}" for number in range(1, 12)]
    folder = make_necks(tmp_path / "batch", *names, "WT-12-shaky", "WT-13-silent")
    result = inspect_necks(find_necks(folder), register=register, worker=inspect, scheduler=address)
    assert states(result) == {**dict.fromkeys([*names, "WT-12-shaky"], "inspected"), "WT-13-silent": "failed"}
    first, *others = (folder / "WT-12-shaky.attempts").read_text(encoding="utf-8").split()
    assert int(first) in before, "the one that was killed was a worker of the cluster"
    assert others, "the neck it was reading was read again"
    assert first not in others
    assert len(register.select()) == 12


def test_a_neck_that_kills_every_worker_is_given_up(tmp_path, cluster):
    folder = make_necks(tmp_path / "batch", "A", "B-deadly", "C")
    result = inspect_necks(find_necks(folder), register=None, worker=inspect, scheduler=cluster[0])
    assert states(result) == {"A": "inspected", "B-deadly": "failed", "C": "inspected"}
    assert "died twice" in result.lines[1].error


def test_what_is_lost_on_its_way_is_read_once_more_and_then_told(tmp_path, cluster):
    folder = make_necks(tmp_path / "batch", "A", "B-lost", "C-unsent", "D")
    result = inspect_necks(find_necks(folder), register=None, worker=inspect, scheduler=cluster[0])
    assert states(result) == {"A": "inspected", "B-lost": "inspected", "C-unsent": "failed", "D": "inspected"}
    assert [attempts(folder, name) for name in ("A", "B-lost", "C-unsent", "D")] == [1, 2, 2, 1]
    assert result.lines[2].error.startswith("its result did not come back: ")


def test_no_scheduler_is_told_in_one_line(tmp_path, monkeypatch):
    pytest.importorskip("distributed")
    monkeypatch.setattr("fretcheck.lots.batch.batch_processes.CONNECT_TIMEOUT_S", 0.5)
    with socket.socket() as taken:  # bound but not listening: nobody answers there
        taken.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{taken.getsockname()[1]}"
        folder = make_necks(tmp_path / "batch", "A")
        with pytest.raises(DeviceError, match="no scheduler answers"):
            inspect_necks(find_necks(folder), register=None, worker=inspect, scheduler=address)
        for odd in ("carrier-pigeon://loft", "tcp://loft", "loft", "tcp://[::1", "tcp://127.0.0.1:99999"):
            with pytest.raises(UsageError, match="is no address"):
                inspect_necks(find_necks(folder), register=None, worker=inspect, scheduler=odd)


def small_neck():
    """The demo's design, as small as a neck may be."""
    return replace(demo_neck(), strings=demo_neck().strings[:3], frets=2, measured=(), serial=None)


@pytest.fixture(scope="module")
def recorded_necks(tmp_path_factory):
    """A neck of three strings and two frets with sound that can be read, and one without a recording of its strings."""
    neck = small_neck()
    folder = tmp_path_factory.mktemp("recorded") / "batch"
    folder.mkdir()
    write_neck(neck, folder / "neck.toml")
    rng = np.random.default_rng(1)
    (folder / "N-1").mkdir()
    for string in (1, 2, 3):
        notes = plan_take(BuiltNeck(neck=neck), string, open_up_and_down([1, 2]), rng)
        write_recording(record(notes, rng), folder / "N-1" / f"string-{string}.flac")
    (folder / "N-2").mkdir()
    (folder / "N-2" / "string-9.flac").write_bytes(b"")
    return folder


def check_recorded(result, register):
    assert states(result) == {"N-1": "inspected", "N-2": "failed"}
    assert "no recording of string 1" in result.lines[1].error
    assert {one.serial for one in register.select()} == {"N-1"}
    document = register.load(result.lines[0].inspection)
    heard = {(f.string, f.fret): f.deviation_cents for f in document.frets}
    perfect = BuiltNeck(neck=small_neck())
    for string, fret in product((1, 2, 3), (1, 2)):  # the hand's 0.5 cents over two plucks; 4 of it
        assert heard[string, fret] == pytest.approx(perfect.deviation_cents(string, fret), abs=1.5)


def test_a_lot_of_eight_necks_from_their_sound_to_its_decision(recorded_necks, tmp_path, monkeypatch, capsys):
    """The README's day over cores: seven necks (the sound of one) and one whose second fret sits 4 mm too near the bridge, which
    is 12 cents; of the eight one may be bad."""
    monkeypatch.setenv("FRETCHECK_REGISTER", str(tmp_path / "register.sqlite"))
    folder, rng = tmp_path / "march", np.random.default_rng(2)
    for number in range(1, 9):
        shutil.copytree(recorded_necks / "N-1", folder / f"WT-{number}")
    shutil.copy(recorded_necks / "neck.toml", folder)
    for string in (1, 2, 3):
        notes = plan_take(BuiltNeck(neck=small_neck(), frets_mm={2: 4.0}), string, open_up_and_down([1, 2]), rng)
        write_recording(record(notes, rng), folder / "WT-8" / f"string-{string}.flac")
    assert run(["lot", "open", "March", "--serials", "WT-1..WT-8", "--sample", "8", "--accept", "1", "--draw"]) == 0
    assert run(["inspect", "--from", str(folder)]) == 1  # one neck is out
    capsys.readouterr()
    assert run(["lot", "decide", "March"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "ACCEPTED 1 bad of 8 read, 1 allowed; take out WT-8" in said
    assert "Next: take out WT-8; then: fretcheck lot close March" in said


def test_real_recordings_over_the_cluster(recorded_necks, register, cluster):
    check_recorded(inspect_necks(find_necks(recorded_necks), register=register, scheduler=cluster[0]), register)
