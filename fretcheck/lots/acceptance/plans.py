"""How many necks of a lot to draw, and how many of them may be bad: by two stated risks, by a standard, or the user's own choice.

Source of the standard plans: MIL-STD-105E (public domain), the same master tables as ISO 2859-1; single sampling, normal and
tightened inspection, lots of 2 to 500 necks. Reduced inspection is left out: it needs a record of ten accepted lots in a row,
which a small shop rarely has, and it would draw two necks where five are cheap.

Conventions: all plans count bad necks: a neck's worst note is the largest of a hundred and widened by the hand, so it does not
scatter normally, and a plan by variables cannot keep the risks that it promises. The master tables are diagonal: a plan depends
only on the sum of the code letter's row and the quality limit's column. An arrow means "take the first plan below (or above),
with that plan's own sample size". AQL (acceptance quality limit) in percent bad. A sample not smaller than the lot means: check
every neck.
"""

from collections.abc import Sequence
from typing import Literal

from fretcheck.errors import UsageError
from fretcheck.lots.acceptance.lot_record import Lot, PlanPart
from fretcheck.lots.acceptance.risks import StatedRisks, plan_for_risks

Severity = Literal["normal", "tightened"]

CODE_LETTERS = "ABCDEFGHJ"
SAMPLE_SIZES = (2, 3, 5, 8, 13, 20, 32, 50, 80, 125)  # Of the letters A to J, and of K, at which arrows from J may end
LEVELS = ("S-1", "S-2", "S-3", "S-4", "I", "II", "III")
QUALITY_LIMITS = (0.65, 1.0, 1.5, 2.5, 4.0, 6.5)
LARGEST_LOT = 500

_LETTERS_OF_LOT = (  # largest lot of the row, then the letters of the levels S-1, S-2, S-3, S-4, I, II, III
    (8, "AAAAAAB"),
    (15, "AAAAABC"),
    (25, "AABBBCD"),
    (50, "ABBCCDE"),
    (90, "BBCCCEF"),
    (150, "BBCDDFG"),
    (280, "BCDEEGH"),
    (500, "BCDEFHJ"),
)
_ARROW_UP, _ARROW_DOWN = "up", "down"
_NORMAL: dict[int, int | str] = {5: 0, 6: _ARROW_UP, 7: _ARROW_DOWN, 8: 1, 9: 2, 10: 3, 11: 5, 12: 7, 13: 10}
# Allowed bad necks by diagonal (row of the letter + column of the limit); every earlier diagonal is an arrow down
_TIGHTENED: dict[int, int | str] = {6: 0, 7: _ARROW_DOWN, 8: _ARROW_DOWN, 9: 1, 10: 2, 11: 3, 12: 5, 13: 8}
LOOK_BACK, REFUSED_TO_TIGHTEN = 5, 2  # Lots: MIL-STD-105E, 4.7 (from memory)


def choose_plan(
    *,
    lot: int,
    risks: StatedRisks | None = None,
    aql: float | None = None,
    level: str = "II",
    severity: Severity = "normal",
    own: tuple[int, int] | None = None,
) -> PlanPart:
    """The plan of a lot of `lot` necks; `own` is (sample, accept).

    Raises UsageError when none or several ways are chosen, or a plan needs more necks than the lot has.
    """
    if [risks, aql, own].count(None) != 2:
        raise UsageError("choose one plan: --good and --bad (your two risks), --aql (a standard), or --sample (your own)")
    if own is not None:
        return PlanPart(sample=own[0], accept=own[1], source="chosen by the user")
    if risks is not None:
        return plan_for_risks(lot=lot, risks=risks).model_copy(update={"good": int(risks.good), "bad": int(risks.bad)})
    assert aql is not None
    return attribute_plan(lot=lot, aql=aql, level=level, severity=severity)


def attribute_plan(*, lot: int, aql: float, level: str = "II", severity: Severity = "normal") -> PlanPart:
    """Single sampling plan by attributes.

    `lot`: necks in the lot, 2 to 500. `aql`: acceptance quality limit, percent bad: 0.65, 1.0, 1.5, 2.5, 4.0 or 6.5. `level`:
    general level I, II, III, or special level S-1 … S-4.
    Returns with its sample size limited to the lot (then every neck is checked).

    >>> plan = attribute_plan(lot=60, aql=2.5)
    >>> plan.sample, plan.accept
    (20, 1)
    """
    if level not in LEVELS:
        raise UsageError(f"inspection level {level!r} is unknown: give one of {', '.join(LEVELS)}")
    if not 2 <= lot <= LARGEST_LOT:
        raise UsageError(
            f"a lot of {lot} necks lies outside the standard's rows kept here, 2 to {LARGEST_LOT}: state your risks instead"
        )
    if severity not in ("normal", "tightened"):
        raise UsageError(f"severity {severity!r} is unknown: give normal or tightened")
    if aql not in QUALITY_LIMITS:
        nearest = min(QUALITY_LIMITS, key=lambda limit: abs(limit - aql))
        limits = ", ".join(f"{limit:g}" for limit in QUALITY_LIMITS)
        raise UsageError(f"AQL {aql:g} % is not in the standard's series kept here ({limits}); the nearest is {nearest:g}")
    letter = next(row for largest, row in _LETTERS_OF_LOT if lot <= largest)[LEVELS.index(level)]
    row, column = CODE_LETTERS.index(letter), QUALITY_LIMITS.index(aql)
    table = _NORMAL if severity == "normal" else _TIGHTENED
    while not isinstance(accept := table.get(row + column, _ARROW_DOWN), int):
        row += 1 if accept == _ARROW_DOWN else -1
    source = f"MIL-STD-105E single sampling, {severity}, level {level}, letter {letter}, AQL {aql:g} %"
    if SAMPLE_SIZES[row] >= lot:
        return PlanPart(sample=lot, accept=accept, source=f"{source}: every neck is checked")
    return PlanPart(sample=SAMPLE_SIZES[row], accept=accept, source=source)


def proposed_severity(earlier: Sequence[Lot], *, now_tightened: bool) -> str | None:
    """A sentence that proposes the other severity, with its reason; None where the chosen one fits.

    To tightened when 2 of the last 5 lots (or fewer) were refused, back to normal after 5 accepted in a row. `earlier`: lots of
    the same template in the order in which they were opened. `now_tightened`: chosen for the lot that is being opened.
    """
    last = [lot for lot in earlier if lot.decision is not None and lot.decision.outcome != "open"][-LOOK_BACK:]
    refused = [lot.name for lot in last if lot.decision is not None and lot.decision.outcome == "refuse"]
    if not now_tightened and len(refused) >= REFUSED_TO_TIGHTEN:
        which = f"{len(refused)} of the last {len(last)} lots were refused ({', '.join(refused)})"
        return f"the tightened plan is due (--tightened): {which}"
    if now_tightened and not refused and sum("tightened" in lot.plan.source for lot in last) == LOOK_BACK:
        return f"the normal plan will do again (leave --tightened out): the last {LOOK_BACK} lots were all accepted"
    return None
