"""Ways in which a whole fretboard may have been marked out, as rivals of the design.

A mistake of layout has a signature over all frets: the rule of 18 drifts flat by 1.045 cents a fret; a coarse rule rounds every
slot by itself; steps marked fret to fret add up like a random walk; a template of another scale is out in proportion to the
distance from the nut; a kerf or the nut's own thickness left out shifts all slots alike. Each is weighed by its
evidence, p(readings).

Conventions: mm along the neck, positive toward the bridge. `shift_mm` is the fret's displacement that the rule alone makes, per
cell; `extra_covariance` what it leaves open, over the fret positions 1, 2, … in mm².
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.diagnosis.model.as_designed import AsDesigned
from fretcheck.units import MM_PER_INCH

DESIGNED = "as designed"


@dataclass(frozen=True, kw_only=True)
class LayoutRule:
    """One way of marking out."""

    name: str
    text: str
    share: float  # Prior probability
    shift_mm: Callable[[AsDesigned], Reals] | None = None
    extra_covariance: Callable[[Reals], Reals] | None = None  # Given the distances of the frets from the nut


def _rule_of_18(design: AsDesigned) -> Reals:
    # From the nut line of a fretboard of the full scale, also under a short string.
    scale = design.speaking_mm + design.fret_x_mm
    semitones = np.array(design.neck.fret_cents)[design.fret] / 100.0
    return np.asarray(scale * (1.0 - (17.0 / 18.0) ** semitones) - design.fret_x_mm)


def _rounded(design: AsDesigned, step_mm: float) -> Reals:
    return np.asarray(np.round(design.fret_x_mm / step_mm) * step_mm - design.fret_x_mm)


def _steps(x_mm: Reals) -> Reals:
    steps = np.arange(1, len(x_mm) + 1)
    return np.asarray(STEP_MM**2 * np.minimum.outer(steps, steps))


STEP_MM = 0.15  # error of one step by dividers or rule; common practice, no source
OTHER_SCALE_REL = 0.02  # scale lengths in use lie a few percent apart
KERF_MM, U_KERF_MM = 0.30, 0.05  # half of a fret saw's 0.6 mm
NUT_MM, U_NUT_MM = -4.5, 1.0  # nuts are 3 to 6 mm thick

RULES: tuple[LayoutRule, ...] = (
    LayoutRule(name=DESIGNED, text="The frets stand as designed, each with its own small error.", share=0.93),
    LayoutRule(
        name="rule of 18",
        text="The frets follow the rule of 18: each step a full eighteenth of what remains, 98.955 cents in place of 100.",
        share=0.015,
        shift_mm=_rule_of_18,
    ),
    *(
        LayoutRule(
            name=f"rounded to {label}",
            text=f"Every slot was rounded to {label} of a rule.",
            share=0.005,
            shift_mm=partial(_rounded, step_mm=step),
        )
        for label, step in (("0.5 mm", 0.5), ("1 mm", 1.0), ("1/32 in", MM_PER_INCH / 32.0), ("1/16 in", MM_PER_INCH / 16.0))
    ),
    LayoutRule(
        name="step by step",
        text="The frets were marked from one to the next, so that the errors of the steps add up.",
        share=0.01,
        extra_covariance=_steps,
    ),
    LayoutRule(
        name="template of another scale",
        text="The slots were cut with the template of another scale length.",
        share=0.01,
        extra_covariance=lambda x_mm: OTHER_SCALE_REL**2 * np.outer(x_mm, x_mm),
    ),
    LayoutRule(
        name="kerf left out",
        text="Every slot lies half a saw kerf nearer the bridge; by sound that is the same as a nut that far from the bridge.",
        share=0.005,
        shift_mm=lambda design: np.full(len(design.cells), KERF_MM),
        extra_covariance=lambda x_mm: np.full((len(x_mm), len(x_mm)), U_KERF_MM**2),
    ),
    LayoutRule(
        name="nut thickness left out",
        text="Every slot was measured from the wrong side of the nut; by sound that is the same as a nut too near the bridge.",
        share=0.005,
        shift_mm=lambda design: np.full(len(design.cells), NUT_MM),
        extra_covariance=lambda x_mm: np.full((len(x_mm), len(x_mm)), U_NUT_MM**2),
    ),
)
