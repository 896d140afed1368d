"""Fast lengths against scipy's, which the program does not load for them."""

from __future__ import annotations

import subprocess
import sys

import pytest
import scipy.fft

from fretcheck.fast_length import fast_length


def test_lengths_are_those_that_scipy_gives():
    for at_least in [*range(1, 3000), 48_000, 65_537, 123_457, 576_001]:
        assert fast_length(at_least) == scipy.fft.next_fast_len(at_least, real=True)


def test_no_length_at_all_is_refused():
    with pytest.raises(ValueError, match="can't be transformed"):
        fast_length(0)


def test_hearing_a_string_does_not_load_scipy():
    told = "import sys, fretcheck.session.recordings, fretcheck.session.live.ear; print('scipy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True).stdout == "False\n"
