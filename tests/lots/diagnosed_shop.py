"""Necks of an invented shop, built, played to a perfect listener and diagnosed: what the register would hold of them."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import Any

import numpy as np

from fretcheck.diagnosis.diagnose import diagnose
from fretcheck.diagnosis.observation import Observation
from fretcheck.neck.description import Neck
from fretcheck.register.document import (
    FindingPart,
    FretPart,
    InspectionDocument,
    NeckPart,
    PredictedPart,
    ReadingPart,
    VerdictPart,
)
from fretcheck.synth.demo import demo_neck
from fretcheck.synth.perfect_listener import sampled_deviations
from fretcheck.synth.random_neck import random_built_neck

TEMPLATE_FRET, TEMPLATE_MM = 7, 0.12


def shop_neck() -> Neck:
    """The design: that of the demo, without its hand measurements."""
    return replace(demo_neck(), measured=())


def diagnosed(neck: Neck, serial: str, rng: np.random.Generator, *, plucks: int = 2, **faults: Any) -> InspectionDocument:
    """One neck with the shop's scatter and the given faults, as the register would hold it."""
    built = random_built_neck(neck, rng, **faults)
    heard = sampled_deviations(built, rng, plucks=plucks)
    found = diagnose(
        neck,
        [
            Observation(
                string=one.string, fret=one.fret, cents=one.cents, u_cents=one.u_cents, start_s=one.start_s, press=one.press,
                inharmonicity=one.inharmonicity, u_inharmonicity=one.u_inharmonicity,
            )
            for one in heard
        ],
    )  # fmt: skip
    return InspectionDocument(
        neck=NeckPart(name=neck.name, serial=serial),
        readings=[
            ReadingPart(
                string=note.string, fret=note.fret, f1_hz=None, target_hz=440.0, deviation_cents=None, u_cents=None,
                length_expected_mm=neck.scale_length_mm * 2 ** (-note.fret / 12), length_equivalent_error_mm=None, start_s=0.0,
                used=True, flags=[],
            )
            for note in found.notes
        ],
        frets=[
            FretPart(
                string=note.string, fret=note.fret, deviation_cents=note.heard_cents, u_cents=note.u_cents,
                expected_cents=note.expected_cents, unexplained_cents=note.unexplained_cents, caused_cents=note.caused_cents,
                plucks=plucks,
            )
            for note in found.notes
        ],
        findings=[FindingPart(**{**asdict(one), "shown_by": list(one.shown_by)}) for one in found.findings],
        corrections=[],
        predicted_after=PredictedPart(worst_cents=None),
        verdict=VerdictPart(decision=found.verdict.decision, limit_cents=found.verdict.limit_cents, worst=None),
        warnings=[],
    )  # fmt: skip


def diagnosed_shop(seed: int, *, necks: int = 30, bad: int | None = 4) -> list[InspectionDocument]:
    """A lot whose template has fret 7 out by +0.12 mm; the neck numbered `bad` had a loose stop (0.15 mm scatter)."""
    rng = np.random.default_rng(seed)
    design = shop_neck()
    documents = []
    for number in range(necks):
        frets = {TEMPLATE_FRET: TEMPLATE_MM}
        if number == bad:
            loose = rng.normal(0, 0.15, design.frets)
            frets = {fret: float(loose[fret - 1]) + frets.get(fret, 0.0) for fret in range(1, design.frets + 1)}
        documents.append(diagnosed(design, f"N-{number:02d}", rng, frets_mm=frets))
    return documents
