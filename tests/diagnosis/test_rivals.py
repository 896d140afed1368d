"""Causes that share a signature, on necks of the foreign worlds: none is told as sure until a measurement decides.

Margins are those of three necks a row; the targets are held by tests/benchmarks/worlds.py.
"""

from __future__ import annotations

import pytest

from fretcheck.diagnosis.diagnose import diagnose
from fretcheck.diagnosis.result import Finding
from tests.worlds.case import Case, draw

NECKS = range(3)

pytestmark = pytest.mark.slow  # 18 whole diagnoses


def findings(case: Case, *, clearance: bool = False, press_test: bool = False) -> tuple[Finding, ...]:
    return diagnose(case.neck(clearance=clearance), case.observations(press_test=press_test)).findings


def test_a_heavy_finger_is_never_surely_the_nut() -> None:
    for number in NECKS:
        for one in findings(draw("finger4", [], seed=(3, number))):
            if one.cause in ("nut_height", "finger_pressure"):
                assert one.rivals
                assert "What decides" in one.text or "what decides" in one.text
                assert one.decided_by is not None
                assert "clearance over the crown of fret 1" in one.decided_by
                shares = one.probability if one.cause == "finger_pressure" else 0.0
                assert shares + sum(rival.share for rival in one.rivals) <= 1.0 + 1e-9


def test_a_high_nut_by_sound_alone_is_named_beside_the_finger() -> None:
    named = 0
    for number in NECKS:
        told = [one for one in findings(draw("mild", ["nutheight.4"], seed=(3, number))) if one.string is None]
        both = [{one.cause, *(rival.cause for rival in one.rivals)} for one in told]
        named += any({"nut_height", "finger_pressure"} <= causes for causes in both)
    assert named >= 2


@pytest.mark.parametrize("how", ["clearance", "press_test"])
def test_clearance_or_press_test_decides(how: str) -> None:
    right = 0
    for number in NECKS:
        found = findings(draw("mild", ["nutheight.4"], seed=(3, number)), **{how: True})
        right += any((one.cause, one.string, one.rivals) == ("nut_height", None, ()) and one.probability > 0.9 for one in found)
        light = findings(draw("finger4", [], seed=(3, number)), **{how: True})
        assert not any(one.cause == "nut_height" and one.string is None and one.probability > 0.9 for one in light)
    assert right >= 2


def test_worn_crowns_are_wear_and_not_tilts() -> None:
    first = [found[0].cause for number in NECKS if (found := findings(draw("own", ["wear"], seed=(3, number))))]
    assert first.count("fret_wear") >= 2
    assert len(first) - first.count("fret_wear") <= 1


def test_a_straight_saddle_is_one_finding() -> None:
    for number in NECKS:
        found = [one for one in findings(draw("straight", [], seed=(3, number))) if one.cause.startswith("saddle")]
        assert [one.cause for one in found] == ["saddle_slant"]
        assert "straight where the description" in found[0].text
