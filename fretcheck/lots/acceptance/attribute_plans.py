"""Standard plans by attributes: how many necks to draw, and how many of them may be bad.

Source: MIL-STD-105E (public domain), the same master tables as ISO 2859-1; single sampling, normal and tightened
inspection, lots of 2 to 500 necks. Reduced inspection is left out: it needs a record of ten accepted lots in a row,
which a small shop rarely has, and it would draw two necks where five are cheap.

Conventions: the master tables are diagonal: a plan depends only on the sum of the code letter's row and the quality limit's
column. An arrow means "take the first plan below (or above), with that plan's own sample size". AQL (acceptance quality limit)
in percent bad. A sample not smaller than the lot means: check every neck.
"""

from typing import Literal

from fretcheck.errors import UsageError
from fretcheck.lots.acceptance.risks import SamplingPlan

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


def code_letter(*, lot: int, level: str = "II") -> str:
    """Code letter of a lot size at an inspection level. Raises UsageError for a lot outside 2 to 500, or an unknown level."""
    if level not in LEVELS:
        raise UsageError(f"inspection level {level!r} is unknown: give one of {', '.join(LEVELS)}")
    if not 2 <= lot <= LARGEST_LOT:
        raise UsageError(
            f"a lot of {lot} necks lies outside the standard's rows kept here, 2 to {LARGEST_LOT}: state your risks instead"
        )
    letters = next(row for largest, row in _LETTERS_OF_LOT if lot <= largest)
    return letters[LEVELS.index(level)]


def attribute_plan(*, lot: int, aql: float, level: str = "II", severity: Severity = "normal") -> SamplingPlan:
    """Single sampling plan by attributes.

    `lot`: necks in the lot, 2 to 500. `aql`: acceptance quality limit, percent bad: 0.65, 1.0, 1.5, 2.5, 4.0 or 6.5. `level`:
    general level I, II, III, or special level S-1 … S-4.
    Returns with its sample size limited to the lot (then every neck is checked).

    >>> plan = attribute_plan(lot=60, aql=2.5)
    >>> plan.sample, plan.accept
    (20, 1)
    """
    letter = code_letter(lot=lot, level=level)
    row, accept = _follow_arrows(CODE_LETTERS.index(letter), aql, severity)
    sample = SAMPLE_SIZES[row]
    source = f"MIL-STD-105E single sampling, {severity}, level {level}, letter {letter}, AQL {aql:g} %"
    if sample >= lot:
        return SamplingPlan(sample=lot, accept=accept, source=f"{source}: every neck is checked")
    return SamplingPlan(sample=sample, accept=accept, source=source)


def _follow_arrows(row: int, aql: float, severity: Severity) -> tuple[int, int]:
    """Row of the sample size and number accepted, after the arrows."""
    if severity not in ("normal", "tightened"):
        raise UsageError(f"severity {severity!r} is unknown: give normal or tightened")
    if aql not in QUALITY_LIMITS:
        nearest = min(QUALITY_LIMITS, key=lambda limit: abs(limit - aql))
        limits = ", ".join(f"{limit:g}" for limit in QUALITY_LIMITS)
        raise UsageError(f"AQL {aql:g} % is not in the standard's series kept here ({limits}); the nearest is {nearest:g}")
    column = QUALITY_LIMITS.index(aql)
    table = _NORMAL if severity == "normal" else _TIGHTENED
    while not isinstance(entry := table.get(row + column, _ARROW_DOWN), int):
        row += 1 if entry == _ARROW_DOWN else -1
    return row, entry
