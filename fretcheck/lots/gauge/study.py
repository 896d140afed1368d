"""A gauge study in progress: who reads which neck when, what has been read, what came out.

Guided: the study fixes the necks, the operators and the number of repeats, draws the order (all necks once in random
order, each operator in turn, before anything is repeated), and always tells what to read next, so that nobody reads the same
neck twice in a row out of memory.

Conventions
-----------
Cents. What is analysed is the mean of a note's plucks, as heard; never the posterior, which is drawn toward "well cut". The part
of the analysis is one note of one neck; notes that were not read every time are left out and counted.
The repeatability handed to later verdicts is the part their own uncertainty does not see: √(repeatability² − mean u²), u
without what an earlier study had added to it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from math import sqrt
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from fretcheck.errors import DiagnosisRefusedError, UsageError
from fretcheck.inspection.budget import plucked_u_cents
from fretcheck.inspection.document import InspectionDocument
from fretcheck.lots.acceptance.lot_record import Name
from fretcheck.lots.acceptance.lot_steps import check_serials, rank
from fretcheck.lots.gauge.gauge_study import GaugeResult, Scatter, gauge_study
from fretcheck.session.plan import DECIDING


class _Record(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class StudyStep(_Record):
    """One reading of the plan; `inspection` once it is done."""

    neck: str
    operator: str
    repeat: int
    inspection: str | None = None


class ScatterPart(_Record):
    """A standard deviation in cents with its interval."""

    cents: float
    interval: tuple[float, float] | None


class StudyResultPart(_Record):
    """What a study found."""

    computed_at: str
    notes_used: int
    notes_left_out: int
    repeatability: ScatterPart
    reproducibility: ScatterPart | None
    gauge: ScatterPart
    between_parts: ScatterPart
    interaction_p: float | None
    pooled: bool
    tolerance_cents: float
    share_of_tolerance: float
    distinct_categories: int | None
    confidence: float
    unseen_repeatability_cents: float
    remarks: tuple[str, ...]


class GaugeStudy(_Record):
    """A study and its history."""

    schema_: Literal["fretcheck/gauge/1"] = Field(default="fretcheck/gauge/1", alias="schema")
    name: Name
    opened_at: str
    seed: int
    steps: tuple[StudyStep, ...]
    result: StudyResultPart | None = None

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, populate_by_name=True)

    @property
    def next_step(self) -> StudyStep | None:
        """What to read next; None when all is read."""
        return next((step for step in self.steps if step.inspection is None), None)

    @property
    def read(self) -> int:
        """Number of steps done."""
        return sum(step.inspection is not None for step in self.steps)


def open_study(
    *, name: str, necks: Sequence[str], operators: Sequence[str], repeats: int, seed: int, now: datetime
) -> GaugeStudy:
    """A new study with its order drawn.

    Raises
    ------
    UsageError
        With fewer than 2 necks, no operator, or fewer than 2 repeats.
    """
    check_serials(necks)
    if len(necks) < 2 or not operators or len(set(operators)) < len(operators) or not 2 <= repeats <= 20:
        raise UsageError(
            f"{len(necks)} necks, {len(operators)} operators, {repeats} repeats make no study:"
            " it takes at least 2 necks, 1 operator and 2 to 20 repeats; 5 necks × 3 operators × 2 repeats is a good size"
        )
    steps = [
        StudyStep(neck=neck, operator=operator, repeat=repeat)
        for repeat in range(1, repeats + 1)
        for operator in operators
        for neck in sorted(necks, key=lambda neck: rank(f"{repeat}/{operator}/{neck}", seed=seed))
    ]
    return GaugeStudy(name=name, opened_at=now.astimezone().isoformat(timespec="seconds"), seed=seed, steps=tuple(steps))


def add_inspection(
    study: GaugeStudy, document: InspectionDocument, *, operator: str | None = None
) -> tuple[GaugeStudy, StudyStep]:
    """Let an inspection count for the first open step of its neck and operator.

    Raises
    ------
    UsageError
        When the neck or the operator is not of this study, only what decides was asked for, the inspection counts already, or
        nothing is open for them.
    """
    who, neck, number = operator or document.conditions.operator, document.neck.serial or document.neck.name, document.id
    if number is None:
        raise UsageError("an inspection that was not kept cannot count for a study: keep it in the register")
    operators = sorted({step.operator for step in study.steps})
    if who is None and len(operators) == 1:
        who = operators[0]
    if who not in operators:
        raise UsageError(f"operator {who!r} is not of study {study.name!r}: say --operator {' or '.join(operators)}")
    if document.conditions.plan == DECIDING:
        raise UsageError(
            f"inspection {number} heard only what decided it, and a study compares the same notes each time: "
            "inspect with --plan full"
        )
    if any(step.inspection == number for step in study.steps):
        raise UsageError(f"inspection {number} counts for study {study.name!r} already")
    for place, step in enumerate(study.steps):
        if step.inspection is None and (step.neck, step.operator) == (neck, who):
            done = step.model_copy(update={"inspection": number})
            steps = (*study.steps[:place], done, *study.steps[place + 1 :])
            return study.model_copy(update={"steps": steps, "result": None}), done
    raise UsageError(f"study {study.name!r} has nothing open for neck {neck!r} and operator {who!r}")


def compute_study(
    study: GaugeStudy, documents: Mapping[str, InspectionDocument], *, confidence: float = 0.90, now: datetime
) -> GaugeStudy:
    """Analyse a study whose steps are all done; `documents` by inspection id.

    Raises
    ------
    UsageError
        When steps are still open.
    DiagnosisRefusedError
        When no note was read in every inspection of its neck.
    """
    if (open_step := study.next_step) is not None:
        missing = len(study.steps) - study.read
        raise UsageError(
            f"study {study.name!r} has {missing} of {len(study.steps)} readings to go:"
            f" next is neck {open_step.neck!r} by {open_step.operator!r}"
        )
    values, uncertainties, left_out, limit = _notes(study, documents)
    found = gauge_study(values, tolerance=2 * limit, confidence=confidence)
    seen = sum(u**2 for u in uncertainties) / len(uncertainties)
    unseen = sqrt(max(0.0, found.repeatability.value**2 - seen))
    part = _result_part(found, used=len(values), left_out=left_out, tolerance=2 * limit, unseen=unseen, now=now)
    return study.model_copy(update={"result": part})


def _notes(
    study: GaugeStudy, documents: Mapping[str, InspectionDocument]
) -> tuple[list[list[list[float]]], list[float], int, float]:
    """Values by note, operator and repeat; all their uncertainties; notes left out; the smallest limit in cents."""
    read = {
        (step.neck, step.operator, step.repeat): {
            (f.string, f.fret): (f.plucked_cents, u)
            for f in documents[step.inspection].frets
            if f.fret > 0 and f.plucked_cents is not None and (u := plucked_u_cents(documents[step.inspection], f)) is not None
        }
        for step in study.steps
        if step.inspection is not None
    }
    operators = sorted({step.operator for step in study.steps})
    repeats = sorted({step.repeat for step in study.steps})
    values, uncertainties, left_out = [], [], 0
    for neck in sorted({step.neck for step in study.steps}):
        cells = [[read[neck, operator, repeat] for repeat in repeats] for operator in operators]
        everywhere = set.intersection(*(set(cell) for row in cells for cell in row))
        left_out += len(set.union(*(set(cell) for row in cells for cell in row)) - everywhere)
        for note in sorted(everywhere):
            values.append([[cell[note][0] for cell in row] for row in cells])
            uncertainties += [cell[note][1] for row in cells for cell in row]
    if not values:
        raise DiagnosisRefusedError(f"no note of study {study.name!r} was read in every inspection of its neck: read whole necks")
    limit = min(documents[step.inspection].verdict.limit_cents for step in study.steps if step.inspection is not None)
    return values, uncertainties, left_out, limit


def _result_part(
    found: GaugeResult, *, used: int, left_out: int, tolerance: float, unseen: float, now: datetime
) -> StudyResultPart:
    assert found.share_of_tolerance is not None
    remarks = list(found.notes)
    if left_out:
        remarks.append(f"{left_out} notes were not read every time and are left out")
    return StudyResultPart(
        computed_at=now.astimezone().isoformat(timespec="seconds"),
        notes_used=used,
        notes_left_out=left_out,
        repeatability=_scatter_part(found.repeatability),
        reproducibility=None if found.reproducibility is None else _scatter_part(found.reproducibility),
        gauge=_scatter_part(found.gauge),
        between_parts=_scatter_part(found.between_parts),
        interaction_p=found.interaction_p,
        pooled=found.pooled,
        tolerance_cents=tolerance,
        share_of_tolerance=found.share_of_tolerance,
        distinct_categories=found.distinct_categories,
        confidence=found.confidence,
        unseen_repeatability_cents=unseen,
        remarks=tuple(remarks),
    )


def _scatter_part(scatter: Scatter) -> ScatterPart:
    return ScatterPart(cents=scatter.value, interval=scatter.interval)
