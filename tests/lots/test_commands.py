"""The commands from opening a lot to its page, on a register of an invented shop."""

from __future__ import annotations

import csv
import json
import re

import numpy as np
import pytest

from fretcheck.cli.main import run
from fretcheck.register.store import open_register
from tests.lots.shop import STRINGS, inspection

FRETS = 20
TEMPLATE_MM = 0.2
FAR_AHEAD_H = 24 * 365 * 30  # hours after the shop's morning: surely after the lot was opened


@pytest.fixture
def shop(tmp_path, monkeypatch):
    """The register's place, set as the default."""
    place = tmp_path / "register.sqlite"
    monkeypatch.setenv("FRETCHECK_REGISTER", str(place))
    return place


def printed(capsys, *words: str, code: int = 0):
    """Run a command with --json and return its one document; code −1: whichever."""
    assert run([*words, "--json"]) == code or code == -1
    out = capsys.readouterr()
    assert out.err == ""
    return json.loads(out.out)


def keep_necks(place, serials, *, seed=1, decisions=None, hour=0.0):
    """Inspections of necks whose template has fret 7 out by TEMPLATE_MM."""
    rng = np.random.default_rng(seed)
    with open_register(place) as register:
        for number, serial in enumerate(serials):
            position = rng.normal(0, 0.03, FRETS)
            position[6] += TEMPLATE_MM
            register.keep(
                inspection(
                    serial,
                    position_mm=position,
                    noise_cents=rng.normal(0, 0.4, (STRINGS, FRETS)),
                    decision=(decisions or {}).get(serial, "pass"),
                    hours=FAR_AHEAD_H + hour + number / 1000,
                )
            )


def test_a_lot_from_opening_to_closing(shop, capsys):
    opened = printed(capsys, "lot", "open", "March", "--serials", "WT-01..WT-20", "--template", "T1", "--good", "0", "--bad", "8")
    # the smallest n with C(12, n)/C(20, n) ≤ 10 %: n = 4 gives 495/4845
    assert (opened["plan"]["sample"], opened["plan"]["accept"], opened["state"]) == (5, 0, "open")
    # u of 5 necks, by hand: √((0.8²/12/4² + 0.033²)/5 + 0.0125²) = 0.0323 mm; 0.10 mm is 3.09 of them, and the first
    # of 20 frets is named from 3.02: 52.8 of 100
    assert "found by 53 of 100 shops with 5 necks read" in opened["risks"][-1]
    drawn = printed(capsys, "lot", "draw", "March", "--seed", "7")
    assert len(drawn["sample"]) == 5
    assert drawn["seed"] == 7
    assert run(["lot", "draw", "March"]) == 2
    assert "would be picking" in capsys.readouterr().err
    unsure = drawn["sample"][2]
    keep_necks(shop, opened["serials"], decisions={unsure: "undecided"})
    added = printed(capsys, "lot", "add", "March")
    assert len(added["inspections"]) == 20
    decided = printed(capsys, "lot", "decide", "March", code=3)
    assert (decided["decision"]["outcome"], decided["decision"]["undecided"]) == ("open", 1)
    keep_necks(shop, [unsure], hour=5)
    printed(capsys, "lot", "add", "March")
    decided = printed(capsys, "lot", "decide", "March")
    assert decided["decision"]["outcome"] == "accept"
    assert any("you would still accept" in words for words in decided["decision"]["risks"])
    assert printed(capsys, "lot", "close", "March")["state"] == "closed"
    assert [lot["name"] for lot in printed(capsys, "lot", "list")["lots"]] == ["March"]


def test_a_lot_in_three_commands(shop, capsys):
    opened = printed(capsys, "lot", "open", "March", "--serials", "WT-01..WT-20", "--sample", "5", "--draw")
    assert (len(opened["sample"]), opened["state"]) == (5, "drawn")
    keep_necks(shop, opened["sample"])  # stands for: inspect --from march_recordings
    decided = printed(capsys, "lot", "decide", "March")
    assert decided["decision"]["outcome"] == "accept"
    assert decided["next"] == "let the lot go; then: fretcheck lot close March"


def test_a_bad_sample_refuses_the_lot(shop, capsys):
    printed(capsys, "lot", "open", "April", "--serials", "A1..A4", "--sample", "4")
    printed(capsys, "lot", "draw", "April")
    keep_necks(shop, ["A2"], decisions={"A2": "fail"})
    with open_register(shop) as register:
        number = register.select()[0].id
    printed(capsys, "lot", "add", "April", number)
    assert run(["lot", "spoil", "April", number]) == 2  # no reason
    capsys.readouterr()
    assert printed(capsys, "lot", "decide", "April", code=1)["decision"]["outcome"] == "refuse"
    assert run(["lot", "show", "April"]) == 0
    assert "REFUSED" in capsys.readouterr().out


@pytest.fixture
def three_lots(shop, capsys):
    for number in range(1, 4):
        name, serials = f"Lot {number}", f"L{number}-01..08"
        opened = printed(capsys, "lot", "open", name, "--serials", serials, "--sample", "8", "--template", "T1")
        printed(capsys, "lot", "draw", name)
        keep_necks(shop, opened["serials"], seed=number, hour=number)
        printed(capsys, "lot", "add", name)
    return shop


def test_the_template_and_its_drift(three_lots, capsys, tmp_path):
    found = printed(capsys, "lot", "template", "T1", "--csv", str(tmp_path / "t.csv"), "--html", str(tmp_path / "t.html"), code=1)
    assert found["lots"] == ["Lot 1", "Lot 2", "Lot 3"]
    assert [fret["fret"] for fret in found["position"]["frets"] if fret["blamed"]] == [7]
    assert len(found["capability"]) == FRETS  # 24 necks are enough
    table = list(csv.DictReader((tmp_path / "t.csv").read_text(encoding="utf-8").splitlines()))
    assert [row["fret"] for row in table if row["quantity"] == "position" and row["move"] == "yes"] == ["7"]
    assert float(table[6]["error_mm"]) == pytest.approx(TEMPLATE_MM, abs=0.04)
    page = (tmp_path / "t.html").read_text(encoding="utf-8")
    assert "Correct the template" in page
    one = printed(capsys, "lot", "template", "T1", "--lot", "Lot 2", code=1)
    assert one["position"]["necks"] == 8
    assert one["capability"] is None
    chart = printed(capsys, "lot", "chart", "T1", "--fret", "7")
    assert chart["labels"] == ["Lot 1", "Lot 2", "Lot 3"]
    assert all(one["provisional"] for one in chart["charts"])
    by_neck = printed(
        capsys, "lot", "chart", "T1", "--fret", "7", "--by-neck", code=-1
    )  # 24 points may well cross a limit by chance
    assert len(by_neck["values_mm"]) == 24
    assert np.mean(by_neck["values_mm"]) == pytest.approx(TEMPLATE_MM, abs=0.03)
    assert run(["lot", "template", "T1"]) == 1
    assert "move" in capsys.readouterr().out
    assert run(["lot", "chart", "T1", "--fret", "7"]) == 0
    assert "3 points, 20 are wanted" in capsys.readouterr().out


def test_the_pages_are_whole_and_alone(three_lots, capsys, tmp_path):
    for words in (["show", "Lot 2"], ["template", "T1"]):
        run(["lot", *words, "--html", str(tmp_path / "page.html"), "--csv", str(tmp_path / f"{words[0]}.csv")])
        capsys.readouterr()
        page = (tmp_path / "page.html").read_text(encoding="utf-8")
        assert page.startswith("<!doctype html>")
        assert "<script" not in page
        assert not re.search(r'(?:src|href)="(?!#)', page)
        assert page.count('role="img"') == page.count("<desc id=")
        assert page.count("<svg") >= 2
        ids = re.findall(r'\bid="([^"]+)"', page)
        assert len(ids) == len(set(ids))
    assert next(csv.reader((tmp_path / "template.csv").read_text(encoding="utf-8").splitlines()))[0] == "quantity"


def test_what_a_user_typed_is_escaped(shop, capsys, tmp_path):
    (tmp_path / "serials.txt").write_text("<b>1</b>\n<b>2</b>\n<b>3</b>\n", encoding="utf-8")
    printed(
        capsys,
        "lot",
        "open",
        "x",
        "--serials-from",
        str(tmp_path / "serials.txt"),
        "--sample",
        "2",
        "--template",
        "<script>[red]",
    )
    printed(capsys, "lot", "draw", "x")
    assert run(["lot", "show", "x", "--html", str(tmp_path / "x.html")]) == 0
    assert "[red]" in capsys.readouterr().out
    page = (tmp_path / "x.html").read_text(encoding="utf-8")
    assert "<script>" not in page
    assert "&lt;b&gt;" in page
    assert "Nothing can be said yet" in page


def test_a_gauge_study_from_opening_to_its_result(shop, capsys):
    study = printed(
        capsys,
        "gauge",
        "open",
        "Spring",
        "--necks",
        "A1..A2",
        "--operator",
        "Ann",
        "--operator",
        "Ben",
        "--repeats",
        "2",
        "--seed",
        "5",
    )
    assert len(study["steps"]) == 8
    rng = np.random.default_rng(2)
    for number in range(8):
        step = printed(capsys, "gauge", "next", "Spring")["next"]
        with open_register(shop) as register:
            kept = register.keep(
                inspection(
                    step["neck"],
                    operator=step["operator"],
                    noise_cents=rng.normal(0, 0.8, (STRINGS, 3)),
                    u_cents=0.4,
                    hours=number,
                )
            )
        printed(capsys, "gauge", "add", "Spring", kept.id)
    assert printed(capsys, "gauge", "show", "Spring")["next"] is None
    result = printed(capsys, "gauge", "compute", "Spring")["result"]
    assert result["repeatability"]["cents"] == pytest.approx(0.8, rel=0.15)  # 144 degrees of freedom: 6 %
    assert run(["gauge", "show", "Spring"]) == 0
    assert "distinct categories" in capsys.readouterr().out
    assert [one["name"] for one in printed(capsys, "gauge", "list")["studies"]] == ["Spring"]
    assert run(["gauge", "list"]) == 0
    assert "8 of 8" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["lot", "open", "x", "--serials", "A1..A9"], "choose one plan"),
        (["lot", "open", "x", "--serials", "A1..A9", "--sample", "3", "--aql", "2.5"], "choose one plan"),
        (["lot", "open", "x", "--serials", "A1..A9", "--good", "1"], "belong together"),
        (["lot", "open", "x", "--sample", "3"], "needs the serials"),
        (["lot", "open", "x", "--serials", "A1..A9", "--sample", "10"], "has only 9"),
        (["lot", "open", "x", "--serials-from", "/nowhere/serials.txt", "--sample", "3"], "no such file"),
        (["lot", "show", "x"], "there is no lot"),
        (["lot", "add", "x"], "there is no lot"),
        (["lot", "template", "T9"], "no lot of template"),
        (["lot", "chart", "T9", "--fret", "7"], "no lot of template"),
        (["gauge", "compute", "x"], "there is no study"),
        (["gauge", "open", "x", "--necks", "A1", "--operator", "Ann"], "make no study"),
    ],
)
def test_mistakes_are_one_line(shop, capsys, words, message):
    assert run(words) == 2
    out = capsys.readouterr()
    assert out.out == ""
    assert out.err.count("\n") == 1
    assert message in out.err


def test_standard_plans_from_the_command_line(shop, capsys):
    plan = printed(capsys, "lot", "open", "a", "--serials", "A001..A060", "--aql", "2.5")["plan"]
    assert (plan["sample"], plan["accept"]) == (20, 1)  # MIL-STD-105E, level II, letter E, arrow down to F
    plan = printed(capsys, "lot", "open", "b", "--serials", "A001..A060", "--aql", "2.5", "--tightened")["plan"]
    assert (plan["sample"], plan["accept"]) == (32, 1)


def test_nothing_kept_yet_is_said(shop, capsys):
    assert run(["lot", "list"]) == 0
    assert "opens one" in capsys.readouterr().out
    assert run(["gauge", "list"]) == 0
    assert "opens one" in capsys.readouterr().out


def test_a_corrected_template_starts_anew(three_lots, capsys):
    printed(capsys, "lot", "corrected", "T1", "--since", "2999-01-01", "--fret", "7")
    found = printed(capsys, "lot", "template", "T1", code=-1)
    assert [fret["fret"] for fret in found["position"]["frets"]] == [fret for fret in range(1, FRETS + 1) if fret != 7]
    assert any("Lot 1 left out: fret 7 was corrected" in line for line in found["remarks"])
    assert run(["lot", "chart", "T1", "--fret", "7"]) == 2  # nothing of it is left to chart
    capsys.readouterr()
    printed(capsys, "lot", "corrected", "T1", "--since", "2999-01-01")
    assert run(["lot", "template", "T1"]) == 2
    assert "0 necks cannot tell" in capsys.readouterr().err
    assert run(["lot", "corrected", "T1", "--since", "once"]) == 2
    assert "neither a day" in capsys.readouterr().err
