"""The main job on the demo recordings, against the truth they were made from."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fretcheck.cli.main import run
from fretcheck.diagnosis.diagnose import diagnose
from fretcheck.diagnosis.observation import Observation
from fretcheck.neck.neck_file import read_neck

FOLDER = Path(__file__).parents[2] / "recordings_demo"


@pytest.fixture(scope="module")
def inspected(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """The document that `inspect --json` prints for the demo recordings."""
    import contextlib
    import io

    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        code = run(["inspect", str(FOLDER / "neck.toml"), "--from", str(FOLDER), "--json", "--no-keep"])
    assert code == 1  # the demo neck is out of tolerance
    return json.loads(out.getvalue())


@pytest.fixture(scope="module")
def truth() -> dict[str, Any]:
    return json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))


def test_every_pluck_is_heard_and_given_its_fret(inspected: dict[str, Any], truth: dict[str, Any]) -> None:
    heard = sorted((r["string"], r["start_s"], r["fret"]) for r in inspected["readings"] if r["used"])
    made = sorted((n["string"], n["start_s"], n["fret"]) for n in truth["notes"])
    assert [(s, f) for s, _, f in heard] == [(s, f) for s, _, f in made]
    late = np.array([h[1] - m[1] for h, m in zip(heard, made, strict=True)])
    assert np.max(np.abs(late)) < 0.05  # an onset is known to a few hops of the segmenter
    assert not inspected["missing"]


def test_all_readings_lie_within_their_promise(inspected: dict[str, Any], truth: dict[str, Any]) -> None:
    heard = sorted((r["string"], r["start_s"], r["f1_hz"]) for r in inspected["readings"])
    made = sorted((n["string"], n["start_s"], n["f1_hz"]) for n in truth["notes"])
    cents = 1200 * np.log2([h[2] / m[2] for h, m in zip(heard, made, strict=True)])
    assert np.max(np.abs(cents)) < 0.3  # what the demo is promised to keep


def test_the_advice_is_the_three_faults_and_nothing_else(inspected: dict[str, Any], truth: dict[str, Any]) -> None:
    moves = [move for step in inspected["corrections"] for move in step["moves"]]
    assert [(move["part"], move["string"], move["fret"]) for move in moves] == [
        ("saddle", 3, None),
        ("nut_height", None, None),
        ("fret", None, 7),
    ]
    put_right = {fault["cause"]: fault["value_mm"] for fault in truth["faults"]}
    for move, cause in zip(moves, ("saddle_position", "nut_height", "fret_position"), strict=True):
        # a bench keeps to 0.1 mm; the gauge that the slots are filed by to 0.05 mm; a string's saddle hides its 0.1 mm of scatter
        assert move["move_mm"] == pytest.approx(-put_right[cause], abs=0.2 if cause == "saddle_position" else 0.12)
    assert inspected["corrections"][-1]["predicted"] == {
        "worst_cents": inspected["predicted_after"]["worst_cents"],
        "probability_within": inspected["predicted_after"]["probability_within"],
    }
    assert inspected["predicted_after"]["probability_within"] > 0.9


def test_without_its_measured_clearance_the_advice_ends_in_that_measurement(inspected: dict[str, Any]) -> None:
    neck = read_neck(FOLDER / "neck.toml")
    names = ("string", "fret", "start_s", "inharmonicity", "u_inharmonicity")
    heard = [
        Observation(cents=one["deviation_cents"], u_cents=one["u_cents"], **{name: one[name] for name in names})
        for one in inspected["readings"]
        if one["used"]
    ]
    advice = diagnose(replace(neck, measured=()), heard).corrections
    assert [(one.kind, one.moves) for one in advice[-1:]] == [("measure", ())]
    assert "clearance over the crown of fret 1" in advice[-1].text
    assert "--measured first_fret_clearance=" in advice[-1].text
    assert not any(move.part == "nut_height" for one in advice for move in one.moves)


def test_demo_recordings_are_small(truth: dict[str, Any]) -> None:
    assert sum(file.stat().st_size for file in FOLDER.glob("*.flac")) <= 12_000_000
    assert len(list(FOLDER.glob("string-*.flac"))) == 6
    assert len(truth["faults"]) == 3


def test_demo_ends_with_its_report_and_exit_code_0(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], inspected: dict[str, Any]
) -> None:
    from fretcheck.inspection.document import InspectionDocument

    document = InspectionDocument.model_validate(inspected)
    monkeypatch.setattr("fretcheck.cli.inspect.from_folder.inspect_recorded", lambda *_, **__: document)  # heard once already
    page = tmp_path / "page.html"
    assert run(["demo", "--report", str(page)]) == 0
    out = capsys.readouterr().out
    assert "OUT OF TOLERANCE" in out
    assert out.rstrip().endswith(f"Report: {page}")
    assert "Walnut six-string, neck 14" in page.read_text(encoding="utf-8")
