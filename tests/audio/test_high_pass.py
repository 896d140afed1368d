"""The stream's high-pass against scipy's own filter."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal

from fretcheck.audio.segment.hops import HighPass


@pytest.mark.parametrize("rate", [8000.0, 48000.0, 192000.0])
@pytest.mark.parametrize("block", [1, 7, 1024, 100000])
def test_agrees_with_an_independent_filter_at_any_block_size(rate: float, block: int) -> None:
    samples = 0.3 + np.random.default_rng(2).standard_normal(4000 if block < 8 else 50000)
    pole = float(np.exp(-2.0 * np.pi * 15.0 / rate))
    b, a = np.array([1.0, -1.0]) * (1.0 + pole) / 2.0, np.array([1.0, -pole])
    expected, _ = scipy.signal.lfilter(b, a, samples, zi=scipy.signal.lfilter_zi(b, a) * samples[0])
    high_pass = HighPass(15.0, rate)
    filtered = np.concatenate([high_pass.push(samples[at : at + block]) for at in range(0, len(samples), block)])
    np.testing.assert_allclose(filtered, expected, atol=1e-10)  # rounding of sums over one chunk


def test_constant_level_makes_no_step() -> None:
    assert np.max(np.abs(HighPass(15.0, 48000.0).push(np.full(1000, 0.7)))) == 0.0
