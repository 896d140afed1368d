"""The recorded plucks are what they are listed as: a plain spectrum has its lines where the filed note's partials are."""

from __future__ import annotations

import numpy as np
import pytest

from tests.real.plucks import missing, real_plucks

FILED_CENTS = 25.0
"""The collections were tuned by ear, to a tenth of a semitone or so."""


def cents_off(pluck):
    """The strongest line of the plain spectrum against the multiple of the filed frequency that is nearest to it."""
    sound = pluck.sound[: round(1.0 * pluck.sample_rate)]
    length = 8 * len(sound)
    size = np.abs(np.fft.rfft(sound * np.hanning(len(sound)), length))
    low = round(0.8 * pluck.filed_hz * length / pluck.sample_rate)
    line_hz = (low + int(np.argmax(size[low:]))) * pluck.sample_rate / length
    return 1200.0 * np.log2(line_hz / pluck.filed_hz / round(line_hz / pluck.filed_hz))


def test_all_are_there_and_sound_as_filed():
    if absent := missing():
        pytest.skip(absent)
    plucks = real_plucks()
    assert sum(pluck.judged for pluck in plucks) > 160
    assert len({pluck.instrument for pluck in plucks if pluck.judged}) > 20
    off = {str(pluck): cents_off(pluck) for pluck in plucks}
    assert not {name: cents for name, cents in off.items() if abs(cents) > FILED_CENTS}
