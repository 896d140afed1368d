"""How far a neck could be brought that no work brings within the limit: three figures that tell whether work is to blame at all.

The least worst note over moves of saddles and nut is a linear programme on the mean of the notes (minimax); slots are tried at a
few depths through the forward model.

Conventions: Cents: the worst note to expect, its mean over draws of what the neck may truly be.
"""

from collections.abc import Sequence

import numpy as np
from scipy.optimize import linprog

from fretcheck.arrays import Reals
from fretcheck.diagnosis.conclude.bench import Bench
from fretcheck.diagnosis.conclude.piece_of_work import Work, all_done
from fretcheck.diagnosis.settings import DiagnosisSettings, SaddleStyle

FILINGS_MM = (0.0, 0.1, 0.2, 0.3)


def three_figures(bench: Bench, repairs: Sequence[Work], style: SaddleStyle | None, settings: DiagnosisSettings) -> list[str]:
    """As described, with easy work, with a moved nut: one sentence each, in a list of one."""
    described = bench.outcome(bench.as_described(bench.theta)).expected_worst
    theta = all_done(bench, list(repairs))
    states = [bench.outcome(bench.filed(theta, bench.slotted, mm) if mm else theta).notes for mm in FILINGS_MM]
    saddles = _saddle_columns(bench, style)
    easy = min(_least_worst(notes, saddles, settings.most_saddle_mm, bench) for notes in states)
    text = (
        f"No work worth its cost makes it likely that every note lies within {bench.limit:.3g} cents. Worst note to expect: "
        f"{described:.1f} cents on a neck exactly as described, under this hand; {easy:.1f} with this neck's saddles and "
        "slots set as well as they allow"
    )
    if bench.column("nut_position") is None:
        return [f"{text}."]
    nut = [(bench.nut_slopes, settings.most_nut_mm)]
    moved = min(_least_worst(notes, saddles, settings.most_saddle_mm, bench, more=nut) for notes in states)
    text = f"{text}; {min(moved, easy):.1f} with the nut moved as well."
    if min(moved, easy) <= bench.limit:
        text += " So it could be done, by work dearer than a neck that comes back (cost_nut, cost_neck_back in the limits file)."
    return [text]


def _saddle_columns(bench: Bench, style: SaddleStyle | None) -> list[Reals]:
    """Cents for each mm of every way in which the saddles move."""
    slopes = bench.saddle_slopes
    if style in (None, "per_string"):
        return [slopes * bench.of_string[string] for string in bench.strings]
    sides = np.sum([bench.side[string] * bench.of_string[string] for string in bench.strings], axis=0)
    return [slopes] if style in ("none", "whole") else [slopes, slopes * sides]


def _least_worst(
    notes: Reals, saddles: list[Reals], most_mm: float, bench: Bench, *, more: Sequence[tuple[Reals, float]] = ()
) -> float:
    columns = np.array([*saddles, *(one for one, _ in more)]).T
    bounds = [(-most_mm, most_mm)] * len(saddles) + [(-most, most) for _, most in more]
    mean = np.mean(notes, axis=0)
    ones = np.ones((len(mean), 1))
    answer = linprog(
        np.array([0.0] * len(bounds) + [1.0]),
        A_ub=np.block([[columns, -ones], [-columns, -ones]]),
        b_ub=np.concatenate([-mean, mean]),
        bounds=[*bounds, (0.0, None)],
        method="highs",
    )
    after_setting = notes + columns @ answer.x[:-1]
    return float(np.mean(np.max(np.abs(after_setting), axis=1)))
