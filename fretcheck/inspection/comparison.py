"""The same neck before and after work: what changed, what became of the work advised, and whether what was predicted came true.

Both inspections are diagnosed anew from their readings, so that documents of any version are compared alike; what each said of
its notes is shown as it was judged then. What changed is read off the posterior of the differences (`changes`). Only work that
was done is judged, and a prediction only as far as its work was done.

Conventions: after minus before. Cents positive are sharper, mm positive nearer the bridge or higher.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from fretcheck.diagnosis.infer.inference import infer
from fretcheck.diagnosis.infer.scatter import open_uncertainty
from fretcheck.diagnosis.model.parameters import Key
from fretcheck.diagnosis.result import Finding
from fretcheck.errors import UsageError
from fretcheck.inspection.assemble import observations_in
from fretcheck.inspection.changes import Amount, Changes, changes_between
from fretcheck.inspection.document import InspectionDocument
from fretcheck.inspection.work_done import CONSISTENT, SURE, MoveOutcome, Prediction, outcome_of, prediction_of
from fretcheck.neck.neck_file import neck_from_mapping
from fretcheck.plain_text import plain_line

DAY_WORTH_SAYING_CENTS = 0.3
CAUSE_OF_PART = {"nut_height": "nut_height", "nut": "nut_position", "saddle": "saddle_position", "fret": "fret_position"}
# Parameters that a move of a part, of one string or not, changes
KINDS_OF_PART = {
    ("nut_height", False): ("nut_height",), ("nut_height", True): ("slot_height",), ("nut", False): ("nut_position",),
    ("saddle", False): ("bridge", "saddle_slant"), ("saddle", True): ("saddle",), ("fret", False): ("fret_position", "fret_tilt"),
}  # fmt: skip
HEIGHTS = {
    "action_12_mm": "the action at fret 12",
    "first_fret_clearance_mm": "the clearance over fret 1",
    "relief_mm": "the relief",
    "saddle_setback_mm": "the saddle's setback",
    "nut_compensation_mm": "the nut's compensation",
}


@dataclass(frozen=True, kw_only=True)
class NoteChange:
    """One note in both inspections, as each judged it, and how probable it is that the neck changed it."""

    string: int
    fret: int
    before_cents: float
    after_cents: float
    change_cents: float
    probability: float
    changed: bool


@dataclass(frozen=True, kw_only=True)
class PartChange:
    """One part that was moved, in `unit`; `kind` as in the diagnosis's table of parameters."""

    kind: str
    fret: int | None
    string: int | None
    unit: str
    change: float
    u: float
    probability: float


@dataclass(frozen=True, kw_only=True)
class FindingThen:
    """One finding, and how sure each inspection was of it; None where it was none."""

    finding: Finding
    before: float | None
    after: float | None
    by_work: bool  # New, and where the work put the part


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """Everything that can be said of two inspections of one neck."""

    notes: tuple[NoteChange, ...]
    parts: tuple[PartChange, ...]
    findings: tuple[FindingThen, ...]
    corrections: tuple[MoveOutcome, ...]
    worst_before_cents: float | None
    worst_after_cents: float | None
    prediction: Prediction
    prediction_text: str
    outside_before: int
    outside_after: int
    remarks: tuple[str, ...]

    @property
    def changed_notes(self) -> tuple[NoteChange, ...]:
        return tuple(one for one in self.notes if one.changed)

    @property
    def better(self) -> bool:
        """Fewer notes surely out than before, or as few and the worst one nearer."""
        if self.outside_after != self.outside_before:
            return self.outside_after < self.outside_before
        if self.worst_after_cents is None or self.worst_before_cents is None:
            return False
        return abs(self.worst_after_cents) < abs(self.worst_before_cents)


def compare(before: InspectionDocument, after: InspectionDocument) -> Comparison:
    """Compare two inspections of one neck.

    Raises UsageError when they are of different necks, are one and the same, or have no note in common; NeckError when a
    description cannot be used.
    """
    check_same_neck(before, after)
    if before == after:
        raise UsageError("both are the same inspection: give the one before the work, then the one after it")
    if not _common(before, after):
        raise UsageError("the two inspections have no fretted note in common, so nothing can be compared")
    restrung = _restrung(before, after)
    changes = _changes(before, after, restrung)
    notes = _notes(before, after, changes.notes)
    advised = [(number, move) for number, step in enumerate(before.corrections, start=1) for move in step.moves]
    corrections = tuple(
        outcome_of(number, move, before.corrections[number - 1].text, advised, changes, restrung) for number, move in advised
    )
    prediction, text = prediction_of(before, after, corrections)
    return Comparison(
        notes=notes,
        parts=tuple(
            PartChange(
                kind=key.kind, fret=key.fret, string=key.string, unit="cents" if key.kind == "string" else "mm",
                change=amount.change, u=amount.u, probability=probability,
            )
            for key, probability, amount in changes.moved
            if probability >= SURE
        ),
        findings=tuple(_findings(before, after, corrections)),
        corrections=corrections,
        worst_before_cents=max((one.before_cents for one in notes), key=abs, default=None),
        worst_after_cents=max((one.after_cents for one in notes), key=abs, default=None),
        prediction=prediction,
        prediction_text=text,
        outside_before=_outside(before, notes),
        outside_after=_outside(after, notes),
        remarks=tuple(_remarks(before, after, len(notes), restrung, changes.day_cents)),
    )  # fmt: skip


def check_same_neck(before: InspectionDocument, after: InspectionDocument) -> None:
    """Raise unless both documents are of one neck: by serial where both have one, else by name and design.

    Raises UsageError: in one line, saying what differs.
    """
    necks = before.neck, after.neck
    serials, names = [one.serial for one in necks], [one.name for one in necks]
    if all(serials):
        _check_alike("serial", [str(one).casefold() for one in serials], [repr(plain_line(str(one))[:40]) for one in serials])
    else:
        hint = "; the same serial in both would tell that they are one"
        _check_alike("", [one.casefold() for one in names], [repr(plain_line(one)[:40]) for one in names], hint)
    for key, words in (("scale_length_mm", "scale length in mm"), ("frets", "number of frets")):
        values = [one.description.get(key) for one in necks]
        if None not in values:
            _check_alike(words, values, [f"{one!s:.12}" for one in values])
    counts = [len(_strings(document)) for document in (before, after)]
    if all(counts) and counts[0] != counts[1]:
        raise UsageError(f"these are different necks: {counts[0]} and {counts[1]} strings")


def _check_alike(what: str, values: Sequence[Any], told: Sequence[str], hint: str = "") -> None:
    if values[0] != values[1]:
        raise UsageError(f"these are different necks: {what}{' ' if what else ''}{told[0]} and {told[1]}{hint}")


def to_json(comparison: Comparison, before: InspectionDocument, after: InspectionDocument) -> str:
    """The comparison as one JSON document, ``fretcheck/comparison/2``."""

    def which(document: InspectionDocument) -> dict[str, Any]:
        told = {name: getattr(document.verdict, name) for name in ("decision", "probability_within")}
        return {"id": document.id, "taken_at": document.taken_at, **told}

    neck = {"name": after.neck.name, "serial": after.neck.serial}
    head = {"schema": "fretcheck/comparison/2", "neck": neck, "before": which(before), "after": which(after)}
    findings = [
        {name: getattr(one.finding, name) for name in ("cause", "fret", "string")}
        | {name: getattr(one, name) for name in ("before", "after", "by_work")}
        for one in comparison.findings
    ]
    return json.dumps(head | asdict(comparison) | {"findings": findings}, indent=2, ensure_ascii=False)


def _changes(before: InspectionDocument, after: InspectionDocument, restrung: frozenset[int]) -> Changes:
    necks = [neck_from_mapping(document.neck.description) for document in (before, after)]
    heard = [observations_in(document.readings) for document in (before, after)]
    first, second = (infer(neck, plucks) for neck, plucks in zip(necks, heard, strict=True))
    players = {document.conditions.operator for document in (before, after)} - {None}
    return changes_between(
        first,
        second,
        open_u_cents=(open_uncertainty(heard[0], len(necks[0].strings)), open_uncertainty(heard[1], len(necks[1].strings))),
        advised={
            Key(kind=kind, fret=move.fret, string=move.string): move.move_mm
            for step in before.corrections
            for move in step.moves
            if move.move_mm is not None
            for kind in KINDS_OF_PART.get((move.part, move.string is not None), ())
        },
        restrung=restrung,
        described_alike=not _described_otherwise(before, after),
        same_hand=len(players) < 2,
    )


def _common(before: InspectionDocument, after: InspectionDocument) -> set[tuple[int, int]]:
    heard = [
        {(one.string, one.fret) for one in document.readings if one.used and one.fret > 0 and one.press is None}
        for document in (before, after)
    ]
    return heard[0] & heard[1]


def _strings(document: InspectionDocument) -> list[dict[str, Any]]:
    strings = document.neck.description.get("strings")
    return [one for one in strings if isinstance(one, dict)] if isinstance(strings, list) else []


def _restrung(before: InspectionDocument, after: InspectionDocument) -> frozenset[int]:
    """Strings that are described as others now; where one sits is no matter of the string."""

    def itself(string: Mapping[str, Any]) -> dict[str, Any]:
        return {key: value for key, value in string.items() if key not in HEIGHTS}

    pairs = zip(_strings(before), _strings(after), strict=False)
    return frozenset(number for number, (one, other) in enumerate(pairs, start=1) if itself(one) != itself(other))


def _described_otherwise(before: InspectionDocument, after: InspectionDocument) -> list[str]:
    """Heights and places that the two descriptions tell otherwise, in words."""
    first, second = before.neck.description, after.neck.description
    names = [words for key, words in HEIGHTS.items() if first.get(key) != second.get(key)]
    for number, (one, other) in enumerate(zip(_strings(before), _strings(after), strict=False), start=1):
        names += [f"{words} of string {number}" for key, words in HEIGHTS.items() if one.get(key) != other.get(key)]
    return names


def _notes(
    before: InspectionDocument, after: InspectionDocument, probability: Mapping[tuple[int, int], float]
) -> tuple[NoteChange, ...]:
    """The notes heard in both. They changed where the neck surely changed them, the hands of both days left out."""
    old = {(one.string, one.fret): one.deviation_cents for one in before.frets if one.plucks}
    return tuple(
        NoteChange(
            string=one.string, fret=one.fret, before_cents=was, after_cents=now, change_cents=now - was,
            probability=probability[place], changed=probability[place] >= SURE,
        )
        for one in after.frets
        if one.fret > 0 and one.plucks and (place := (one.string, one.fret)) in probability
        if (was := old.get(place)) is not None and (now := one.deviation_cents) is not None
    )  # fmt: skip


def _findings(before: InspectionDocument, after: InspectionDocument, outcomes: Sequence[MoveOutcome]) -> list[FindingThen]:
    def place(one: Finding) -> tuple[str, int | None, int | None]:
        return one.cause, None if one.cause == "string" else one.fret, one.string

    old, new = ({place(one): one for one in document.findings} for document in (before, after))
    done = [one for one in outcomes if one.outcome in ("done as advised", "partly done", "gone too far")]
    worked = {(CAUSE_OF_PART.get(one.part, ""), one.fret, one.string) for one in done}
    # saddles moved one by one are a bridge out of place to the next reading
    worked |= {(CAUSE_OF_PART[one.part], None, None) for one in done if one.part == "saddle"}
    return [
        FindingThen(
            finding=old.get(key) or new[key],
            before=old[key].probability if key in old else None,
            after=new[key].probability if key in new else None,
            by_work=key not in old and key in worked,
        )
        for key in dict.fromkeys((*old, *new))
    ]


def _remarks(
    before: InspectionDocument, after: InspectionDocument, common: int, restrung: frozenset[int], day: Amount
) -> list[str]:
    remarks = []
    if before.taken_at is not None and after.taken_at is not None and _later(before.taken_at, after.taken_at):
        remarks.append("The inspection given as the first was taken after the second: were they swapped?")
    if restrung:
        names = f"string{'s' if len(restrung) > 1 else ''} {', '.join(map(str, sorted(restrung)))}"
        remarks.append(f"Described as others now: {names}. What other strings read by themselves is taken into account.")
    if otherwise := _described_otherwise(before, after):
        remarks.append(f"Described otherwise now: {', '.join(otherwise)}. That counts as done, not as found.")
    if measured := _measured_otherwise(before, after):
        remarks.append(f"Measured otherwise or anew since: {', '.join(measured)}.")
    if abs(day.change) > max(CONSISTENT * day.u, DAY_WORTH_SAYING_CENTS):
        way = "harder" if day.change > 0 else "more lightly"
        remarks.append(f"The hand pressed {way} the second time, by about {abs(day.change):.1f} cents a note; that is left out.")
    players = [document.conditions.operator for document in (before, after)]
    if None not in players and players[0] != players[1]:
        remarks.append("Another person played the second time, so changes that a hand can make are less sure.")
    if any(document.coverage is None for document in (before, after)):
        remarks.append("One is of version 0.1: it is shown as it was judged then, and diagnosed anew to be compared.")
    heard = [sum(one.fret > 0 and one.plucks > 0 for one in each.frets) for each in (before, after)]
    if max(heard) > common:
        remarks.append(f"{common} notes were heard in both; the others ({heard[0]} before, {heard[1]} after) are left out.")
    return remarks


def _measured_otherwise(before: InspectionDocument, after: InspectionDocument) -> list[str]:
    rows = [document.neck.description.get("measured") for document in (before, after)]
    old, new = ([one for one in row if isinstance(one, dict)] if isinstance(row, list) else [] for row in rows)
    names = [plain_line(str(one.get("what", "")))[:40].replace("_", " ") for one in new if one not in old]
    return list(dict.fromkeys(names))


def _later(first: str, second: str) -> bool:
    try:
        return datetime.fromisoformat(first) > datetime.fromisoformat(second)
    except (ValueError, TypeError):
        return False


def _outside(document: InspectionDocument, notes: tuple[NoteChange, ...]) -> int:
    """How many of the notes that both heard are surely out of tolerance."""
    both = {(one.string, one.fret) for one in notes}
    return sum(one.decision == "fail" and (one.string, one.fret) in both for one in document.frets)
