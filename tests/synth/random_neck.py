"""Necks as a good workshop builds them: every part a little out, by chance.

Conventions
-----------
Every scatter is a standard deviation; signs and axes are those of `strung_neck`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fretcheck.neck.description import Neck
from tests.synth.strung_neck import BuiltNeck


@dataclass(frozen=True, kw_only=True)
class Scatter:
    """How far the parts of a sound neck, and the hand that plays it, vary."""

    frets_mm: float = 0.03
    fret_tilts_mm: float = 0.02
    nut_mm: float = 0.05
    nut_height_mm: float = 0.03
    """Of each slot on its own, and of all slots together."""
    saddle_mm: float = 0.10
    action_mm: float = 0.10
    relief_mm: float = 0.05
    """Relief is this much times |N(0, 1)|."""
    end_stiffness: float = 0.05
    finger_behind_mm: float = 1.5
    finger_depth_mm: float = 0.10
    """The hand's usual depth is this much times |N(0, 1)|."""
    core: float = 0.02
    mass: float = 0.01
    hand_cents: tuple[float, float] = (0.5, 1.0)
    """Each string's scatter from pluck to pluck lies evenly between these."""
    tuning_cents: float = 1.5
    drift_cents_per_minute: float = 0.3


SOUND = Scatter()
"""A sound neck in a steady hand."""


def random_built_neck(neck: Neck, rng: np.random.Generator, *, scatter: Scatter = SOUND, **faults: Any) -> BuiltNeck:
    """A neck with every part out by chance, and stated faults on top.

    Parameters
    ----------
    neck : Neck
        The design.
    rng : numpy.random.Generator
        Draws the scatter; the same state gives the same scatter whatever the faults.
    scatter : Scatter
    **faults
        Fields of `BuiltNeck`. Numbers are added to the scatter, mappings part by part (factors are multiplied); what has no
        scatter (`layout_mm`, `false_strings`, `matter`, `design_nut_height_mm`) is taken as it is, and so are
        `action_12_mm`, `end_stiffness`, `hand_cents`, `tuning_cents` and `drift_cents_per_minute`.

    Examples
    --------
    >>> from tests.synth.demo import demo_neck
    >>> built = random_built_neck(demo_neck(), np.random.default_rng(1), frets_mm={7: 0.4})
    >>> 0.25 < built.frets_mm[7] < 0.55
    True
    """
    strings, frets = range(1, len(neck.strings) + 1), range(1, neck.frets + 1)

    def each(numbers: range, sd: float, *, middle: float = 0.0) -> dict[int, float]:
        return {
            number: middle + sd * float(value) for number, value in zip(numbers, rng.standard_normal(len(numbers)), strict=True)
        }

    chance = BuiltNeck(
        neck=neck,
        frets_mm=each(frets, scatter.frets_mm),
        fret_tilts_mm=each(frets, scatter.fret_tilts_mm),
        nut_mm=scatter.nut_mm * rng.standard_normal(),
        nut_height_mm=scatter.nut_height_mm * rng.standard_normal(),
        nut_heights_mm=each(strings, scatter.nut_height_mm),
        saddle_mm=each(strings, scatter.saddle_mm),
        action_12_mm=BuiltNeck.action_12_mm + scatter.action_mm * rng.standard_normal(),
        relief_mm=scatter.relief_mm * abs(rng.standard_normal()),
        end_stiffness=1.0 + scatter.end_stiffness * rng.standard_normal(),
        finger_behind_mm=max(2.0, BuiltNeck.finger_behind_mm + scatter.finger_behind_mm * rng.standard_normal()),
        finger_depth_mm=scatter.finger_depth_mm * abs(rng.standard_normal()),
        core_factors=each(strings, scatter.core, middle=1.0),
        mass_factors=each(strings, scatter.mass, middle=1.0),
        hand_cents={string: float(rng.uniform(*scatter.hand_cents)) for string in strings},
        tuning_cents=each(strings, scatter.tuning_cents),
        drift_cents_per_minute=each(strings, scatter.drift_cents_per_minute),
    )
    return replace(chance, **{name: _joined(name, getattr(chance, name), fault) for name, fault in faults.items()})


_TAKEN_AS_IT_IS = {
    "layout_mm", "end_stiffness", "false_strings", "matter", "design_nut_height_mm", "action_12_mm", "hand_cents", "tuning_cents",
    "drift_cents_per_minute",
}  # fmt: skip


def _joined(name: str, chance: Any, fault: Any) -> Any:
    if name in _TAKEN_AS_IT_IS:
        return fault
    if isinstance(chance, Mapping):
        factors = name.endswith("_factors")
        joined = dict(chance)
        for number, value in fault.items():
            joined[number] = joined.get(number, 1.0 if factors else 0.0)
            joined[number] = joined[number] * value if factors else joined[number] + value
        return joined
    return chance + fault
