"""Necks of an invented shop, built, played to a perfect listener and diagnosed: what the register would hold of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, replace
from typing import Any, Literal

import numpy as np

from fretcheck.diagnosis.diagnose import diagnose
from fretcheck.diagnosis.infer.scatter import combine, hand_scatter
from fretcheck.diagnosis.model.as_designed import expected_cents
from fretcheck.diagnosis.model.string_priors import constants_of
from fretcheck.diagnosis.observation import Observation
from fretcheck.diagnosis.result import Finding, Predicted, Verdict
from fretcheck.inspection.document import (
    FretPart,
    InspectionDocument,
    NeckPart,
)
from fretcheck.neck.description import Neck
from fretcheck.session.placed_reading import ReadingPart
from tests.synth.demo import demo_neck
from tests.synth.perfect_listener import sampled_deviations
from tests.synth.random_neck import random_built_neck

TEMPLATE_FRET, TEMPLATE_MM = 7, 0.12


def shop_neck() -> Neck:
    """The design: that of the demo, without its hand measurements."""
    return replace(demo_neck(), measured=())


def diagnosed(neck: Neck, serial: str, observations: list[Observation]) -> InspectionDocument:
    """One neck through the whole diagnosis, as the register would hold it."""
    found = diagnose(neck, observations)
    frets = [FretPart(**asdict(note)) for note in found.notes]
    findings = [Finding(**asdict(one)) for one in found.findings]
    return _document(neck, serial, frets, findings, found.verdict.decision)


def heard_only(neck: Neck, serial: str, observations: list[Observation]) -> InspectionDocument:
    """The notes of the diagnosis without its search for causes, which lots do not use and which takes most of the time."""
    expected = expected_cents(neck, constants=constants_of(neck, observations))
    heard = combine(observations, hand_scatter(observations))
    frets = [
        FretPart(
            string=cell.string, fret=cell.fret, deviation_cents=float(cents), plucked_cents=float(cents), u_cents=float(u),
            expected_cents=float(expected[cell.string - 1, cell.fret]), unexplained_cents=None, plucks=2,
        )
        for cell, cents, u in zip(heard.cells, heard.cents, heard.u_cents, strict=True)
    ]  # fmt: skip
    return _document(neck, serial, frets, [], "pass")


def played(neck: Neck, rng: np.random.Generator, **faults: Any) -> list[Observation]:
    """What a perfect listener hears of a neck with the shop's scatter and the given faults, two plucks a note."""
    return [
        Observation(
            string=one.string, fret=one.fret, cents=one.cents, u_cents=one.u_cents, start_s=one.start_s, press=one.press,
            inharmonicity=one.inharmonicity, u_inharmonicity=one.u_inharmonicity,
        )
        for one in sampled_deviations(random_built_neck(neck, rng, **faults), rng, plucks=2)
    ]  # fmt: skip


def _document(
    neck: Neck, serial: str, frets: list[FretPart], findings: list[Finding], decision: Literal["pass", "fail", "undecided"]
) -> InspectionDocument:
    readings = [
        ReadingPart(
            string=note.string, fret=note.fret, f1_hz=None, target_hz=440.0, deviation_cents=None, u_cents=None,
            length_expected_mm=neck.scale_length_mm * 2 ** (-note.fret / 12), length_equivalent_error_mm=None, start_s=0.0,
            used=True, flags=[],
        )
        for note in frets
    ]  # fmt: skip
    return InspectionDocument(
        neck=NeckPart(name=neck.name, serial=serial),
        readings=readings,
        frets=frets,
        findings=findings,
        corrections=[],
        predicted_after=Predicted(worst_cents=None),
        verdict=Verdict(decision=decision, limit_cents=3.0, worst=None),
        warnings=[],
    )


def shop_lot(
    seed: int,
    *,
    necks: int = 30,
    bad: int | None = 4,
    inspect: Callable[[Neck, str, list[Observation]], InspectionDocument] = diagnosed,
) -> list[InspectionDocument]:
    """A lot whose template has fret 7 out by +0.12 mm; the neck numbered `bad` had a loose stop (0.15 mm scatter)."""
    rng = np.random.default_rng(seed)
    design = shop_neck()
    documents = []
    for number in range(necks):
        frets = {TEMPLATE_FRET: TEMPLATE_MM}
        if number == bad:
            loose = rng.normal(0, 0.15, design.frets)
            frets = {fret: float(loose[fret - 1]) + frets.get(fret, 0.0) for fret in range(1, design.frets + 1)}
        documents.append(inspect(design, f"N-{number:02d}", played(design, rng, frets_mm=frets)))
    return documents
