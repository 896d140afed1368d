"""Where each slot of a neck sits, read from a kept inspection: what a template's errors are computed from.

A diagnosis draws each fret toward "cut well" and names it only when it is surely out. That is right for one neck and wrong for
a template: the same small error on thirty necks would be played down thirty times. So slots are read from the plucks directly:
their mean, less what a perfect neck of these strings would read, as mm at that fret, and a weighted straight line across
the strings gives position and tilt. What the nut, the saddle or the hand did to all frets of a neck is still in these errors;
`template_errors` takes it out.

Conventions
-----------
mm, positive toward the bridge; tilt positive when the treble end sits nearer the bridge, quoted at the outer strings.
1 mm of speaking length L is 1731.234/L cents.
"""

from __future__ import annotations

from collections import defaultdict

import numpy as np

from fretcheck.errors import DiagnosisRefusedError
from fretcheck.inspection.budget import plucked_u_cents
from fretcheck.inspection.document import FretPart, InspectionDocument
from fretcheck.lots.template_errors import Quantity, SlotError
from fretcheck.lots.variance_components import Floats
from fretcheck.units import CENTS_PER_NEPER


def neck_of(document: InspectionDocument) -> str:
    """The neck's serial, or its name when it has none."""
    return document.neck.serial or document.neck.name


def slot_errors_of(document: InspectionDocument, *, quantity: Quantity = "position") -> list[SlotError]:
    """Position (or tilt) of every fret that was read on at least one (two) strings.

    Raises
    ------
    DiagnosisRefusedError
        When the inspection holds no diagnosed notes, or too few strings for a tilt.
    """
    lengths = {(r.string, r.fret): r.length_expected_mm for r in document.readings}
    by_fret: dict[int, list[tuple[int, float, float]]] = defaultdict(list)  # (string, mm, u_mm)
    for part in document.frets:
        error, u = _error_cents(part), plucked_u_cents(document, part)
        if part.fret > 0 and error is not None and u and (part.string, part.fret) in lengths:
            mm_per_cent = lengths[part.string, part.fret] / CENTS_PER_NEPER
            by_fret[part.fret].append((part.string, mm_per_cent * error, mm_per_cent * u))
    if not by_fret:
        raise DiagnosisRefusedError(f"inspection {document.id or neck_of(document)} holds no diagnosed notes")
    strings = max(string for notes in by_fret.values() for string, _, _ in notes)
    fewest, which = (1, 0) if quantity == "position" else (2, 1)
    errors = []
    for fret, notes in sorted(by_fret.items()):
        if len(notes) >= fewest:
            across = np.array([_across(string, strings) for string, _, _ in notes])
            value, u = _line(across, np.array([mm for _, mm, _ in notes]), np.array([u for _, _, u in notes]))[which]
            errors.append(SlotError(neck=neck_of(document), fret=fret, error_mm=value, u_mm=u))
    if not errors:
        raise DiagnosisRefusedError(
            f"inspection {document.id or neck_of(document)} has no fret read on enough strings for {quantity}"
        )
    return errors


def _error_cents(part: FretPart) -> float | None:
    """What was heard less what a perfect neck would read; None when either is unknown."""
    if part.plucked_cents is None or part.expected_cents is None:
        return None
    return part.plucked_cents - part.expected_cents


def _across(string: int, strings: int) -> float:
    """Place of a string across the neck: +1 at string 1, −1 at the last."""
    return 0.0 if strings == 1 else 1.0 - 2.0 * (string - 1) / (strings - 1)


def _line(across: Floats, error: Floats, u: Floats) -> tuple[tuple[float, float], tuple[float, float]]:
    """Weighted line through the strings: (position, u), (tilt, u); one string tells no tilt."""
    weight = 1.0 / u**2
    if len(error) == 1:
        return (float(error[0]), float(u[0])), (0.0, float("inf"))
    design = np.column_stack([np.ones_like(across), across])
    covariance = np.linalg.inv(design.T @ (weight[:, None] * design))
    position, tilt = covariance @ (design.T @ (weight * error))
    return (float(position), float(covariance[0, 0] ** 0.5)), (float(tilt), float(covariance[1, 1] ** 0.5))
