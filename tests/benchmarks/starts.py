"""The setbacks and tolerances of the ready-made descriptions, computed anew: run when the physics or an assumption changes.

Setbacks: where a perfectly built neck of these strings reads nearest to equal temperament, least squares over all frets of a
string. Tolerance: one cent more than such a neck reads at its worst note, rounded up to half a cent, and at least 3 cents.

    python -m tests.benchmarks.starts
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fretcheck.diagnosis.model.as_designed import as_designed
from fretcheck.diagnosis.model.stopped_string import partials, sharpness_cents
from fretcheck.inspection.perfect_neck import needed_tolerance_cents
from fretcheck.neck.description import Neck
from fretcheck.neck.starts import STARTS


def best_setbacks_mm(neck: Neck) -> list[float]:
    """Least squares over the frets of each string, by Gauss and Newton; nearly linear, so a few turns do."""
    design = as_designed(neck)
    setbacks = np.zeros(len(neck.strings))
    for _ in range(6):
        stop = design.stop(setbacks_mm=setbacks)
        cents, slope = sharpness_cents(stop), partials(stop)["saddle"]
        for index in range(len(setbacks)):
            own = design.string == index
            setbacks[index] -= slope[own] @ cents[own] / (slope[own] @ slope[own])
    return [round(one, 1) for one in setbacks.tolist()]


def main() -> None:
    for name, one in STARTS.items():
        neck = one.neck
        best = best_setbacks_mm(neck)
        own = [string.saddle_setback_mm for string in neck.strings]
        at_best = replace(neck, strings=tuple(replace(s, saddle_setback_mm=mm) for s, mm in zip(neck.strings, best, strict=True)))
        print(f"{name:20} setbacks {own}")
        print(f"{'':20} best     {best}")
        needed = f"needed {needed_tolerance_cents(neck):g}, at best {needed_tolerance_cents(at_best):g}"
        print(f"{'':20} tolerance {neck.tolerance_cents:g}, {needed}")


if __name__ == "__main__":
    main()
