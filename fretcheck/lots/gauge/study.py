"""A gauge study in progress: who reads which neck when, what has been read, what came out.

Guided: the study fixes the necks, the operators and the number of repeats, draws the order (all necks once in random
order, each operator in turn, before anything is repeated), and always tells what to read next, so that nobody reads the same
neck twice in a row out of memory.

Conventions: Cents. What is analysed is the mean of a note's plucks, as heard; never the posterior, which is drawn toward "well
cut". Notes that were not read every time on every neck are left out and counted. The repeatability handed to later verdicts is
the part their own uncertainty does not see: √(repeatability² − mean u²), u without what an earlier study had added to it. It is
handed to those of the study's own operators at its own bench only.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime
from math import sqrt
from typing import Any, Literal

import numpy as np
from pydantic import Field, model_validator

from fretcheck.arrays import Reals
from fretcheck.errors import DiagnosisRefusedError, UsageError
from fretcheck.inspection.budget import plucked_u_cents
from fretcheck.inspection.document import InspectionDocument
from fretcheck.lots.acceptance.lot_record import Name, Record
from fretcheck.lots.acceptance.lot_steps import check_name, check_serials, rank
from fretcheck.lots.gauge.gauge_study import GaugeResult, gauge_study
from fretcheck.session.plan import DECIDING

Grade = Literal["fit", "marginal", "unfit"]
FIT, MARGINAL = 0.10, 0.30  # Shares of the tolerance up to which a gauge is called so (common practice in industry, no source)
_CURES = {
    "operators": "the operators read differently: let them agree how hard and where to press, and study again",
    "inspection": "whole inspections shift: press alike every time, and let strings and room come to rest",
    "string": "the strings' open notes scatter: tune anew before a string is read, and pluck it open more often",
    "note": "the hand on the single note: pluck every note more often",
}


class StudyStep(Record):
    """One reading of the plan; `inspection` once it is done."""

    neck: str
    operator: str
    repeat: int
    inspection: str | None = None


class StudyResultPart(GaugeResult):
    """What a study found, and how that compares with the tolerance."""

    computed_at: str
    notes_used: int
    notes_left_out: int
    tolerance_cents: float
    share_of_tolerance: float
    grade: Grade
    sentence: str
    confidence: float
    unseen_repeatability_cents: float
    remarks: tuple[str, ...]


class GaugeStudy(Record):
    """A study and its history."""

    schema_: Literal["fretcheck/gauge/1"] = Field(default="fretcheck/gauge/1", alias="schema")
    name: Name
    opened_at: str
    bench: str | None = None  # As its inspections name it; None where there is only one
    seed: int
    steps: tuple[StudyStep, ...]
    result: StudyResultPart | None = None

    @model_validator(mode="before")
    @classmethod
    def _forget_narrow(cls, data: Any) -> Any:
        """A result of version 0.1, whose intervals were too narrow, is to be computed again."""
        if isinstance(data, dict) and "grade" not in (data.get("result") or {"grade": None}):
            return {**data, "result": None}
        return data

    @property
    def next_step(self) -> StudyStep | None:
        """What to read next; None when all is read."""
        return next((step for step in self.steps if step.inspection is None), None)

    @property
    def operators(self) -> list[str]:
        return sorted({step.operator for step in self.steps})

    @property
    def read(self) -> int:
        return sum(step.inspection is not None for step in self.steps)


def open_study(
    *, name: str, necks: Sequence[str], operators: Sequence[str], repeats: int, bench: str | None = None, seed: int, now: datetime
) -> GaugeStudy:
    """A new study with its order drawn. Raises UsageError with a strange name, too few necks, operators or repeats."""
    check_name(name)
    check_serials(necks)
    named = {operator.strip() for operator in operators} - {""}
    if len(necks) < 2 or not named or len(named) < len(operators) or not 2 <= repeats <= 20:
        raise UsageError(
            f"{len(necks)} necks, {len(named)} named operators, {repeats} repeats make no study:"
            " it takes at least 2 necks, 1 operator and 2 to 20 repeats; 5 necks × 3 operators × 2 repeats is a good size"
        )
    steps = [
        StudyStep(neck=neck, operator=operator, repeat=repeat)
        for repeat in range(1, repeats + 1)
        for operator in operators
        for neck in sorted(necks, key=lambda neck: rank(f"{repeat}/{operator}/{neck}", seed=seed))
    ]
    opened_at = now.astimezone().isoformat(timespec="seconds")
    return GaugeStudy(name=name, opened_at=opened_at, bench=bench, seed=seed, steps=tuple(steps))


def counts_for(study: GaugeStudy, *, operator: str | None, bench: str | None) -> bool:
    """Whether verdicts of this operator at this bench count what the study found; who works alone needs no name."""
    return study.bench == bench and (operator in study.operators or (operator is None and len(study.operators) == 1))


def add_inspection(
    study: GaugeStudy, document: InspectionDocument, *, operator: str | None = None
) -> tuple[GaugeStudy, StudyStep]:
    """Let an inspection count for the first open step of its neck and operator.

    Raises UsageError when the neck, the operator or the bench is not of this study, only what decides was asked for, the
    inspection counts already, or nothing is open for them.
    """
    who, neck, number = operator or document.conditions.operator, document.neck.serial or document.neck.name, document.id
    if number is None:
        raise UsageError("an inspection that was not kept cannot count for a study: keep it in the register")
    if who is None and len(study.operators) == 1:
        who = study.operators[0]
    if who not in study.operators:
        raise UsageError(f"operator {who!r} is not of study {study.name!r}: say --operator {' or '.join(study.operators)}")
    if document.conditions.bench != study.bench:
        raise UsageError(
            f"inspection {number} was made at bench {document.conditions.bench or '(not named)'}, and study {study.name!r} is of "
            f"bench {study.bench or '(not named)'}"
        )
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

    Raises UsageError when steps are still open; DiagnosisRefusedError when no note was read in every inspection.
    """
    if (open_step := study.next_step) is not None:
        missing = len(study.steps) - study.read
        raise UsageError(
            f"study {study.name!r} has {missing} of {len(study.steps)} readings to go:"
            f" next is neck {open_step.neck!r} by {open_step.operator!r}"
        )
    all_read = [documents[step.inspection] for step in study.steps if step.inspection is not None]
    read = [
        {
            (f.string, f.fret): (f.plucked_cents, u)
            for f in one.frets
            if f.fret > 0 and f.plucked_cents is not None and (u := plucked_u_cents(one, f)) is not None
        }
        for one in all_read
    ]
    everywhere = sorted(set.intersection(*map(set, read)))
    left_out = len(set.union(*map(set, read)) - set(everywhere))
    if not everywhere:
        raise DiagnosisRefusedError(
            f"no note was read in every inspection of study {study.name!r}: read whole necks of one design"
        )
    limit = min(one.verdict.limit_cents for one in all_read)
    necks, operators, repeats = (sorted({getattr(step, what) for step in study.steps}) for what in ("neck", "operator", "repeat"))
    values: Reals = np.empty((len(necks), len(operators), len(repeats), len(everywhere)))
    for step, one in zip(study.steps, read, strict=True):
        cell = necks.index(step.neck), operators.index(step.operator), repeats.index(step.repeat)
        values[cell] = [one[note][0] for note in everywhere]
    found = gauge_study(values, *zip(*everywhere, strict=True), confidence=confidence)
    seen = float(np.mean([one[note][1] ** 2 for one in read for note in everywhere]))
    share, low, high = (6 * scatter / (2 * limit) for scatter in (found.gauge.cents, *found.gauge.interval))
    remarks = ["one operator: the scatter between operators is not seen and not counted"] if len(operators) == 1 else []
    if left_out:
        remarks.append(f"{left_out} notes were not read every time and are left out")
    result = StudyResultPart(
        **dict(found),
        computed_at=now.astimezone().isoformat(timespec="seconds"),
        notes_used=len(everywhere),
        notes_left_out=left_out,
        tolerance_cents=2 * limit,
        share_of_tolerance=share,
        grade=_grade(share),
        sentence=_sentence(found, share, (low, high), limit),
        confidence=confidence,
        unseen_repeatability_cents=sqrt(max(0.0, found.repeatability.cents**2 - seen)),
        remarks=tuple(remarks),
    )
    return study.model_copy(update={"result": result})


def _grade(share: float) -> Grade:
    return "fit" if share <= FIT else "marginal" if share <= MARGINAL else "unfit"


def _sentence(found: GaugeResult, share: float, ends: tuple[float, float], limit: float) -> str:
    """Fit, marginal or unfit for the tolerance, why, and what would help."""
    parts = {"inspection": found.of_inspection, "string": found.of_string, "note": found.of_note}
    if found.reproducibility is not None:
        parts["operators"] = found.reproducibility
    most = max(parts, key=lambda name: parts[name].cents)
    low, high = (_grade(end) for end in ends)
    sure = "" if low == high else f" (from {low} to {high}, as far as these readings tell)"
    text = (
        f"{_grade(share)} for ±{limit:g} cents{sure}: the scatter of one reading takes {100 * share:.0f} % of the tolerance; "
        f"{100 * FIT:.0f} % is good and {100 * MARGINAL:.0f} % the most"
    )
    if share <= FIT:
        return text
    wider = f"; ±{found.gauge.cents * 3 / MARGINAL:.1f} cents it could judge" if share > MARGINAL else ""
    return f"{text}{wider}. Most of it is of {_CURES[most]}. Verdicts count it: they stay right, but more necks stay undecided"
