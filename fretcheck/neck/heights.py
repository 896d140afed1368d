"""How high the strings lie over the frets of a neck as designed: as the description says, or as usual where it says nothing.

Conventions: mm. `nut_height` and `saddle_height_mm` lie above the plane of the fret crowns of a straight neck; `action_12` and
`first_fret_clearance` are gaps to a crown as a feeler gauge finds them, relief included. A string is a straight line from nut
to saddle. `u_mm` is a standard uncertainty. What is assumed is common practice, no source.
"""

import math
from dataclasses import dataclass

from fretcheck.neck.description import Neck, Sides
from fretcheck.neck.physics import core_of

NUT_HEIGHT_MM = {False: 0.5, True: 0.7}  # metal, polymer strings of a guitar
ACTION_12_MM = {False: 2.0, True: 3.0}  # the same, over fret 12
# Strings of another length lie higher or lower: over fret 12 as its square root (1.5 mm on a mandolin of 352 mm, 2.3 on a bass of
# 864 mm), at the nut in proportion, but no higher than a guitar's
GUITAR_SCALE_MM = 650.0
U_ASSUMED_ACTION_12_MM = 0.5  # 1.5 to 3 mm in use
U_ASSUMED_NUT_HEIGHT_MM = 0.03
ASSUMED_RELIEF_MM, U_ASSUMED_RELIEF_MM = 0.12, 0.12  # 0.1 to 0.4 mm in use, and straight ones


@dataclass(frozen=True, kw_only=True)
class Height:
    """One height of the design."""

    mm: float
    u_mm: float
    described: bool  # False where it is assumed


def relief(neck: Neck) -> Height:
    """Hollow of the neck at mid-length."""
    if neck.relief_mm is None:
        return Height(mm=ASSUMED_RELIEF_MM, u_mm=U_ASSUMED_RELIEF_MM, described=False)
    return Height(mm=neck.relief_mm, u_mm=neck.u_relief_mm, described=True)


def action_12(neck: Neck, number: int) -> Height:
    """Gap over the crown of fret 12, or what stands at half the scale length."""
    if neck.action_12_mm is not None:
        return Height(mm=_at(neck.action_12_mm, neck, number), u_mm=neck.u_action_12_mm, described=True)
    length = neck.string(number).scale_length_mm / GUITAR_SCALE_MM
    usual = ACTION_12_MM[core_of(neck.string(number)).is_polymer] * math.sqrt(length)
    return Height(mm=usual, u_mm=U_ASSUMED_ACTION_12_MM, described=False)


def nut_height(neck: Neck, number: int) -> Height:
    """Height at the nut; none over a zero fret. Where the clearance over fret 1 is described, it follows from that."""
    if neck.zero_fret:
        return Height(mm=0.0, u_mm=0.0, described=True)
    if neck.first_fret_clearance_mm is not None:
        gap = _at(neck.first_fret_clearance_mm, neck, number) - described_relief_mm(neck, 1)
        share = 2.0 * _share(neck, 1)
        mm = (gap - share * _straight_action_mm(neck, number)) / max(1.0 - share, 0.1)
        return Height(mm=mm, u_mm=neck.u_first_fret_clearance_mm, described=True)
    length = neck.string(number).scale_length_mm / GUITAR_SCALE_MM
    usual = NUT_HEIGHT_MM[core_of(neck.string(number)).is_polymer] * min(length, 1.0)
    return Height(mm=usual, u_mm=U_ASSUMED_NUT_HEIGHT_MM, described=False)


def first_fret_clearance(neck: Neck, number: int) -> Height:
    """Gap over the crown of fret 1."""
    nut, action = nut_height(neck, number), _straight_action_mm(neck, number)
    mm = nut.mm + 2.0 * _share(neck, 1) * (action - nut.mm) + described_relief_mm(neck, 1)
    return Height(mm=mm, u_mm=nut.u_mm, described=neck.first_fret_clearance_mm is not None)


def saddle_height_mm(neck: Neck, number: int) -> float:
    """Height of a string's saddle: its action over fret 12, drawn on in a straight line."""
    string, nut = neck.string(number), nut_height(neck, number).mm
    rise = 2.0 * (_straight_action_mm(neck, number) - nut)
    return nut + rise * (1.0 + string.known_setback_mm / string.scale_length_mm)


def hollow(neck: Neck, fret: int) -> float:
    """Share of the neck's relief by which the crown of `fret` lies low: a parabola from the nut to the last fret."""
    return _hollow_at(neck, _share(neck, fret))


def _hollow_at(neck: Neck, share: float) -> float:
    along = min(share / _share(neck, neck.frets), 1.0)
    return 4.0 * along * (1.0 - along)


def described_relief_mm(neck: Neck, fret: int) -> float:
    """How far the described relief lowers the crown of `fret`; an assumed one is left to the diagnosis."""
    return neck.known_relief_mm * hollow(neck, fret)


def _straight_action_mm(neck: Neck, number: int) -> float:
    """Height at half the scale length, where fret 12 stands, were the neck straight."""
    return action_12(neck, number).mm - neck.known_relief_mm * _hollow_at(neck, 0.5)


def _share(neck: Neck, fret: int) -> float:
    """Distance of a fret from the nut, as a share of the scale length."""
    return neck.nut_distance_mm(fret) / neck.scale_length_mm


def _at(sides: Sides, neck: Neck, number: int) -> float:
    return 0.5 * (sides.treble + sides.bass) + 0.5 * (sides.treble - sides.bass) * neck.across(number)
