"""The whole diagnosis of one neck, from its plucks to findings, corrections and verdict.

Conventions
-----------
See `observation` for what goes in and `result` for what comes out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fretcheck.diagnosis.as_designed import Cell, expected_cents
from fretcheck.diagnosis.causes import possible_causes
from fretcheck.diagnosis.corrections import plan
from fretcheck.diagnosis.findings import Findings, findings_of
from fretcheck.diagnosis.inference import infer
from fretcheck.diagnosis.observation import Observation
from fretcheck.diagnosis.posterior import Posterior
from fretcheck.diagnosis.result import Diagnosis, NoteExplained
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.diagnosis.verdict import decide, judge
from fretcheck.errors import DiagnosisRefusedError, UsageError
from fretcheck.neck.description import Neck

Reals = NDArray[np.float64]


def diagnose(neck: Neck, observations: Sequence[Observation], *, settings: DiagnosisSettings = DiagnosisSettings()) -> Diagnosis:  # noqa: B008
    """What is out on a neck, by how much, how surely, and what to do about it.

    Parameters
    ----------
    neck : Neck
        The design, with any measurements by hand.
    observations : sequence of Observation
        One a pluck; those of a press test carry `press`. Any number of strings, frets and repeats: fewer widen the intervals.
    settings : DiagnosisSettings
        Practical sizes, the verdict's limit and risk.

    Raises
    ------
    DiagnosisRefusedError
        No fretted note among the observations.
    UsageError
        A string or fret that this neck has not got, or a deviation that is not a number.

    Examples
    --------
    >>> diagnose(neck, observations).findings[0].text  # doctest: +SKIP
    'Fret 7 sits 0.31 mm (±0.06 mm) too near the bridge.'
    """
    _check(neck, observations)
    posterior = infer(neck, observations)
    causes = possible_causes(posterior, settings)
    limit = settings.limit_cents if settings.limit_cents is not None else neck.tolerance_cents
    found = findings_of(posterior, causes, settings)
    notes = _notes(posterior, observations, found.rows, limit=limit, settings=settings)
    verdict = judge(
        notes,
        limit_cents=limit,
        settings=settings,
        frets_out=_frets_out(neck, found, settings),
        found=bool(found.findings),
    )
    moves = plan(posterior, found.causes, limit_cents=limit, settings=settings, move_nut=not found.few_strings)
    repeated = any(posterior.repeats.values())
    return Diagnosis(
        notes=notes,
        causes=tuple(one.estimate for one in causes if one.kind != "saddle_slant"),
        findings=found.findings,
        corrections=moves.corrections,
        predicted_worst_after_cents=moves.worst_after_cents,
        verdict=verdict,
        layout=posterior.layout,
        sharpeners=found.sharpeners,
        hand_scatter_cents=dict(posterior.scatter) if repeated else None,
        warnings=(*found.warnings, *posterior.hand.unused),
    )


def _frets_out(neck: Neck, found: Findings, settings: DiagnosisSettings) -> list[int]:
    """Frets surely beyond the neck's tolerance in mm, where it has one."""
    if neck.tolerance_mm is None:
        return []
    places = [one for one in found.findings if one.cause == "fret_position" and one.probability >= 1.0 - settings.risk]
    return sorted(one.fret for one in places if one.fret is not None)


def _check(neck: Neck, observations: Sequence[Observation]) -> None:
    for one in observations:
        if not 1 <= one.string <= len(neck.strings):
            raise UsageError(f"an observation names string {one.string}; this neck has 1 to {len(neck.strings)}")
        lowest = neck.string(one.string).first_fret + 1
        if one.fret != 0 and not lowest <= one.fret <= neck.frets:
            raise UsageError(
                f"an observation names fret {one.fret} of string {one.string}, which has frets {lowest} to {neck.frets}"
            )
        if not (math.isfinite(one.cents) and math.isfinite(one.u_cents) and one.u_cents >= 0.0):
            raise UsageError(f"string {one.string}, fret {one.fret}: {one.cents} ± {one.u_cents} cents is no reading")
    if not any(one.fret > 0 and one.press is None for one in observations):
        raise DiagnosisRefusedError(
            "There is no fretted note to diagnose: read at least the open note and a few frets on three strings, twice each."
        )


def _notes(
    posterior: Posterior, observations: Sequence[Observation], causes: Reals, *, limit: float, settings: DiagnosisSettings
) -> tuple[NoteExplained, ...]:
    """Heard = expected of a perfect neck + what the found causes make + what remains."""
    neck = posterior.design.neck
    expected = expected_cents(neck, constants=posterior.design.constants)
    caused = dict(zip(posterior.design.cells, causes.tolist(), strict=True))
    notes = []
    for number in range(1, len(neck.strings) + 1):
        plucks = [one for one in observations if one.string == number and one.fret == 0]
        if plucks:
            values = [one.cents for one in plucks]
            spread = float(np.std(values, ddof=1)) if len(values) > 1 else 0.0
            u = math.hypot(spread, float(np.mean([one.u_cents for one in plucks]))) / math.sqrt(len(plucks))
            notes.append(_note(number, 0, float(np.median(values)), 0.0, 0.0, u, limit, settings))
        for cell, cents, u in zip(posterior.combined.cells, posterior.combined.cents, posterior.combined.u_cents, strict=True):
            if cell.string == number and cell.press is None:
                plain = Cell(string=cell.string, fret=cell.fret)
                notes.append(
                    _note(
                        number,
                        cell.fret,
                        float(cents),
                        float(expected[number - 1, cell.fret]),
                        caused[plain],
                        float(u),
                        limit,
                        settings,
                    )
                )
    return tuple(sorted(notes, key=lambda note: (note.string, note.fret)))


def _note(
    string: int, fret: int, heard: float, expected: float, caused: float, u: float, limit: float, settings: DiagnosisSettings
) -> NoteExplained:
    u = math.hypot(u, settings.gauge_repeatability_cents or 0.0)
    decision, probability = decide(heard, u, limit=limit, risk=settings.risk, guard_band_cents=settings.guard_band_cents)
    return NoteExplained(
        string=string,
        fret=fret,
        heard_cents=heard,
        expected_cents=expected,
        caused_cents=caused,
        unexplained_cents=heard - expected - caused,
        u_cents=u,
        probability_conforming=probability,
        decision=decision,
    )
