"""Sound that goes missing without a word, and deliveries that are only late."""

from __future__ import annotations

import numpy as np
import pytest

from fretcheck.audio.input.frame_clock import FrameClock

RATE = 48_000.0
BLOCK = 1024


def deliveries(seconds, *, drift=0.0, jitter=None):
    """(time, frames) as PortAudio gives them: four blocks every 85 ms, each delivery late by chance."""
    count = int(seconds * RATE / BLOCK)
    for index in range(count):
        due = (index // 4 + 1) * 4 * BLOCK / RATE * (1 + drift)
        yield due + (jitter() if jitter else 0.0), BLOCK


@pytest.mark.parametrize("drift", [-1e-4, 0.0, 1e-4])
def test_late_and_bunched_deliveries_of_a_drifting_clock_are_no_loss(rng, drift):
    clock = FrameClock(RATE)
    late = [at for at, _ in deliveries(600, drift=drift, jitter=lambda: rng.exponential(0.02))]
    assert [clock.missing_s(at, BLOCK) for at in np.maximum.accumulate(late)] == [0.0] * len(late)


def test_a_stall_that_is_caught_up_is_no_loss():
    clock = FrameClock(RATE)
    times = [at + (max(0.0, 12.0 - at) if 10.0 < at < 12.0 else 0.0) for at, _ in deliveries(20)]
    assert not any(clock.missing_s(at, BLOCK) for at in times)


@pytest.mark.parametrize("lost_s", [0.2, 1.0, 14.0])
def test_a_gap_is_found_once_and_measured(rng, lost_s):
    clock = FrameClock(RATE)
    found = {}
    for at, frames in deliveries(30, jitter=lambda: rng.uniform(0.0, 0.01)):
        shifted = at + (lost_s if at > 10.0 else 0.0)
        missing = clock.missing_s(shifted, frames)
        if missing:
            found[shifted] = missing
    assert sum(found.values()) == pytest.approx(lost_s, abs=0.05)
    assert len(found) == 1
    assert next(iter(found)) - 10.0 - lost_s < 0.8
