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
    theta = all_done(bench, repairs)
    states = [bench.outcome(bench.filed(theta, bench.slotted, mm) if mm else theta).notes for mm in FILINGS_MM]
    whole = bench.saddle_slopes
    own = [whole * bench.of_string[string] for string in bench.strings]
    saddles = own if style in (None, "per_string") else [whole]
    if style == "slant":
        saddles.append(np.sum([bench.side[string] * one for string, one in zip(bench.strings, own, strict=True)], axis=0))
    bounds = [settings.most_saddle_mm] * len(saddles)
    easy = min(_least_worst(notes, saddles, bounds) for notes in states)
    text = (
        f"No work worth its cost makes it likely that every note lies within {bench.limit:.3g} cents. Worst note to expect: "
        f"{described:.1f} cents on a neck exactly as described, under this hand; {easy:.1f} with this neck's saddles and "
        "slots set as well as they allow"
    )
    if bench.column("nut_position") is None:
        return [f"{text}."]
    nut = [*saddles, bench.nut_slopes], [*bounds, settings.most_nut_mm]
    best = min(easy, *(_least_worst(notes, *nut) for notes in states))
    text = f"{text}; {best:.1f} with the nut moved as well."
    if best <= bench.limit:
        text += " So it could be done, by work dearer than a neck that comes back (cost_nut, cost_neck_back in the limits file)."
    return [text]


def _least_worst(notes: Reals, slopes: Sequence[Reals], bounds: Sequence[float]) -> float:
    """Worst note to expect after the moves, within ±`bounds` mm, that leave the least on the mean."""
    mean, columns = np.mean(notes, axis=0), np.array(slopes).T
    ones = np.ones((len(mean), 1))
    answer = linprog(
        np.array([0.0] * len(bounds) + [1.0]),
        A_ub=np.block([[columns, -ones], [-columns, -ones]]),
        b_ub=np.concatenate([-mean, mean]),
        bounds=[*((-most, most) for most in bounds), (0.0, None)],
        method="highs",
    )
    return float(np.mean(np.max(np.abs(notes + columns @ answer.x[:-1]), axis=1)))
