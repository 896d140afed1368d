"""`inspect` from recordings: the contract of its JSON, and what it says to recordings it cannot use."""

from __future__ import annotations

import datetime
import json
import re
import shutil
from pathlib import Path

import numpy as np
import pytest

from fretcheck.cli.main import run
from tests.recordings import OPEN_HZ, RATE, string_sound, write, write_strings


@pytest.fixture(scope="session")
def good_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_strings(tmp_path_factory.mktemp("strings"))


@pytest.fixture
def folder(good_folder: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(good_folder, tmp_path / "neck"))


def inspect(folder: Path, *options: str) -> int:
    return run(["inspect", str(folder / "neck.toml"), "--from", str(folder), "--no-keep", *options])


def complaint(capsys: pytest.CaptureFixture[str]) -> str:
    """The one line on standard error; nothing else may be printed."""
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1, err
    return err


def test_document_keeps_the_contract(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code = inspect(folder, "--json")
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "fretcheck/inspection/2"
    assert document["neck"]["name"] == "Three-string test neck"
    assert document["neck"]["serial"] == "T-3"
    assert {"readings", "frets", "findings", "corrections", "predicted_after", "verdict", "warnings"} <= document.keys()
    wanted = {
        "string", "fret", "f1_hz", "target_hz", "deviation_cents", "u_cents", "length_expected_mm",
        "length_equivalent_error_mm", "start_s", "used", "flags",
    }  # fmt: skip
    assert all(wanted <= reading.keys() for reading in document["readings"])
    assert [(r["string"], r["fret"]) for r in document["readings"]] == [(s, f) for s in (1, 2, 3) for f in (0, 1, 2, 3, 0)]
    assert code == {"pass": 0, "fail": 1, "undecided": 3}[document["verdict"]["decision"]]
    # exact equal temperament was synthesised; 0.2 cents is what a first estimator is asked for
    assert max(abs(reading["deviation_cents"]) for reading in document["readings"]) < 0.2


@pytest.mark.parametrize("subtype", ["PCM_U8", "PCM_16", "PCM_24", "FLOAT", "DOUBLE"])
def test_sample_formats_are_read_alike(folder: Path, subtype: str, capsys: pytest.CaptureFixture[str]) -> None:
    write(folder / "string-1.wav", string_sound(OPEN_HZ[1], (0, 1, 2, 3, 0)), subtype=subtype)
    inspect(folder, "--json")
    readings = [r for r in json.loads(capsys.readouterr().out)["readings"] if r["string"] == 1]
    assert [r["fret"] for r in readings] == [0, 1, 2, 3, 0]
    limit = 1.0 if subtype == "PCM_U8" else 0.2  # 8 bits leave quantisation noise 50 dB down
    assert max(abs(r["deviation_cents"]) for r in readings) < limit


@pytest.mark.parametrize("dead", [0, 1])
def test_stereo_with_one_dead_channel_is_read_from_the_other(folder: Path, dead: int, capsys: pytest.CaptureFixture[str]) -> None:
    sound = string_sound(OPEN_HZ[1], (0, 1, 2, 3, 0))
    stereo = np.column_stack([sound, sound])
    stereo[:, dead] = 0.0
    write(folder / "string-1.wav", stereo)
    inspect(folder, "--json")
    readings = [r for r in json.loads(capsys.readouterr().out)["readings"] if r["string"] == 1]
    assert [r["fret"] for r in readings] == [0, 1, 2, 3, 0]


def test_a_measurement_is_dated_and_after_work_on_its_part_only_a_new_one_is_used(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    neck, today = folder / "neck.toml", datetime.datetime.now(tz=datetime.UTC).astimezone().date()
    yesterday = today - datetime.timedelta(days=1)
    old = f'\n[[measured]]\nwhat = "first_fret_clearance"\nmm = 0.90\nu_mm = 0.05\ndate = {yesterday}\n'
    neck.write_text(neck.read_text(encoding="utf-8") + old, encoding="utf-8")

    def said(*options: str) -> tuple[list[str], float]:
        inspect(folder, "--json", *options)
        document = json.loads(capsys.readouterr().out)
        return document["rests_on"], next(one for one in document["causes"] if one["cause"] == "nut_height")["value"]

    (before,), high = said()
    assert "0.90 mm" in before
    assert str(yesterday) in before
    assert said("--worked", "nut")[0] == []
    (now,), low = said("--worked", "nut", "--measured", "first_fret_clearance=0.40")
    assert "0.40 mm" in now
    assert str(today) in now
    assert low < 0.0 < high  # as designed it is between the two


def test_missing_note_is_named(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(folder / "string-2.wav", string_sound(OPEN_HZ[2], (0, 1, 3, 0)))
    inspect(folder, "--json")
    document = json.loads(capsys.readouterr().out)
    assert document["missing"] == [[2, 2]]
    assert any("String 2" in line and "fret 2" in line for line in document["warnings"])


def test_recording_of_a_string_too_many_is_named(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shutil.copy(folder / "string-1.wav", folder / "string-7.wav")
    inspect(folder, "--json")
    assert any("string-7.wav was not read" in line for line in json.loads(capsys.readouterr().out)["warnings"])


def test_surplus_note_is_set_aside_and_named(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(folder / "string-2.wav", string_sound(OPEN_HZ[2], (0, 1, 2, 3, 7, 0)))
    inspect(folder, "--json")
    document = json.loads(capsys.readouterr().out)
    aside = next(one for one in document["set_aside"] if "above fret 3" in one["reason"])
    assert aside["string"] == 2
    assert not document["missing"]


def _cut(path: Path, keep: float) -> None:
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * keep)])


def _no_folder(folder: Path) -> None:
    shutil.move(folder / "neck.toml", folder.parent / "neck.toml")
    shutil.rmtree(folder)
    folder.mkdir()
    shutil.move(folder.parent / "neck.toml", folder / "neck.toml")


def _text(folder: Path) -> None:
    (folder / "string-1.wav").write_text("this is a shopping list\n" * 200, encoding="utf-8")


def _truncated_flac(folder: Path) -> None:
    (folder / "string-1.wav").unlink()
    write(folder / "string-1.flac", string_sound(OPEN_HZ[1], (0, 1, 2, 3, 0)))
    _cut(folder / "string-1.flac", 0.6)


def _noise(seconds: float) -> np.ndarray:
    return 0.1 * np.random.default_rng(5).standard_normal(int(seconds * 8000))


BAD = {
    "no recordings": (_no_folder, r"string-1"),
    "missing string": (lambda f: (f / "string-2.wav").unlink(), r"string 2"),
    "text named wav": (_text, r"string-1\.wav"),
    "truncated flac": (_truncated_flac, r"string-1\.flac"),
    "zero length": (lambda f: write(f / "string-1.wav", np.zeros(0)), r"string-1\.wav.*(empty|no sound|length)"),
    "empty file": (lambda f: (f / "string-1.wav").write_bytes(b""), r"string-1\.wav.*empty"),
    "silent": (lambda f: write(f / "string-1.wav", np.zeros(RATE * 4)), r"string-1\.wav.*silent"),
    "dc only": (lambda f: write(f / "string-1.wav", np.full(RATE * 4, 0.25)), r"string-1\.wav.*(DC|constant)"),
    "clipped throughout": (
        lambda f: write(f / "string-1.wav", np.clip(80 * string_sound(OPEN_HZ[1], (0, 1, 2, 3, 0)), -1, 1)),
        r"string-1\.wav.*clip",
    ),
    "five minutes of noise": (lambda f: write(f / "string-1.wav", _noise(300), rate=8000), r"string-1\.wav.*(pluck|note)"),
    "another string": (
        lambda f: write(f / "string-1.wav", string_sound(OPEN_HZ[2], (0, 1, 2, 3, 0))),
        r"string-1\.wav.*looks like the recording of string 2",
    ),
}


@pytest.mark.parametrize("fault", BAD)
def test_bad_recordings_get_one_line_and_exit_code_2(folder: Path, fault: str, capsys: pytest.CaptureFixture[str]) -> None:
    spoil, says = BAD[fault]
    spoil(folder)
    assert inspect(folder) == 2
    line = complaint(capsys)
    assert re.search(says, line), line


def test_no_such_folder(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["inspect", str(folder / "neck.toml"), "--from", str(folder / "nowhere"), "--no-keep"]) == 2
    assert "nowhere" in complaint(capsys)


def test_no_such_neck(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["inspect", str(folder / "nick.toml"), "--from", str(folder), "--no-keep"]) == 2
    assert "nick.toml" in complaint(capsys)


def test_fahrenheit_is_noticed(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert inspect(folder, "--temperature", "68") == 2
    assert "Fahrenheit" in complaint(capsys)


def test_limits_of_your_own_decide(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    strict, lenient = inspect(folder, "--json", "--tolerance", "0.01"), inspect(folder, "--json", "--tolerance", "40")
    assert (strict, lenient) == (1, 0)
    (folder / "limits.toml").write_text("limit_cents = 40.0\n", encoding="utf-8")
    assert inspect(folder, "--json", "--limits", str(folder / "limits.toml")) == 0
    capsys.readouterr()


def test_a_risk_out_of_range_is_refused(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert inspect(folder, "--risk", "5") == 2
    assert "risk" in complaint(capsys)


def test_result_is_shown_even_when_it_cannot_be_kept(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    blocked = folder / "a file"
    blocked.write_text("no register", encoding="utf-8")
    code = run(["inspect", str(folder / "neck.toml"), "--from", str(folder), "--json", "--register", str(blocked)])
    out, err = capsys.readouterr()
    assert code == 4
    assert json.loads(out)["neck"]["serial"] == "T-3"
    assert err.count("\n") == 1


def test_many_necks_get_a_line_each_and_one_bad_one_stops_none(
    good_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("N-1", "N-2", "N-3"):
        shutil.copytree(good_folder, tmp_path / "batch" / name)
    (tmp_path / "batch" / "N-2" / "string-3.wav").unlink()
    register = str(tmp_path / "register.db")
    code = run(["inspect", "--from", str(tmp_path / "batch"), "--register", register, "--processes", "1", "--json"])
    lines = {line["neck"]: line for line in json.loads(capsys.readouterr().out)["necks"]}
    assert code == 2
    assert list(lines) == ["N-1", "N-2", "N-3"]
    assert "string 3" in lines["N-2"]["error"]
    assert lines["N-1"]["inspection"]
    assert lines["N-3"]["inspection"]


def test_one_description_serves_many_necks(good_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    batch = tmp_path / "batch"
    for name in ("N-1", "N-2", "N-3"):
        shutil.copytree(good_folder, batch / name, ignore=shutil.ignore_patterns("neck.toml"))
    design, listed = good_folder / "neck.toml", tmp_path / "serials.txt"
    listed.write_text("N-3\nN-4\n", encoding="utf-8")
    many = ["inspect", str(design), "--from", str(batch), "--no-keep", "--processes", "1"]
    assert run([*many, "--serials-from", str(listed), "--json"]) == 2
    lines = json.loads(capsys.readouterr().out)["necks"]
    assert [(line["neck"], line["state"]) for line in lines] == [("N-3", "inspected"), ("N-4", "failed")]
    assert "no recordings: there is no folder" in lines[1]["error"]
    run(["inspect", str(design), "--from", str(batch / "N-2"), "--serial", "N-2", "--no-keep", "--json"])
    assert json.loads(capsys.readouterr().out)["neck"]["serial"] == "N-2"
    for arguments, says in (
        ([*many, "--serial", "N-1"], "--serial is for one neck"),
        (["inspect", str(design), "--from", str(batch / "N-1"), "--serials-from", str(listed)], "one neck has --serial"),
        ([*many, "--serials-from", str(tmp_path / "none.txt")], "no such file"),
        (["inspect", str(design), "--from", str(batch / "N-1"), "--processes", "2"], "--processes goes with"),
        (["inspect", str(design), "--from", str(batch / "N-1"), "--more", "260101-1"], "--more is for a live session"),
        (["inspect", str(design), "--from", str(batch / "N-1"), "--serial", ""], "serial = .. has 0 letters"),
    ):
        assert run(arguments) == 2
        assert re.search(says, complaint(capsys))


SHOP = """
risk = 0.02
[shop]
name = "Reed & Daughter"
phone = "01 234"
"""


def test_intake_of_recordings_keeps_what_the_sheet_tells(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "limits.toml").write_text(SHOP, encoding="utf-8")
    told = ["--customer", "A. Lind", "--job", "J-7", "--instrument", "Tenor", "--string-set", "light", "--price", "80"]
    inspect(folder, "--json", "--plan", "intake", "--limits", "limits.toml", *told)
    document = json.loads(capsys.readouterr().out)
    assert document["conditions"]["plan"] == "intake"
    assert document["missing"] == []  # the plan asks for frets 1 and 3 of this three-fret neck; fret 2 is heard besides
    assert {(one["string"], one["fret"]) for one in document["readings"]} == {(s, f) for s in (1, 2, 3) for f in range(4)}
    job = document["job"]
    assert (job["customer"], job["job"], job["instrument"], job["string_set"]) == ("A. Lind", "J-7", "Tenor", "light")
    assert (job["price"], job["notes"]) == ("80", None)
    assert (job["shop"]["name"], job["shop"]["phone"], job["shop"]["address"]) == ("Reed & Daughter", "01 234", None)
    assert len(list(tmp_path.glob("report-*.html"))) == 1


@pytest.mark.parametrize(
    ("shop", "says"),
    [
        ("shop = 3", "must be a table"),
        ("[shop]\naddress = 'x'", "[shop] name is missing"),
        ("[shop]\nname = 'x'\nfax = '1'", "[shop] fax is unknown"),
        ("[shop]\nname = 3", "[shop] name must be a text"),
    ],
)
def test_shop_that_is_none_is_one_line(folder: Path, shop: str, says: str, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "limits.toml").write_text(shop, encoding="utf-8")
    assert inspect(folder, "--limits", str(folder / "limits.toml")) == 2
    assert says in complaint(capsys)


def test_a_fragment_is_kept_only_when_asked(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    register = str(tmp_path / "register.sqlite")
    one_string = ["inspect", str(folder / "neck.toml"), "--from", str(folder / "string-1.wav"), "--register", register]
    assert run(one_string) == 3
    assert "Not kept, for it is a fragment" in capsys.readouterr().out
    assert run([*one_string, "--keep", "--json"]) == 3
    document = json.loads(capsys.readouterr().out)
    assert document["verdict"]["decision"] is None
    assert document["verdict"]["reason"].startswith("Only 1 of 3 strings read")
    assert document["corrections"] == []
    assert document["id"] is not None
    whole = ["inspect", str(folder / "neck.toml"), "--from", str(folder), "--register", register, "--json"]
    assert run(whole) in (0, 1, 3)
    assert json.loads(capsys.readouterr().out)["id"] is not None
