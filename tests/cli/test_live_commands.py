"""Live commands in this process, a synthesised recording in place of the microphone, heard as fast as it can be.

At the end of the sound a session stops as by the key q.
"""

from __future__ import annotations

import json

import pytest

from fretcheck.cli.main import run
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.errors import EXIT_UNDECIDED
from fretcheck.inspection.assemble import judge
from fretcheck.inspection.joined import plucks_wanted
from fretcheck.register.selection import Selection
from fretcheck.register.store import open_register
from fretcheck.session.journal.outcome import inspection_of
from fretcheck.session.journal.sounds import flac_bytes, on_grid
from fretcheck.session.plan import make_plan, plan_of_notes
from tests.live.strings import played, played_plan, three_string_neck
from tests.neck_files import write_neck
from tests.session.test_deciding import Fretting, session

NECK = three_string_neck()
RATE = 16_000.0


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """A neck's description, and how a recording is put in place of the microphone."""
    (tmp_path / "data").mkdir()
    monkeypatch.setenv("FRETCHECK_DATA", str(tmp_path / "data"))
    monkeypatch.setenv("FRETCHECK_LIVE_PACE", "0")
    monkeypatch.setenv("FRETCHECK_LIVE_FROM", str(tmp_path / "heard.flac"))
    write_neck(NECK, tmp_path / "neck.toml")

    def hear(recording):
        (tmp_path / "heard.flac").write_bytes(flac_bytes(on_grid(recording.samples), recording.sample_rate))
        return str(tmp_path / "neck.toml")

    return hear


def kept(folder):
    with open_register(str(folder / "data")) as store:
        return [one.id for one in store.select(Selection())]


@pytest.mark.parametrize("keep", [False, True])
def test_stopped_after_three_plucks_it_says_in_one_line_what_is_kept(keep, bench, tmp_path, capsys):
    neck = bench(played(NECK, [(3, 0), (3, 1), (3, 2)], sample_rate=RATE, seconds_per_note=1.3))
    code = run(["inspect", neck, "--plan", "full", *(["--keep"] if keep else [])])
    said = capsys.readouterr().err
    assert code == EXIT_UNDECIDED
    assert said.count("\n") == 1
    assert said.startswith("3 plucks are kept in session ")
    assert "--resume" in said
    assert ("no inspection: too little to judge the neck, --keep keeps the fragment" in said) == (not keep)
    assert len(kept(tmp_path)) == keep


def test_more_plucks_the_doubtful_notes_of_an_inspection_live_and_joins_them(bench, tmp_path, capsys):
    plan = make_plan(NECK, name="full")
    settings = DiagnosisSettings(limit_cents=5.0)
    runner, journal = session(NECK, plan, tmp_path / "session", limit=5.0)
    Fretting(runner, journal).play()
    before = judge(inspection_of(journal.story), settings=settings)
    wanted = plucks_wanted(before)
    with open_register(str(tmp_path / "data")) as store:
        before = store.keep(before, sound_folder=journal.folder)
    recording = played_plan(NECK, plan_of_notes(wanted), sample_rate=RATE, seconds_per_note=1.3)
    code = run(["inspect", bench(recording), "--more", before.id, "--tolerance", "5", "--json"])
    joined = json.loads(capsys.readouterr().out)
    assert code in (0, 1, 3)
    plucks = {(one.string, one.fret): one.plucks for one in before.frets}
    for one in joined["frets"]:
        if one["fret"]:
            assert one["plucks"] == plucks[one["string"], one["fret"]] + wanted.get((one["string"], one["fret"]), 0)
    assert len(joined["readings"]) == len(before.readings) + len(plan_of_notes(wanted).asks)
