"""The check of an input, against streams whose signal, noise, hum and clipping are known."""

from __future__ import annotations

import numpy as np
import pytest

from fretcheck.audio.fitness import FitnessCheck, hum_power
from tests.audio import streams
from tests.synth.pluck import hum, white_noise

RATE = 24_000.0


def checked(samples, rate=RATE):
    check = FitnessCheck(rate)
    for block in streams.blocks_of(samples, 1024):
        check.push(block)
    return check.finish()


def good_stream(rng, **options):
    return streams.string_stream(rng, f1_hz=(110.0, 147.0), levels_db=(0.0,), lead_s=1.5, **options)


def sentences(fitness):
    return {remark.what: (remark.grade, remark.sentence) for remark in fitness.remarks}


def test_a_good_input(rng):
    fitness = checked(good_stream(rng, noise_db=-70.0).samples)
    assert fitness.grade == "fit"
    assert fitness.remarks == ()
    assert fitness.plucks == 2
    assert fitness.noise_dbfs == pytest.approx(20 * np.log10(0.3) - 70.0, abs=2.0)  # the level of pink noise wanders
    assert fitness.snr_db == pytest.approx(fitness.signal_dbfs - fitness.noise_dbfs)
    assert fitness.clipped_fraction == 0.0


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
@pytest.mark.parametrize(("hum_db", "grade"), [(-60.0, "fit"), (-38.0, "poor"), (-20.0, "unfit")])
def test_hum_is_measured_and_named(rng, mains_hz, hum_db, grade):
    fitness = checked(good_stream(rng, noise_db=-80.0, hum_db=hum_db, mains_hz=mains_hz).samples)
    assert fitness.hum_dbfs == pytest.approx(20 * np.log10(0.3) + hum_db, abs=0.7)  # harmonics above the sixth: 0.3 dB
    assert fitness.mains_hz == mains_hz
    assert fitness.grade == grade
    if grade != "fit":
        assert f"Mains hum at {mains_hz:.0f} Hz; move the cable" in sentences(fitness)["hum"][1]


def test_noise_is_no_hum(rng):
    noise = 0.01 * white_noise(12_000, rng=rng)
    assert hum_power(noise, RATE, 50.0) < 0.02 * np.mean(noise**2)
    assert hum_power(0.01 * hum(12_000, sample_rate=RATE, rng=rng, harmonics=6), RATE, 50.0) == pytest.approx(1e-4, rel=0.05)


def test_noise_against_the_strings(rng):
    assert sentences(checked(good_stream(rng, noise_db=-40.0).samples))["noise"][0] == "poor"
    assert checked(good_stream(rng, noise_db=-25.0).samples).grade == "unfit"


def test_clipping_weak_signal_and_offset(rng):
    samples = good_stream(rng, noise_db=-80.0).samples
    assert sentences(checked(np.clip(6.0 * samples, -1.0, 1.0)))["clipping"][0] in ("poor", "unfit")
    assert "turn the input up" in sentences(checked(0.003 * samples))["signal"][1]
    assert "constant offset" in sentences(checked(samples + 0.1))["dc"][1]


def test_silence_is_undecided_and_zeros_are_unfit(rng):
    assert checked(1e-4 * white_noise(48_000, rng=rng)).grade is None
    nothing = checked(np.zeros(48_000))
    assert nothing.grade == "unfit"
    assert "Nothing but zeros comes: the input is muted" in nothing.remarks[0].sentence
