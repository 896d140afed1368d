"""Where each slot of a neck sits, read from a kept inspection: what a template's errors are computed from.

A diagnosis draws each fret toward "cut well", which is right for one neck and wrong for a template: the same small error on
thirty necks would be played down thirty times. So the part that the diagnosis left unexplained at a fret is given back to
that fret before necks are compared: per string, error = what the fret and its tilt explain + unexplained cents as mm.
Position and tilt then follow from a weighted straight line across the strings.

Conventions
-----------
mm, positive toward the bridge; tilt positive when the treble end sits nearer the bridge, quoted at the outer strings.
1 mm of speaking length L is 1731.234/L cents.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping

import numpy as np

from fretcheck.errors import DiagnosisRefusedError
from fretcheck.lots.template_errors import Quantity, SlotError
from fretcheck.register.document import FretPart, InspectionDocument

CENTS_PER_NEPER = 1731.234049066756


def neck_of(document: InspectionDocument) -> str:
    """The neck's serial, or its name when it has none."""
    return document.neck.serial or document.neck.name


def slot_errors_of(document: InspectionDocument, *, quantity: Quantity = "position") -> list[SlotError]:
    """Position (or tilt) of every fret that was read on at least one (two) strings.

    Raises
    ------
    DiagnosisRefusedError
        When the inspection holds no diagnosis, or too few strings for a tilt.
    """
    by_fret: dict[int, list[FretPart]] = defaultdict(list)
    for part in document.frets:
        if part.fret > 0 and part.unexplained_cents is not None and part.u_cents:
            by_fret[part.fret].append(part)
    position = _causes(document, "fret_position")
    tilt = _causes(document, "fret_tilt")
    if not by_fret or not position:
        raise DiagnosisRefusedError(f"inspection {document.id or neck_of(document)} holds no diagnosed frets")
    lengths = {(r.string, r.fret): r.length_expected_mm for r in document.readings}
    strings = max(part.string for parts in by_fret.values() for part in parts)
    errors = []
    for fret, parts in sorted(by_fret.items()):
        parts = [part for part in parts if (part.string, fret) in lengths]
        if fret not in position or len(parts) < (1 if quantity == "position" else 2):
            continue
        across = np.array([_across(part.string, strings) for part in parts])
        per_cent = np.array([lengths[part.string, fret] / CENTS_PER_NEPER for part in parts])
        left = per_cent * np.array([part.unexplained_cents for part in parts], dtype=float)
        error = position[fret] + tilt.get(fret, 0.0) * across + left
        u = per_cent * np.array([part.u_cents for part in parts], dtype=float)
        value, u_value = _line(across, error, u)[0 if quantity == "position" else 1]
        errors.append(SlotError(neck=neck_of(document), fret=fret, error_mm=value, u_mm=u_value))
    if not errors:
        raise DiagnosisRefusedError(
            f"inspection {document.id or neck_of(document)} has no fret read on enough strings for {quantity}"
        )
    return errors


def _causes(document: InspectionDocument, kind: str) -> Mapping[int, float]:
    return {c.fret: c.value for c in document.causes if c.cause == kind and c.fret is not None and c.unit == "mm"}


def _across(string: int, strings: int) -> float:
    """Place of a string across the neck: +1 at string 1, −1 at the last."""
    return 0.0 if strings == 1 else 1.0 - 2.0 * (string - 1) / (strings - 1)


def _line(across: np.ndarray, error: np.ndarray, u: np.ndarray) -> tuple[tuple[float, float], tuple[float, float]]:
    """Weighted line through the strings: (position, u), (tilt, u); with one string the tilt is taken as 0."""
    weight = 1.0 / u**2
    if len(error) == 1:
        return (float(error[0]), float(u[0])), (0.0, float("inf"))
    design = np.column_stack([np.ones_like(across), across])
    covariance = np.linalg.inv(design.T @ (weight[:, None] * design))
    position, tilt = covariance @ (design.T @ (weight * error))
    return (float(position), float(covariance[0, 0] ** 0.5)), (float(tilt), float(covariance[1, 1] ** 0.5))
