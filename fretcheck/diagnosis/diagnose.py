"""The whole diagnosis of one neck, from its plucks to findings, corrections and verdict."""

import math
from collections.abc import Collection, Sequence

from fretcheck.diagnosis.conclude.causes import possible_causes
from fretcheck.diagnosis.conclude.corrections import plan
from fretcheck.diagnosis.conclude.findings import Findings, findings_of
from fretcheck.diagnosis.conclude.notes import Place, asked_notes, drawn_notes
from fretcheck.diagnosis.conclude.verdict import coverage_of, doubtful_unheard, judge, pluck_again
from fretcheck.diagnosis.infer.draws import joint_draws
from fretcheck.diagnosis.infer.inference import infer
from fretcheck.diagnosis.infer.scatter import open_uncertainty
from fretcheck.diagnosis.observation import Observation
from fretcheck.diagnosis.result import Diagnosis
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.errors import DiagnosisRefusedError, UsageError
from fretcheck.neck.description import Neck
from fretcheck.neck.measured import fresh, said


def diagnose(
    neck: Neck,
    observations: Sequence[Observation],
    *,
    asked: Collection[Place] | None = None,
    must_hear: Collection[Place] | None = None,
    settings: DiagnosisSettings = DiagnosisSettings(),  # noqa: B008
) -> Diagnosis:
    """What is out on a neck, by how much, how surely, and what to do about it.

    Parameters
    ----------
    neck : Neck
        The design, with any measurements by hand.
    observations : sequence of Observation
        One a pluck; those of a press test carry `press`. Any number of strings, frets and repeats: fewer widen the intervals.
    asked : collection of (string, fret), optional
        The notes that the verdict is about, heard or not; by default all of the strings and frets observed.
    must_hear : collection of (string, fret), optional
        Those of them that a pass needs heard, and beside them any that is out with more than 1 %; by default all.
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
    A neck that reads as designed but for fret 7, which lies 0.40 mm too near the bridge (1 mm of the 432.5 mm that sound there is
    4.0 cents); each note plucked twice by a hand that scatters by half a cent:

    >>> import numpy as np
    >>> from fretcheck.diagnosis.model.as_designed import expected_cents
    >>> from fretcheck.neck.starts import start
    >>> neck = start("guitar-6-steel").neck
    >>> hand = np.random.default_rng(1)
    >>> heard = [
    ...     Observation(string=s + 1, fret=k, cents=cents + 1.6 * (k == 7) + hand.normal(0.0, 0.3), u_cents=0.05)
    ...     for _ in (1, 2) for s, row in enumerate(expected_cents(neck)) for k, cents in enumerate(row)
    ... ]
    >>> found = diagnose(neck, heard)
    >>> found.findings[0].cause, found.findings[0].fret, round(found.findings[0].value_mm, 1)
    ('fret_position', 7, 0.4)
    """
    _check(neck, observations)
    judged = asked_notes(neck, observations, asked, judge_open_notes=settings.judge_open_notes)
    posterior = infer(neck, observations)
    draws = joint_draws(posterior)
    causes = possible_causes(posterior, settings)
    limit = settings.limit_cents if settings.limit_cents is not None else neck.tolerance_cents
    found = findings_of(posterior, causes, settings)
    drawn = drawn_notes(posterior, draws, observations, judged, limit_cents=limit, settings=settings)
    must = judged if must_hear is None else judged & (frozenset(must_hear) | doubtful_unheard(drawn))
    verdict = judge(
        drawn,
        judged,
        must,
        neck=neck,
        limit_cents=limit,
        settings=settings,
        frets_out=_frets_out(neck, found, settings),
        found=bool(found.findings),
    )
    coverage = coverage_of(posterior, draws, drawn, judged, limit_cents=limit)
    again = pluck_again(drawn, judged, must, limit_cents=limit) if verdict.decision == "undecided" else ()
    work = plan(posterior, draws, found, asked=judged, again=again, verdict=verdict, settings=settings)
    return Diagnosis(
        notes=drawn.notes,
        causes=tuple(one.estimate for one in causes if one.kind != "saddle_straight"),
        findings=found.findings,
        corrections=work.corrections,
        predicted=work.predicted,
        advice=work.advice,
        rests_on=tuple(said(one) for one in fresh(neck)),
        verdict=verdict,
        coverage=coverage,
        pluck_again=again,
        layout=posterior.layout,
        sharpeners=found.sharpeners,
        hand_scatter_cents=dict(posterior.scatter.cents),
        hand_wider_low=posterior.scatter.low,
        open_u_cents=dict(enumerate(open_uncertainty(observations, len(neck.strings)), start=1)),
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
        own = neck.frets_of(one.string)
        if one.fret not in (0, *own):
            has = f"frets {own[0]} to {own[-1]}" if own else "no frets"
            raise UsageError(f"an observation names fret {one.fret} of string {one.string}, which has {has}")
        if not (math.isfinite(one.cents) and math.isfinite(one.u_cents) and one.u_cents >= 0.0):
            raise UsageError(f"string {one.string}, fret {one.fret}: {one.cents} ± {one.u_cents} cents is no reading")
    if not any(one.fret > 0 and one.press is None for one in observations):
        raise DiagnosisRefusedError(
            "There is no fretted note to diagnose: read at least the open note and a few frets on three strings, twice each."
        )
