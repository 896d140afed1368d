"""The one hand measurement that would narrow a cause most.

Measured with uncertainty u, a linear function r·θ takes (c·Σ·r)²/(r·Σ·r + u²) off the variance of a cause c·θ; the candidate
that takes most is named, if it takes enough.
"""

from collections.abc import Sequence

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.diagnosis.conclude.causes import PossibleCause
from fretcheck.diagnosis.conclude.words import name
from fretcheck.diagnosis.infer.posterior import Posterior
from fretcheck.diagnosis.model.by_hand import measurement_row
from fretcheck.diagnosis.result import Sharpener
from fretcheck.neck.measured import fresh
from fretcheck.neck.measurement import MEASUREMENT_KINDS

WORTH_MEASURING = 0.8  # A hand measurement is suggested when it leaves less than this share of the uncertainty
PRESS_TEST_U_MM = 0.06  # How well the press test tells the finger's usual depth at the low frets


def sharpeners_of(posterior: Posterior, causes: Sequence[PossibleCause]) -> tuple[Sharpener, ...]:
    """For each cause the one hand measurement that narrows it most, if any does so by enough."""
    candidates, covariance = _candidates(posterior), posterior.covariance
    if not candidates:
        return ()
    rows, u_mm = np.array([row for *_, row, _ in candidates]), np.array([u for *_, u in candidates])
    shared = rows @ covariance
    variances = np.sum(shared * rows, axis=1) + u_mm**2
    answer: list[Sharpener] = []
    for cause in causes:
        before = float(cause.row @ covariance @ cause.row)
        drops = (shared @ cause.row) ** 2 / variances
        best = int(np.argmax(drops))
        drop, (what, fret, string, _, _) = float(drops[best]), candidates[best]
        if before - drop > WORTH_MEASURING**2 * before:
            continue
        u_before, u_after = float(np.sqrt(before)), float(np.sqrt(max(before - drop, 0.0)))
        estimate = cause.estimate
        digits, unit = (2, "mm") if estimate.unit == "mm" else (1, "cents")
        text = (
            f"{_how(what, fret, string)} would narrow {name(estimate, kind=cause.kind)} from ±{u_before:.{digits}f} to "
            f"±{u_after:.{digits}f} {unit}."
        )
        answer.append(
            Sharpener(what=what, fret=fret, string=string, cause=estimate.cause, u_before=u_before, u_after=u_after, text=text)
        )
    return tuple(answer)


def _how(what: str, fret: int | None, string: int | None) -> str:
    where = f" along string {string}" if string is not None and what in ("nut_to_fret", "nut_to_saddle") else ""
    under = f" under string {string}" if string is not None else ""
    return {
        "nut_to_fret": f"Measuring from the nut to fret {fret}{where} with a rule",
        "nut_to_saddle": f"Measuring from the nut to the saddle{where} with a rule",
        "first_fret_clearance": f"Measuring the clearance over fret 1{under} with feeler gauges",
        "action_12": f"Measuring the action over fret 12{under}",
        "relief": "Measuring the relief with a feeler gauge",
        "press_test": "The press test (one string, light and firm, at frets 1 and 5)",
    }[what]


def _candidates(posterior: Posterior) -> list[tuple[str, int | None, int | None, Reals, float]]:
    """Hand measurements not made yet: what, fret, string, row and usual uncertainty."""
    design, parameters = posterior.design, posterior.parameters
    strings = range(1, len(design.neck.strings) + 1)
    asked: list[tuple[str, int | None, int | None]] = [("nut_to_fret", fret, None) for fret in range(1, design.neck.frets + 1)]
    asked += [("first_fret_clearance", None, None), ("action_12", None, None), ("relief", None, None)]
    asked += [(what, None, string) for what in ("nut_to_saddle", "first_fret_clearance") for string in strings]
    asked += [
        ("nut_to_fret", fret, string) for fret in range(1, design.neck.frets + 1) for string in (1, len(design.neck.strings))
    ]
    made = {(one.what, one.fret, one.string) for one in fresh(design.neck)}
    answer = []
    for what, fret, string in asked:
        if (what, fret, string) in made:
            continue
        row = measurement_row(design, parameters, what=what, fret=fret, string=string)
        if row is not None and row.any():
            answer.append((what, fret, string, row, MEASUREMENT_KINDS[what].u_mm()))
    pressure = parameters.column("pressure")
    if pressure is not None and parameters.column("light") is None:
        row = np.zeros(len(parameters.keys))
        row[[pressure, *parameters.columns("finger_low")]] = 1.0
        answer.append(("press_test", None, None, row, PRESS_TEST_U_MM))
    return answer
