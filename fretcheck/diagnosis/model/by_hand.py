"""Measurements by rule, calliper and feeler gauge as observations of the same parameters.

Conventions: mm, on the neck's axis. A row is the measurement's derivative by every parameter; its value is measured minus
designed. Along the middle of the neck a part is taken as the mean over the strings.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fretcheck.arrays import Reals
from fretcheck.diagnosis.model.as_designed import AsDesigned
from fretcheck.diagnosis.model.parameters import Parameters
from fretcheck.neck.description import Measurement
from fretcheck.neck.heights import described_relief_mm
from fretcheck.neck.measured import stale

ALIKE = 0.5  # Share of the variance that measurements of one kind have in common: the same hand, gauge and light


@dataclass(frozen=True, kw_only=True)
class ByHand:
    """Measurements in the form the inference takes."""

    values: Reals
    rows: Reals  # Shape (measurements, parameters)
    u: Reals
    kinds: tuple[str, ...]  # What each measures
    unused: tuple[str, ...]  # Those that say nothing here, each with the reason

    @property
    def covariance(self) -> Reals:
        """Of their errors, mm²."""
        alike = np.array(self.kinds)[:, None] == np.array(self.kinds)
        return np.outer(self.u, self.u) * np.where(np.eye(len(self.u), dtype=bool), 1.0, ALIKE * alike)


def by_hand(
    design: AsDesigned, parameters: Parameters, measured: Sequence[Measurement], *, shift_mm: Reals | None = None
) -> ByHand:
    """All `measured` as rows. `shift_mm` per cell is a layout other than designed."""
    overtaken = stale(design.neck)
    values, rows, u, kinds, unused = [], [], [], [], list(overtaken.values())
    for one in measured:
        if one in overtaken:
            continue
        row = measurement_row(design, parameters, what=one.what, fret=one.fret, string=one.string)
        if row is None:
            unused.append(f"The hand measurement {one.what} does not fit this neck's strings and frets and was not used.")
            continue
        values.append(one.mm - designed_mm(design, what=one.what, fret=one.fret, string=one.string, shift_mm=shift_mm))
        rows.append(row)
        u.append(one.u_mm)
        kinds.append(one.what)
    matrix = np.array(rows) if rows else np.zeros((0, len(parameters.keys)))
    return ByHand(values=np.array(values), rows=matrix, u=np.array(u), kinds=tuple(kinds), unused=tuple(unused))


def measurement_row(
    design: AsDesigned, parameters: Parameters, *, what: str, fret: int | None = None, string: int | None = None
) -> Reals | None:
    """Derivative of a measurement by every parameter; None where this neck has nothing to measure so."""
    if what == "fret_to_fret" and fret is not None and fret > 1:
        far = measurement_row(design, parameters, what="nut_to_fret", fret=fret, string=string)
        near = measurement_row(design, parameters, what="nut_to_fret", fret=fret - 1, string=string)
        return None if far is None or near is None else far - near
    if what == "relief":
        return np.array([float(key.kind == "relief") for key in parameters.keys])
    at = {"nut_to_fret": fret, "fret_to_fret": fret, "first_fret_clearance": 1, "action_12": design.neck.octave_fret}.get(what)
    cells = _cells(design, fret=at, string=string)
    if not len(cells):
        return None
    first = first_share(design)
    coefficients: dict[str, dict[str, float]] = {
        "nut_to_fret": {"fret": 1.0, "nut": -1.0},
        "fret_to_fret": {"fret": 1.0, "nut": -1.0},
        "nut_to_saddle": {"saddle": 1.0, "nut": -1.0},
        "first_fret_clearance": {"nut_height": 1.0 - first, "saddle_height": first, "relief": 1.0},
        "action_12": {"nut_height": 0.5, "saddle_height": 0.5, "relief": 1.0},
        "capo": {"finger": 1.0},
    }
    if what not in coefficients:
        return None
    factors = np.array([coefficients[what].get(local, 0.0) for local in parameters.local])
    return np.asarray(factors * np.mean(parameters.matrix[:, cells], axis=1))


def designed_mm(design: AsDesigned, *, what: str, fret: int | None, string: int | None, shift_mm: Reals | None = None) -> float:
    """What the measurement would give on the neck as designed."""
    if what == "fret_to_fret" and fret is not None and fret > 1:
        far = designed_mm(design, what="nut_to_fret", fret=fret, string=string, shift_mm=shift_mm)
        return far - designed_mm(design, what="nut_to_fret", fret=fret - 1, string=string, shift_mm=shift_mm)
    neck, stop = design.neck, design.stop
    cells = _cells(design, fret=fret if what in ("nut_to_fret", "fret_to_fret") else None, string=string)
    if what in ("nut_to_fret", "fret_to_fret"):
        described = neck.string(string) if string is not None else None
        start = described.first_fret if described is not None else 0
        own_nut = float(np.mean(stop.nut[cells]))
        from_line = neck.nut_distance_mm(fret or 0, string) - neck.nut_distance_mm(start, string) - own_nut
        shift = 0.0 if shift_mm is None else float(np.mean(shift_mm[cells]))
        return from_line + shift
    if what == "nut_to_saddle":
        return float(np.mean(stop.scale[cells] + stop.saddle[cells] - stop.nut[cells]))
    nut, saddle = float(np.mean(stop.nut_height[cells])), float(np.mean(stop.saddle_height[cells]))
    if what == "first_fret_clearance":
        return nut + (saddle - nut) * first_share(design) + described_relief_mm(neck, 1)
    if what == "action_12":
        along = float(np.mean(0.5 * stop.scale[cells] / (stop.scale[cells] + stop.saddle[cells])))
        return nut + (saddle - nut) * along + described_relief_mm(neck, neck.octave_fret)
    return float(np.mean(stop.finger[cells])) if what == "capo" else neck.known_relief_mm


def first_share(design: AsDesigned) -> float:
    """Where fret 1 stands, as a share of the scale length."""
    return design.neck.nut_distance_mm(1) / design.neck.scale_length_mm


def _cells(design: AsDesigned, *, fret: int | None, string: int | None) -> NDArray[np.intp]:
    """Cells that a measurement speaks of."""
    chosen = np.array([cell.press is None for cell in design.cells])
    if string is not None:
        chosen &= design.string == string - 1
    if fret is not None:
        chosen &= design.fret == fret
    return np.flatnonzero(chosen)
