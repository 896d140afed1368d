"""`fretcheck note` through the command line."""

from __future__ import annotations

import json

import numpy as np
import pytest
import soundfile

from fretcheck.cli.main import run
from fretcheck.errors import EXIT_BAD_INPUT
from tests.synth.pluck import PluckSpec, pluck_sound

RATE = 44_100
TRUTH_HZ = (110.0, 146.83, 220.4)


@pytest.fixture(scope="module")
def recording(tmp_path_factory):
    """Three plucks, each stopped by the hand, in a quiet room."""
    rng = np.random.default_rng(5)
    parts = [np.zeros(RATE // 2)]
    for f1_hz in TRUTH_HZ:
        spec = PluckSpec(f1_hz=f1_hz, duration_s=2.0, stop_s=1.7, glide_cents=4.0, glide_tau_s=0.15, attack_noise_db=-20.0)
        parts += [pluck_sound(spec, sample_rate=RATE, rng=rng), np.zeros(RATE // 2)]
    sound = np.concatenate(parts)
    path = tmp_path_factory.mktemp("note") / "string-5.wav"
    soundfile.write(path, sound + 1e-4 * rng.standard_normal(len(sound)), RATE, subtype="PCM_24")
    return path


def test_json_holds_the_contract(recording, capsys):
    assert run(["note", str(recording), "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "fretcheck/note/1"
    assert len(document["plucks"]) == 3
    for pluck, f1_hz, start_s in zip(document["plucks"], TRUTH_HZ, (0.5, 3.0, 5.5), strict=True):
        assert {"start_s", "f1_hz", "u_cents", "inharmonicity", "snr_db", "partials", "glide_cents", "flags"} <= set(pluck)
        # a fifth of what a hand repeats to; the uncertainty has a floor for what real strings leave open
        assert abs(1200 * np.log2(pluck["f1_hz"] / f1_hz)) < 0.2
        assert 0.2 < pluck["u_cents"] < 0.6
        assert pluck["start_s"] == pytest.approx(start_s, abs=0.02)
        assert pluck["used"]
        assert pluck["glide_cents"] == pytest.approx(4.0, abs=1.5)


def test_table(recording, capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    assert run(["note", str(recording)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    rows = [line.split() for line in lines]
    assert next(row for row in rows if row[:1] == ["0.5"])[1] == "A2"
    assert next(row for row in rows if row[:1] == ["3.0"])[1] == "D3"


def test_another_reference_names_other_deviations(recording, capsys):
    run(["note", str(recording), "--a4", "442"])
    row = next(line.split() for line in capsys.readouterr().out.splitlines() if line.split()[:1] == ["0.5"])
    # 1200·log2(440/442) = −7.85 cents (CALC)
    assert float(row[3]) == pytest.approx(-7.85, abs=0.2)


@pytest.mark.parametrize("arguments", [["no-such-file.wav"], ["no-such-file.wav", "--json"]])
def test_missing_file_is_one_line(arguments, capsys):
    assert run(["note", *arguments]) == EXIT_BAD_INPUT
    streams = capsys.readouterr()
    assert streams.out == ""
    assert len(streams.err.splitlines()) == 1


def test_reference_out_of_range_is_refused(recording, capsys):
    assert run(["note", str(recording), "--a4", "44"]) == EXIT_BAD_INPUT
    assert "44" in capsys.readouterr().err
