"""Documents of inspections whose truth is known: built necks heard by a perfect ear, judged by the real diagnosis."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from fretcheck.inspection.assemble import Circumstances, judge
from fretcheck.inspection.document import InspectionDocument
from fretcheck.pitch.reading import NoteReading
from fretcheck.session.deviation import inspection_from
from fretcheck.session.placed_reading import Reading
from fretcheck.session.plan import Ask
from tests.synth.demo import demo_built
from tests.synth.perfect_listener import sampled_deviations
from tests.synth.strung_neck import BuiltNeck

INTAKE = (0, 1, 3, 5, 7, 9, 12, 15, 20)


def heard(
    built: BuiltNeck, *, seed: int, frets: tuple[int, ...] | None = None, plan: str = "full", plucks: int = 2
) -> InspectionDocument:
    """The document of `built` as a perfect ear with an unsteady hand would give it."""
    notes = [
        Reading(
            ask=Ask(string=one.string, fret=one.fret),
            start_s=one.start_s,
            note=NoteReading(
                f1_hz=one.f1_hz,
                u_cents=one.u_cents,
                inharmonicity=one.inharmonicity,
                u_inharmonicity=one.u_inharmonicity,
                snr_db=40.0,
                partials=20,
                glide_cents=0.0,
                window_s=(0.1, 1.1),
                remarks=(),
            ),
        )
        for one in sampled_deviations(built, np.random.default_rng(seed), plucks=plucks)
        if frets is None or one.fret in frets
    ]
    planned = [(one.string, one.fret) for one in notes]
    inspection = inspection_from(built.neck, notes, planned=planned, plan=plan, source="bench microphone", sample_rate_hz=48000.0)
    return judge(inspection, circumstances=Circumstances(operator="M. Reed", temperature_c=20.5, humidity_pct=47.0))


@cache
def before() -> InspectionDocument:
    """The demo's neck: fret 7 0.40 mm toward the bridge, nut 0.45 mm high, saddle of string 3 2.2 mm back."""
    return heard(demo_built(), seed=11)


@cache
def after() -> InspectionDocument:
    """The same neck with every correction of `before` made exactly; the clearance over fret 1 measured anew."""
    built = corrected(demo_built(), before())
    filed = built.nut_height_mm - demo_built().nut_height_mm
    measured = tuple(replace(one, mm=one.mm + filed * 2.0 ** (-1.0 / 12.0)) for one in built.neck.measured)
    return heard(replace(built, neck=replace(built.neck, measured=measured)), seed=12)


@cache
def intake() -> InspectionDocument:
    """The demo's neck at an intake's frets."""
    return heard(demo_built(), seed=13, frets=INTAKE, plan="intake")


def corrected(built: BuiltNeck, document: InspectionDocument) -> BuiltNeck:
    """`built` with the document's corrections carried out to the letter."""
    nut, height = built.nut_mm, built.nut_height_mm
    saddles, frets = dict(built.saddle_mm), dict(built.frets_mm)
    for one in [move for step in document.corrections for move in step.moves]:
        move = one.move_mm or 0.0
        if one.part == "nut":
            nut += move
        elif one.part == "nut_height" and one.string is None:
            height += move
        elif one.part == "fret" and one.fret is not None:
            frets[one.fret] = frets.get(one.fret, 0.0) + move
        elif one.part == "saddle":
            for string in [one.string] if one.string else range(1, len(built.neck.strings) + 1):
                saddles[string] = saddles.get(string, 0.0) + move
    return replace(built, nut_mm=nut, nut_height_mm=height, saddle_mm=saddles, frets_mm=frets)
