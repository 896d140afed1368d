"""Windows and averages against their definitions, written out."""

from __future__ import annotations

import numpy as np
import pytest

from fretcheck.audio.segment.hops import overlapping
from fretcheck.audio.segment.levels import FALL, FAST, PAIR, SMOOTH, Levels


@pytest.mark.parametrize(("rows", "size", "step"), [(10, 3, 1), (10, 3, 2), (11, 4, 3), (4, 4, 1), (3, 4, 1)])
def test_windows_are_the_rows_they_say(rows: int, size: int, step: int) -> None:
    values = np.arange(2.0 * rows).reshape(rows, 2)
    expected = [values[start : start + size] for start in range(0, rows - size + 1, step)]
    windows = overlapping(values, size, step)
    assert len(windows) == len(expected)
    assert all(np.array_equal(one, other) for one, other in zip(windows, expected, strict=True))


def test_windows_of_a_part_of_an_array_stay_within_it() -> None:
    values = np.arange(100.0)
    assert np.array_equal(overlapping(values[20:30], 4, 3), [[20, 21, 22, 23], [23, 24, 25, 26], [26, 27, 28, 29]])


def test_windows_refuse_what_is_not_contiguous() -> None:
    with pytest.raises(BufferError, match="contiguous"):
        overlapping(np.arange(20.0)[::2], 3)


@pytest.mark.parametrize("run", [1, 4, 7, 300])
def test_averages_do_not_depend_on_the_runs(run: int) -> None:
    levels = np.random.default_rng(5).exponential(size=300) * np.exp(-np.arange(300) / 40.0)
    kept, means, fall = Levels(), {PAIR: [], FAST: [], SMOOTH: []}, []
    for start in range(0, 300, run):
        kept.take(levels[start : start + run])
        for _ in range(len(levels[start : start + run])):
            kept.step()
            fall.append(kept.fall_db())
            for count, found in means.items():
                found.append(kept.mean(count))
    for count, found in means.items():
        expected = [np.mean(levels[max(0, at + 1 - count) : at + 1]) for at in range(300)]
        np.testing.assert_allclose(found, expected, rtol=1e-12)
    fast = means[FAST]
    for at in range(FALL, 300):
        earlier = 10.0 * np.log10(fast[at - 3 * FALL] / fast[at - FALL]) / 2.0 if at + 1 >= 3 * FALL + FAST else 0.0
        assert fall[at] == pytest.approx(10.0 * np.log10(fast[at - FALL] / fast[at]) - max(0.0, earlier), abs=1e-9)
