"""Ready-made descriptions to start from: one a kind of instrument, to be edited to the neck on the bench.

Conventions
-----------
Scale lengths and gauges are usual ones (common practice, no source), not those of any maker. Gauges are given in thousandths
of an inch for metal strings, as the trade does, and in mm for nylon and fluorocarbon. Saddle setbacks are those at which a
perfectly built neck of these strings reads nearest to equal temperament (least squares over all frets, computed by
`diagnosis.as_designed`). Even then stopping a string leaves 1 to 4 cents at the first frets. The verdict is on what is heard, so
the tolerance is one cent more than such a neck reads, rounded up to half a cent, and at least 3 cents: less would refuse good
necks, or leave them undecided. `saddle` tells how the saddle is set (common practice, no source): glued bridges with a straight
saddle not at all, a saddle shaped string by string or with a screw for each by string, a floating bridge as a whole at any slant.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass

from fretcheck.errors import UsageError
from fretcheck.neck.description import Construction, Neck, SaddleMoves, String
from fretcheck.neck.temperament import MM_PER_INCH


@dataclass(frozen=True, kw_only=True)
class Start:
    """One ready-made description: its name on the command line, what it is, and the neck."""

    name: str
    meaning: str
    neck: Neck


@dataclass(frozen=True, kw_only=True)
class _Row:
    note: str
    gauge_mm: float
    construction: Construction
    material: str
    setback_mm: float
    first_fret: int = 0
    course: int | None = None


def _metal(
    note: str,
    thousandths: float,
    setback_mm: float,
    winding: str | None = None,
    *,
    first_fret: int = 0,
    course: int | None = None,
) -> _Row:
    """A plain steel string, or one wound with `winding`."""
    return _Row(
        note=note,
        gauge_mm=round(thousandths / 1000.0 * MM_PER_INCH, 3),
        construction="plain" if winding is None else "wound",
        material=winding or "steel",
        setback_mm=setback_mm,
        first_fret=first_fret,
        course=course,
    )


def _soft(note: str, gauge_mm: float, setback_mm: float, material: str = "nylon") -> _Row:
    """A plain string of a polymer, or one wound with a metal on strands of nylon."""
    wound = material == "silver_plated_copper"
    return _Row(
        note=note, gauge_mm=gauge_mm, construction="wound" if wound else "plain", material=material, setback_mm=setback_mm
    )


def _start(
    name: str,
    meaning: str,
    scale_length_mm: float,
    frets: int,
    *rows: _Row,
    saddle: SaddleMoves,
    tolerance_cents: float = Neck.tolerance_cents,
) -> Start:
    strings = tuple(
        String(
            note=row.note,
            gauge_mm=row.gauge_mm,
            construction=row.construction,
            material=row.material,
            scale_length_mm=scale_length_mm,
            saddle_setback_mm=row.setback_mm,
            first_fret=row.first_fret,
            course=row.course,
        )
        for row in rows
    )
    neck = Neck(
        name=f"My {meaning}",
        scale_length_mm=scale_length_mm,
        frets=frets,
        strings=strings,
        tolerance_cents=tolerance_cents,
        saddle_moves=saddle,
    )
    return Start(name=name, meaning=meaning, neck=neck)


_BRONZE, _NICKEL, _SILVERED = "phosphor_bronze", "nickel_plated_steel", "silver_plated_copper"

STARTS: dict[str, Start] = {
    start.name: start
    for start in (
        _start(
            "guitar-6-steel", "steel-string guitar", 648.0, 20,
            _metal("E4", 12, 1.7), _metal("B3", 16, 3.1), _metal("G3", 24, 1.6, _BRONZE),
            _metal("D3", 32, 2.0, _BRONZE), _metal("A2", 42, 2.6, _BRONZE), _metal("E2", 53, 3.5, _BRONZE),
            saddle="per_string", tolerance_cents=4.0,
        ),
        _start(
            "guitar-6-nylon", "nylon-string guitar", 650.0, 19,
            _soft("E4", 0.71, 2.2), _soft("B3", 0.82, 2.4), _soft("G3", 1.02, 2.8),
            _soft("D3", 0.74, 2.2, _SILVERED), _soft("A2", 0.89, 2.6, _SILVERED), _soft("E2", 1.09, 3.0, _SILVERED),
            saddle="none",
        ),
        _start(
            "guitar-12-steel", "twelve-string guitar", 648.0, 20,
            _metal("E4", 10, 1.6, course=1), _metal("E4", 10, 1.6, course=1),
            _metal("B3", 14, 2.9, course=2), _metal("B3", 14, 2.9, course=2),
            _metal("G3", 23, 1.7, _BRONZE, course=3), _metal("G4", 8, 1.1, course=3),
            _metal("D3", 30, 2.1, _BRONZE, course=4), _metal("D4", 12, 2.1, course=4),
            _metal("A2", 39, 2.7, _BRONZE, course=5), _metal("A3", 18, 3.9, course=5),
            _metal("E2", 47, 3.8, _BRONZE, course=6), _metal("E3", 27, 1.9, _BRONZE, course=6),
            saddle="per_string", tolerance_cents=4.5,
        ),
        _start(
            "guitar-baritone", "baritone guitar", 686.0, 22,
            _metal("B3", 14, 2.6), _metal("F#3", 18, 4.6), _metal("D3", 28, 2.1, _NICKEL),
            _metal("A2", 38, 2.7, _NICKEL), _metal("E2", 50, 3.5, _NICKEL), _metal("B1", 68, 4.8, _NICKEL),
            saddle="per_string", tolerance_cents=5.0,
        ),
        _start(
            "bass-4", "four-string electric bass", 864.0, 20,
            _metal("G2", 45, 2.1, _NICKEL), _metal("D2", 65, 2.7, _NICKEL),
            _metal("A1", 85, 3.9, _NICKEL), _metal("E1", 105, 5.8, _NICKEL),
            saddle="per_string", tolerance_cents=3.5,
        ),
        _start(
            "bass-5", "five-string electric bass", 864.0, 24,
            _metal("G2", 45, 2.0, _NICKEL), _metal("D2", 65, 2.7, _NICKEL), _metal("A1", 85, 3.8, _NICKEL),
            _metal("E1", 105, 5.7, _NICKEL), _metal("B0", 130, 8.6, _NICKEL),
            saddle="per_string", tolerance_cents=4.5,
        ),
        _start(
            "ukulele", "ukulele", 380.0, 15,
            _soft("A4", 0.52, 1.9, "fluorocarbon"), _soft("E4", 0.66, 2.2, "fluorocarbon"),
            _soft("C4", 0.81, 2.5, "fluorocarbon"), _soft("G4", 0.58, 2.0, "fluorocarbon"),
            saddle="none",
        ),
        _start(
            "mandolin", "mandolin", 352.0, 20,
            _metal("E5", 10, 1.4, course=1), _metal("E5", 10, 1.4, course=1),
            _metal("A4", 14, 3.1, course=2), _metal("A4", 14, 3.1, course=2),
            _metal("D4", 24, 2.2, _BRONZE, course=3), _metal("D4", 24, 2.2, _BRONZE, course=3),
            _metal("G3", 38, 2.9, _BRONZE, course=4), _metal("G3", 38, 2.9, _BRONZE, course=4),
            saddle="slant", tolerance_cents=5.5,
        ),
        _start(
            "banjo-tenor", "tenor banjo", 580.0, 19,
            _metal("A4", 9, 1.1), _metal("D4", 13, 2.6), _metal("G3", 22, 2.2, _NICKEL), _metal("C3", 30, 3.2, _NICKEL),
            saddle="slant", tolerance_cents=4.0,
        ),
        _start(
            "banjo-5", "five-string banjo", 670.0, 22,
            _metal("D4", 10, 1.8), _metal("B3", 12, 2.5), _metal("G3", 16, 4.1),
            _metal("D3", 23, 2.5, _NICKEL), _metal("G4", 10, 2.2, first_fret=5),
            saddle="slant", tolerance_cents=4.5,
        ),
    )
}  # fmt: skip
"""By name, as typed after ``fretcheck neck --start``."""


def start(name: str) -> Start:
    """The ready-made description of that name.

    Raises
    ------
    UsageError
        There is none; the message names the nearest or all.
    """
    if name in STARTS:
        return STARTS[name]
    close = difflib.get_close_matches(name, STARTS, n=1)
    hint = f'did you mean "{close[0]}"?' if close else f"there are {', '.join(STARTS)}"
    raise UsageError(f'no ready-made description "{name}": {hint}')
