"""Ways of marking frets in the wrong places, as displacements of every fret.

Conventions
-----------
Each function gives one displacement in mm a fret, from fret 1 on, positive toward the bridge: `BuiltNeck.layout_mm`.

Examples
--------
>>> [round(mm, 2) for mm in rule_of_18(scale_length_mm=648.0, frets=12)[::11]]
[-0.37, -2.36]
"""

from __future__ import annotations

import numpy as np

from tests.synth.string_matter import Reals


def rule_of_18(*, scale_length_mm: float, frets: int) -> tuple[float, ...]:
    """Each step a full eighteenth of what remains, 98.955 cents in place of 100."""
    positions = scale_length_mm * (1.0 - (17.0 / 18.0) ** np.arange(1, frets + 1))
    return _from_design(np.asarray(positions, dtype=np.float64), scale_length_mm)


def rounded(*, scale_length_mm: float, frets: int, step_mm: float) -> tuple[float, ...]:
    """Every distance from the nut rounded to a mark of the rule."""
    return _from_design(np.round(_design(scale_length_mm, frets) / step_mm) * step_mm, scale_length_mm)


def step_by_step(*, scale_length_mm: float, frets: int, step_error_mm: float, rng: np.random.Generator) -> tuple[float, ...]:
    """Each fret marked from the one before it: the errors of the steps add up."""
    errors = np.cumsum(rng.normal(0.0, step_error_mm, frets))
    return _from_design(_design(scale_length_mm, frets) + errors, scale_length_mm)


def other_scale(*, scale_length_mm: float, frets: int, template_mm: float) -> tuple[float, ...]:
    """Slots cut with the template of another scale length."""
    return _from_design(_design(template_mm, frets), scale_length_mm)


def kerf_left_out(*, scale_length_mm: float, frets: int, kerf_mm: float) -> tuple[float, ...]:
    """Saw set beside the line instead of on it: every slot half a kerf nearer the bridge."""
    return _from_design(_design(scale_length_mm, frets) + kerf_mm / 2.0, scale_length_mm)


def nut_thickness_left_out(*, scale_length_mm: float, frets: int, nut_mm: float) -> tuple[float, ...]:
    """Slots measured from the far side of the nut: every slot nearer the nut by its thickness."""
    return _from_design(_design(scale_length_mm, frets) - nut_mm, scale_length_mm)


def _design(scale_length_mm: float, frets: int) -> Reals:
    return np.asarray(scale_length_mm * (1.0 - 2.0 ** (-np.arange(1, frets + 1) / 12.0)))


def _from_design(positions_mm: Reals, scale_length_mm: float) -> tuple[float, ...]:
    return tuple(float(mm) for mm in positions_mm - _design(scale_length_mm, len(positions_mm)))
