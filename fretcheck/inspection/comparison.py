"""The same neck before and after work: what changed, against its uncertainty, and whether what was predicted came true.

A change is after minus before; its uncertainty is the root sum of squares of both (they come of different plucks). Among many
notes a few always seem to change: a note or part counts as changed when its change is beyond what any of them would show by
chance in 1 of 20 comparisons (Bonferroni's inequality: each is tested at 0.05/n, two-sided normal). A part that the first
inspection found out of place was named beforehand, so it is tested by itself (n = 1).

Conventions
-----------
Cents positive are sharper, mm positive nearer the bridge or higher. The uncertainty of a part's change is quoted as if both
inspections were independent; what they share (the strings' stiffness, the hand's habit) cancels in truth, so it errs on the safe
side.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Literal

from fretcheck.errors import UsageError
from fretcheck.plain_text import plain_line

if TYPE_CHECKING:
    from fretcheck.inspection.document import CausePart, InspectionDocument, MovePart

Outcome = Literal["done as advised", "partly done", "gone too far", "moved the other way", "not done", "cannot be told"]
Prediction = Literal["came true", "did not come true", "cannot be told"]
BY_CHANCE = 0.05
CONSISTENT = 2.0
"""Two figures agree when they differ by no more than so many standard uncertainties."""
CAUSE_OF_PART = {
    "nut_height": "nut_height",
    "nut": "nut_position",
    "saddle": "saddle_position",
    "fret": "fret_position",
}


@dataclass(frozen=True, kw_only=True)
class NoteChange:
    """One note, in both inspections."""

    string: int
    fret: int
    before_cents: float
    after_cents: float
    change_cents: float
    u_cents: float
    changed: bool


@dataclass(frozen=True, kw_only=True)
class CauseChange:
    """One part or cause, in both inspections; values in `unit`."""

    cause: str
    fret: int | None
    string: int | None
    unit: str
    before: float
    after: float
    change: float
    u: float
    changed: bool
    practical_size: float


@dataclass(frozen=True, kw_only=True)
class CorrectionOutcome:
    """What became of one correction of the first inspection."""

    part: str
    fret: int | None
    string: int | None
    text: str
    asked_mm: float | None
    moved_mm: float | None
    u_mm: float | None
    outcome: Outcome
    why: str


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """Everything that can be said of two inspections of one neck."""

    notes: tuple[NoteChange, ...]
    causes: tuple[CauseChange, ...]
    corrections: tuple[CorrectionOutcome, ...]
    predicted_worst_cents: float | None
    worst_before_cents: float | None
    worst_after_cents: float | None
    u_worst_after_cents: float | None
    prediction: Prediction
    prediction_text: str
    outside_before: int
    outside_after: int
    remarks: tuple[str, ...]

    @property
    def changed_notes(self) -> tuple[NoteChange, ...]:
        """Those that changed beyond chance."""
        return tuple(one for one in self.notes if one.changed)


def compare(before: InspectionDocument, after: InspectionDocument) -> Comparison:
    """Compare two inspections of one neck.

    Raises
    ------
    UsageError
        When they are of different necks, are one and the same, or have no note in common.
    """
    check_same_neck(before, after)
    if before == after:
        raise UsageError("both are the same inspection: give the one before the work, then the one after it")
    notes = _notes(before, after)
    if not notes:
        raise UsageError("the two inspections have no fretted note in common, so nothing can be compared")
    causes = _causes(before, after)
    corrections = tuple(_outcome(move, one.text, causes, before) for one in before.corrections for move in one.moves)
    worst_before = max(notes, key=lambda one: abs(one.before_cents))
    worst_after = max(notes, key=lambda one: abs(one.after_cents))
    u_after = _u_of(after, worst_after)
    prediction, text = _prediction(before, corrections, worst=worst_after, u=u_after, judged=len(notes))
    return Comparison(
        notes=notes,
        causes=tuple(causes.values()),
        corrections=corrections,
        predicted_worst_cents=before.predicted_after.worst_cents,
        worst_before_cents=worst_before.before_cents,
        worst_after_cents=worst_after.after_cents,
        u_worst_after_cents=u_after,
        prediction=prediction,
        prediction_text=text,
        outside_before=_outside(before, notes),
        outside_after=_outside(after, notes),
        remarks=tuple(_remarks(before, after, len(notes))),
    )


def check_same_neck(before: InspectionDocument, after: InspectionDocument) -> None:
    """Raise unless both documents are of one neck: by serial where both have one, else by name and design.

    Raises
    ------
    UsageError
        In one line, saying what differs.
    """
    first, second = before.neck, after.neck
    if first.serial and second.serial:
        if first.serial.casefold() != second.serial.casefold():
            raise UsageError(
                f"these are different necks: serial {plain_line(first.serial)[:40]!r} and {plain_line(second.serial)[:40]!r}"
            )
    elif first.name.casefold() != second.name.casefold():
        raise UsageError(
            f"these are different necks: {plain_line(first.name)[:40]!r} and {plain_line(second.name)[:40]!r}; "
            "the same serial in both would tell that they are one"
        )
    for key, words in (("scale_length_mm", "scale length in mm"), ("frets", "number of frets")):
        one, other = first.description.get(key), second.description.get(key)
        if one is not None and other is not None and one != other:
            raise UsageError(f"these are different necks: {words} {one!s:.12} and {other!s:.12}")
    strings = [_count(neck.description.get("strings")) for neck in (first, second)]
    if None not in strings and strings[0] != strings[1]:
        raise UsageError(f"these are different necks: {strings[0]} and {strings[1]} strings")


def to_json(comparison: Comparison, before: InspectionDocument, after: InspectionDocument) -> str:
    """The comparison as one JSON document, ``fretcheck/comparison/1``."""
    import json

    def which(document: InspectionDocument) -> dict[str, str | None]:
        return {"id": document.id, "taken_at": document.taken_at, "decision": document.verdict.decision}

    neck = {"name": after.neck.name, "serial": after.neck.serial}
    head = {"schema": "fretcheck/comparison/1", "neck": neck, "before": which(before), "after": which(after)}
    return json.dumps(head | asdict(comparison), indent=2, ensure_ascii=False)


def threshold(count: int) -> float:
    """How many standard uncertainties a change must exceed, so that among `count` none does by chance in 19 of 20 cases."""
    from scipy.special import ndtri

    return float(ndtri(1.0 - BY_CHANCE / (2.0 * count)))


def _count(strings: object) -> int | None:
    return len(strings) if isinstance(strings, list) else None


def _notes(before: InspectionDocument, after: InspectionDocument) -> tuple[NoteChange, ...]:
    old = {(one.string, one.fret): one for one in before.frets}
    pairs = [
        (old[one.string, one.fret], one)
        for one in after.frets
        if one.fret > 0 and (one.string, one.fret) in old and one.deviation_cents is not None and one.u_cents is not None
    ]
    pairs = [(one, other) for one, other in pairs if one.deviation_cents is not None and one.u_cents is not None]
    if not pairs:
        return ()
    beyond = threshold(len(pairs))
    notes = []
    for one, other in pairs:
        change = (other.deviation_cents or 0.0) - (one.deviation_cents or 0.0)
        u = math.hypot(one.u_cents or 0.0, other.u_cents or 0.0)
        notes.append(
            NoteChange(
                string=one.string,
                fret=one.fret,
                before_cents=one.deviation_cents or 0.0,
                after_cents=other.deviation_cents or 0.0,
                change_cents=change,
                u_cents=u,
                changed=abs(change) > beyond * u,
            )
        )
    return tuple(notes)


def _causes(before: InspectionDocument, after: InspectionDocument) -> dict[tuple[str, int | None, int | None], CauseChange]:
    """Changes of all causes that both judged; the place of a false string's worst fret may differ and does not count."""

    def key(one: CausePart) -> tuple[str, int | None, int | None]:
        return one.cause, None if one.cause == "string" else one.fret, one.string

    old = {key(one): one for one in reversed(before.causes)}
    new = {key(one): one for one in reversed(after.causes)}
    common = [one for one in old if one in new]
    beyond = threshold(len(common)) if common else 0.0
    expected = {(one.cause, None if one.cause == "string" else one.fret, one.string) for one in before.findings}
    answer = {}
    for one in reversed(common):
        first, second = old[one], new[one]
        change, u = second.value - first.value, math.hypot(first.u, second.u)
        answer[one] = CauseChange(
            cause=one[0],
            fret=one[1],
            string=one[2],
            unit=first.unit,
            before=first.value,
            after=second.value,
            change=change,
            u=u,
            changed=abs(change) > (threshold(1) if one in expected else beyond) * u,
            practical_size=first.practical_size,
        )
    return answer


def _outcome(
    move: MovePart, text: str, causes: dict[tuple[str, int | None, int | None], CauseChange], before: InspectionDocument
) -> CorrectionOutcome:
    cause = CAUSE_OF_PART.get(move.part)
    if move.part == "fret" and any(one.cause == "fret_tilt" and one.fret == move.fret for one in before.findings):
        cause = "fret_tilt"
    change = None if cause is None else causes.get((cause, move.fret, move.string))
    outcome: Outcome = "cannot be told"
    if move.move_mm is None or change is None:
        why = "not a move that sound can follow" if cause is None else "not judged in both inspections"
        moved = u = None
    else:
        moved, u = change.change, change.u
        outcome, why = judged_move(asked=move.move_mm, moved=moved, u=u, workmanship=0.5 * change.practical_size)
    return CorrectionOutcome(
        part=move.part,
        fret=move.fret,
        string=move.string,
        text=text,
        asked_mm=move.move_mm,
        moved_mm=moved,
        u_mm=u,
        outcome=outcome,
        why=why,
    )


def judged_move(*, asked: float, moved: float, u: float, workmanship: float) -> tuple[Outcome, str]:
    """Whether a part moved as asked, and why that is said.

    Parameters
    ----------
    asked, moved, u : float
        mm; `u` the standard uncertainty of `moved`.
    workmanship : float
        A move that misses what was asked by less than this is still as advised.
    """
    as_asked = abs(moved - asked) <= max(CONSISTENT * u, workmanship)
    not_at_all = abs(moved) <= CONSISTENT * u
    if as_asked and not_at_all:
        return "cannot be told", "the uncertainty is as large as the move"
    if as_asked:
        return "done as advised", "the move found agrees with the one asked for"
    if not_at_all:
        return "not done", "no move beyond the uncertainty"
    if moved * asked < 0.0:
        return "moved the other way", "away from where it should go"
    return ("partly done", "less than asked for") if abs(moved) < abs(asked) else ("gone too far", "more than asked for")


def _prediction(
    before: InspectionDocument, corrections: tuple[CorrectionOutcome, ...], *, worst: NoteChange, u: float, judged: int
) -> tuple[Prediction, str]:
    predicted = before.predicted_after.worst_cents
    if predicted is None or not corrections:
        return "cannot be told", "The first inspection advised no correction, so it predicted nothing."
    limit = abs(predicted) + threshold(judged) * u
    found = (
        f"Predicted with all corrections made: the worst note at {abs(predicted):.1f} cents. Found: "
        f"{abs(worst.after_cents):.1f} cents (±{u:.1f}), string {worst.string} fret {worst.fret}. "
    )
    undone = sum(one.outcome in ("not done", "partly done", "moved the other way") for one in corrections)
    if abs(worst.after_cents) <= limit:
        return "came true", found + "That agrees, since the worst of many readings lies above the truth by chance alone."
    if undone:
        how = "one correction was" if undone == 1 else f"{undone} corrections were"
        return "did not come true", found + f"That is worse than predicted; {how} not made in full."
    return "did not come true", found + "That is worse than predicted, though no correction is known to be missing."


def _remarks(before: InspectionDocument, after: InspectionDocument, common: int) -> list[str]:
    remarks = []
    if before.taken_at is not None and after.taken_at is not None and _later(before.taken_at, after.taken_at):
        remarks.append("The inspection given as the first was taken after the second: were they swapped?")
    if before.neck.description.get("strings") != after.neck.description.get("strings"):
        remarks.append("The strings are described differently: other strings change the expected notes too.")
    if before.conditions.reference_hz != after.conditions.reference_hz:
        remarks.append("The reference pitch differs; fretted notes are judged from their own open note, so this changes nothing.")
    heard = [sum(one.fret > 0 and one.deviation_cents is not None for one in each.frets) for each in (before, after)]
    if max(heard) > common:
        remarks.append(f"{common} notes were heard in both; the others ({heard[0]} before, {heard[1]} after) are left out.")
    return remarks


def _later(first: str, second: str) -> bool:
    from datetime import datetime

    try:
        return datetime.fromisoformat(first) > datetime.fromisoformat(second)
    except (ValueError, TypeError):
        return False


def _outside(document: InspectionDocument, notes: tuple[NoteChange, ...]) -> int:
    """How many of the notes that both heard are surely out of tolerance."""
    both = {(one.string, one.fret) for one in notes}
    return sum(one.decision == "fail" and (one.string, one.fret) in both for one in document.frets)


def _u_of(document: InspectionDocument, note: NoteChange) -> float:
    return next((one.u_cents or 0.0 for one in document.frets if (one.string, one.fret) == (note.string, note.fret)), 0.0)
