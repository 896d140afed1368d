"""A small slice of the benchmark with fixed seeds, so that a loss of skill is noticed.

The margins are those of the slice's size (six necks a row), not the targets: see tests/benchmarks/diagnosis.py for those.
One fret 0.4 mm out of place is held on harder necks in tests/benchmarks/test_worlds.py.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.benchmarks.diagnosis import SCENARIOS, Outcome, run_one

SEED = 90210


def slice_of(name: str, necks: int) -> list[Outcome]:
    number = next(n for n, one in enumerate(SCENARIOS) if one.name.startswith(name))
    return [run_one((number, seed, SEED))[1] for seed in range(necks)]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "least"),
    [
        ("one fret tilted", 3), ("nut slots", 5), ("nut 0.9 mm out, calliper", 5), ("one saddle", 5), ("a false string", 4),
        ("rule-of-18", 6),
    ],
)  # fmt: skip
def test_top_finding(name: str, least: int) -> None:
    outcomes = slice_of(name, 6)
    assert sum(one.top_right for one in outcomes) >= least
    assert all(abs(one.saddle_left_mm) < 0.5 for one in outcomes if one.saddle_left_mm is not None)


@pytest.mark.slow
def test_two_faults() -> None:
    assert sum(one.in_top_three for one in slice_of("two faults", 6)) >= 4


@pytest.mark.slow
def test_sound_necks_and_their_intervals() -> None:
    # 10 necks, 400 frets and tilts: a 90 % interval holds 84–96 % of them but for one chance in a thousand, causes of one neck
    # being nearly independent.
    outcomes = slice_of("sound", 10)
    assert sum(one.findings > 0 for one in outcomes) <= 3
    frets = [hit for one in outcomes for kind, hit, _ in one.covered if kind in ("fret_position", "fret_tilt")]
    assert 0.84 < np.mean(frets) < 0.96
