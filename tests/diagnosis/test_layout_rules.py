"""The mistakes of marking out, against the same mistakes made by hand: a maker's steps, not the formulas under test."""

from __future__ import annotations

import numpy as np
import pytest

from fretcheck.diagnosis.model.as_designed import as_designed
from fretcheck.diagnosis.model.layout_rules import RULES
from tests.diagnosis.necks import SCALE_MM, steel_neck
from tests.synth import layout_mistake

DESIGN = as_designed(steel_neck())
FRETTED = [n for n, cell in enumerate(DESIGN.cells) if cell.string == 1 and cell.fret > 0]


def shift_of(name: str) -> np.ndarray:
    """Per fret of string 1, mm toward the bridge."""
    (rule,) = [one for one in RULES if one.name == name]
    assert rule.shift_mm is not None
    return rule.shift_mm(DESIGN)[FRETTED]


@pytest.mark.parametrize(
    ("name", "made"),
    [
        ("rule of 18", layout_mistake.rule_of_18(scale_length_mm=SCALE_MM, frets=20)),
        ("rounded to 0.5 mm", layout_mistake.rounded(scale_length_mm=SCALE_MM, frets=20, step_mm=0.5)),
        ("rounded to 1/16 in", layout_mistake.rounded(scale_length_mm=SCALE_MM, frets=20, step_mm=25.4 / 16.0)),
        ("kerf left out", layout_mistake.kerf_left_out(scale_length_mm=SCALE_MM, frets=20, kerf_mm=0.6)),  # a fret saw's
    ],
)
def test_a_mistake_shifts_frets_the_way_it_does_at_the_bench(name: str, made: tuple[float, ...]) -> None:
    assert shift_of(name) == pytest.approx(np.array(made), abs=1e-6)  # the same arithmetic: rounding only


def test_a_rule_laid_at_the_back_of_the_nut_puts_all_slots_nearer_the_headstock() -> None:
    thickness = -shift_of("nut thickness left out")
    assert np.all((thickness >= 3.0) & (thickness <= 6.0))  # nuts are so thick: common practice, no source
