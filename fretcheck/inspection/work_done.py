"""What became of the work advised, and whether what was predicted of it came true, from the changes found afterwards.

Only work that was done is judged, and a prediction only as far as its work was done.

Conventions: after minus before; mm positive nearer the bridge or higher.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from fretcheck.diagnosis.result import Correction, Move, Part
from fretcheck.inspection.changes import Amount, Changes
from fretcheck.inspection.document import InspectionDocument

Outcome = Literal["done as advised", "partly done", "gone too far", "moved the other way", "not done", "cannot be told"]
Prediction = Literal["came true", "did not come true", "cannot be told"]
SURE = 0.95  # A note or part is said to have changed, and work to have been done or not, when it is at least so probable
HARDLY_MOVED = 0.3  # Of the move asked for: less is no work done
# A bench works to a tenth of a millimetre: a move that misses by less is as advised (common practice, no source)
WORKMANSHIP_MM = 0.1
CONSISTENT = 2.0  # Two figures agree when they differ by no more than so many standard uncertainties


@dataclass(frozen=True, kw_only=True)
class MoveOutcome:
    """What became of one move that the first inspection advised."""

    step: int
    part: Part
    fret: int | None
    string: int | None
    end: Literal["treble", "bass"] | None
    text: str
    asked_mm: float | None  # There, by this step and those before it that move the same, and later ones that were done too
    moved_mm: float | None
    u_mm: float | None
    outcome: Outcome
    why: str


def _strings_moved(move: Move, moves: Sequence[Move], *, count: int) -> list[int]:
    """The strings at which a move is looked for: its own, its end's outer one, or all that no move of their own has."""
    if move.string is not None:
        return [move.string]
    if move.end is not None:
        return [1 if move.end == "treble" else count]
    own = {one.string for one in moves if one.part == move.part and one.fret == move.fret}
    return [number for number in range(1, count + 1) if number not in own] or [*range(1, count + 1)]


def _share(move: Move, strings: Sequence[int]) -> float:
    """How much of a move is seen at these strings on the mean."""
    return 1.0 if move.string is None else float(move.string in strings) / len(strings)


def outcome_of(
    step: int, move: Move, text: str, advised: Sequence[tuple[int, Move]], changes: Changes, restrung: frozenset[int]
) -> MoveOutcome:
    """What became of a move of this step; `advised` are all moves with their steps, of which only the sum is heard."""
    outcome: Outcome = "cannot be told"
    amount: Amount | None = None
    asked: float | None = None
    if move.part == "string":
        outcome, why = _string_outcome(move, changes, restrung)
    elif move.move_mm is None:
        why = "not a move that sound can follow"
    else:
        strings = _strings_moved(move, [one for _, one in advised], count=len(changes.model.design.neck.strings))
        amount = changes.of_part(move.part, strings=strings, fret=move.fret)
        why = "not heard in both inspections"
        if amount is not None:
            found = amount.change
            alike = [(number, one) for number, one in advised if (one.part, one.fret) == (move.part, move.fret)]
            own = [(number, one.move_mm * _share(one, strings)) for number, one in alike if one.move_mm is not None]
            before = sum(by for number, by in own if number < step)
            sums = [sum(by for number, by in own if number <= last) for last, _ in own if last >= step]
            asked = min(sums, key=lambda one: abs(found - one))
            outcome, why = judged_move(amount.less(before), asked=asked - before)
    return MoveOutcome(
        step=step, part=move.part, fret=move.fret, string=move.string, end=move.end, text=text, asked_mm=asked,
        moved_mm=None if amount is None else amount.change, u_mm=None if amount is None else amount.u, outcome=outcome, why=why,
    )  # fmt: skip


def _string_outcome(move: Move, changes: Changes, restrung: frozenset[int]) -> tuple[Outcome, str]:
    if move.string in restrung:
        return "done as advised", "it is described as another string now"
    moved = {key.string: probability for key, probability, _ in changes.moved if key.kind == "string"}
    if moved.get(move.string, 0.0) >= SURE:
        return "done as advised", "it reads otherwise along its length"
    return "cannot be told", "a new string of the same kind may read alike"


def judged_move(amount: Amount, *, asked: float) -> tuple[Outcome, str]:
    """Whether a part moved as asked (mm), and why that is said."""
    little = HARDLY_MOVED * abs(asked)
    way = 1.0 if asked > 0 else -1.0
    still = amount.between(-little, little)
    along = amount.between(little, 1e6) if way > 0 else amount.between(-1e6, -little)
    if still >= SURE:
        return "not done", "it lies where it lay"
    if along >= SURE:
        if abs(amount.change - asked) <= max(CONSISTENT * amount.u, WORKMANSHIP_MM):
            return "done as advised", "the move found agrees with the one asked for"
        return ("partly done", "less than asked for") if abs(amount.change) < abs(asked) else ("gone too far", "more than asked")
    if 1.0 - still - along >= SURE:
        return "moved the other way", "away from where it should go"
    return "cannot be told", "the uncertainty is as large as the move"


def prediction_of(
    before: InspectionDocument, after: InspectionDocument, outcomes: Sequence[MoveOutcome]
) -> tuple[Prediction, str]:
    """Whether the worst note is where the work that was done should have brought it; untouched by work that was not done."""
    steps = [one for one in before.corrections if one.moves]
    done, worst = _steps_done(before.corrections, outcomes), after.verdict.worst
    if not steps:
        return "cannot be told", "The first inspection advised no work, so it predicted nothing of it."
    if not done or worst is None:
        return "cannot be told", "Of the work advised none is known to be done in full, so what it was to bring is not judged."
    whole = len(done) == len(steps)
    predicted, interval = done[-1].predicted.worst_cents, before.predicted_after.worst_90 if whole else None
    if predicted is None:
        return "cannot be told", "The first inspection did not say what this work would bring."
    u = next((one.u_cents for one in after.frets if (one.string, one.fret) == (worst.string, worst.fret)), None)
    found = abs(worst.deviation_cents)
    what = "all the work" if whole else "the work" if len(done) == 1 else f"the first {len(done)} steps"
    text = (
        f"With {what} done the worst note was expected at {abs(predicted):.1f} cents"
        + (f" (90 % interval {interval[0]:.1f} to {interval[1]:.1f})" if interval is not None else "")
        + f". Found: {found:.1f} cents{'' if u is None else f' (±{u:.1f})'}, string {worst.string} fret {worst.fret}. "
    )
    most = abs(predicted) if interval is None else max(abs(predicted), interval[1])
    if found <= most + (0.0 if u is None else CONSISTENT * u):
        return "came true", text + "That agrees, or is better."
    return "did not come true", text + "That is further out than expected."


def _steps_done(steps: Sequence[Correction], outcomes: Sequence[MoveOutcome]) -> list[Correction]:
    """The first steps, as far as every move of them was made as advised."""
    done = []
    for number, step in enumerate(steps, start=1):
        if not step.moves:
            continue
        if not all(one.outcome == "done as advised" for one in outcomes if one.step == number):
            break
        done.append(step)
    return done
