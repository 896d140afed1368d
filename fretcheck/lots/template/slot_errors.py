"""Where each slot of a neck sits, read from a kept inspection: what a template's errors are computed from.

A diagnosis draws each fret toward "cut well" and names it only when it is surely out. That is right for one neck and wrong for
a template: the same small error on thirty necks would be played down thirty times. So slots are read from the plucks directly:
their mean, less what a perfect neck of these strings would read, as mm at that fret. Each string's own trend is fitted, a line
across the strings gives position and tilt at each fret (`two_way`), and a note far from both is laid aside. What nut, saddle
and hand did to the whole neck is still in these errors; `template_errors` takes it out.

Conventions: mm, positive toward the bridge; tilt positive when the treble end sits nearer the bridge, quoted at the outer
strings. 1 mm of speaking length L is 1731.234/L cents.
"""

from dataclasses import dataclass

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.errors import DiagnosisRefusedError
from fretcheck.inspection.budget import plucked_u_cents
from fretcheck.inspection.document import InspectionDocument
from fretcheck.lots.template.two_way import trend_shapes, two_way
from fretcheck.units import CENTS_PER_NEPER

FEWEST_FOR_TILT = 2


@dataclass(frozen=True, kw_only=True)
class NeckSlots:
    """The slots of one neck; arrays by fret, in their order. NaN where a tilt could not be told."""

    neck: str
    frets: tuple[int, ...]
    gamma: Reals  # Open length over stopped length
    scale_mm: float  # Mean open length
    position_mm: Reals
    u_position_mm: Reals
    tilt_mm: Reals
    u_tilt_mm: Reals
    found: tuple[str, ...] = ()  # What the neck's own diagnosis found


def neck_of(document: InspectionDocument) -> str:
    """The neck's serial, or its name when it has none."""
    return document.neck.serial or document.neck.name


def slots_of(document: InspectionDocument) -> NeckSlots:
    """Position and tilt of every fret that was read.

    Raises DiagnosisRefusedError when the inspection holds no diagnosed notes.
    """
    lengths = {(r.string, r.fret): r.length_expected_mm for r in document.readings}
    notes = []
    for part in document.frets:
        known, heard, perfect = plucked_u_cents(document, part), part.plucked_cents, part.expected_cents
        if part.fret > 0 and known and heard is not None and perfect is not None and (part.string, part.fret) in lengths:
            common = document.conditions.open_u_cents.get(part.string, 0.0)  # of the whole string: in its trend
            notes.append((part.string, part.fret, heard - perfect, max(known**2 - common**2, 1e-4) ** 0.5))
    if not notes:
        raise DiagnosisRefusedError(f"inspection {document.id or neck_of(document)} holds no diagnosed notes")
    frets, strings = sorted({note[1] for note in notes}), sorted({note[0] for note in notes})
    values, u_mm = np.full((2, len(strings), len(frets)), np.nan)
    gamma, scale = np.ones(len(frets)), 0.0
    for string, fret, cents, u_cents in notes:
        row, column = strings.index(string), frets.index(fret)
        values[row, column], u_mm[row, column] = np.array([cents, u_cents]) * lengths[string, fret] / CENTS_PER_NEPER
        whole = lengths.get((string, 0))
        gamma[column] = 2.0 ** (fret / 12.0) if whole is None else whole / lengths[string, fret]
        scale += gamma[column] * lengths[string, fret] / len(notes)
    last = max(max(strings), *(part.string for part in document.frets))
    place = np.array([0.0 if last == 1 else 1.0 - 2.0 * (string - 1) / (last - 1) for string in strings])
    across = np.column_stack([np.ones_like(place), place])[:, : 2 if len(strings) >= FEWEST_FOR_TILT else 1]
    shapes = trend_shapes(gamma)
    fit = two_way(values, u_mm, shapes=shapes, across=across)
    shared = np.linalg.pinv(across) @ fit.rows  # what the strings' trends have in common, and how they turn across the neck
    slots = fit.columns + (shared @ shapes.T).T
    u = np.sqrt(np.diagonal(fit.columns_covariance, axis1=1, axis2=2))
    known = np.isfinite(values).sum(axis=0) >= FEWEST_FOR_TILT
    return NeckSlots(
        neck=neck_of(document),
        frets=tuple(frets),
        gamma=gamma,
        scale_mm=scale,
        position_mm=slots[:, 0],
        u_position_mm=u[:, 0],
        tilt_mm=np.where(known, slots[:, -1], np.nan) if across.shape[1] > 1 else np.full(len(frets), np.nan),
        u_tilt_mm=u[:, -1],
        found=tuple(sorted({_label(one.cause, one.fret, one.string) for one in document.findings})),
    )


def _label(cause: str, fret: int | None, string: int | None) -> str:
    place = f" at fret {fret}" if fret is not None else f" on string {string}" if string is not None else ""
    return cause.replace("_", " ") + place
