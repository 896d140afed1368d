"""The steps of the work in the words of the bench: what to do, how far, which way, how sure, and where it can hurt.

Conventions: lengths in mm to 0.01; "toward the bridge" and "toward the nut" along the strings. A height at the nut (over the
plane of the crowns) and a clearance over fret 1 are two things, and a text says which it means.
"""

from collections.abc import Sequence

import numpy as np

from fretcheck.diagnosis.conclude.bench import Bench
from fretcheck.diagnosis.conclude.piece_of_work import Fault, Work, left_over_fret_1
from fretcheck.diagnosis.conclude.words import millimetres
from fretcheck.diagnosis.settings import DiagnosisSettings

SLACKEN = "Slacken the strings first, and keep the face away from strings under tension."
SLACKEN_ONE = "Slacken the string first."
DIFFERS_MM = 0.1  # A move told to what a bench can set (0.05 mm) differs from a finding from here on
SLOT_DIFFERS_MM = 0.03  # The same of a slot, as finely as a bench files
CUTTING = "Mask the board, and wear eye protection when cutting or filing."


def way(mm: float) -> str:
    """Which way along the strings."""
    return "toward the bridge" if mm > 0 else "toward the nut"


def several(numbers: Sequence[int], what: str) -> str:
    """``string 3``, ``strings 1, 2 and 6``."""
    listed = [str(number) for number in numbers]
    if len(listed) == 1:
        return f"{what} {listed[0]}"
    return f"{what}s {', '.join(listed[:-1])} and {listed[-1]}"


def text_of(work: Work, bench: Bench, settings: DiagnosisSettings) -> str:
    """One piece of work, told."""
    how = {"string": _string, "saddle": _saddle, "straight_saddle": _straight, "seat": _straight, "slots": _slots, "nut": _nut}
    return how.get(work.how, _fret)(work, bench, settings)


def _u(work: Work) -> str:
    return "" if work.u_mm is None else f" (±{max(work.u_mm, 0.01):.2f} mm)"


def _sure(fault: Fault | None) -> str:
    if fault is None:
        return ""
    sure = 100.0 * fault.finding.probability
    return " More than 99 % sure." if sure >= 99.5 else f" {sure:.0f} % sure."


def _of_the_found(work: Work, bound: float) -> str:
    """How a move stands to what was found: where they differ, the reason."""
    fault = work.fault
    if fault is None:
        return ""
    found, back = millimetres(fault.value), abs(fault.value)
    if work.mm * fault.value > 0.0:
        return f", though it was found {found} out the other way: the limit needs it so"
    if abs(work.mm) < back - DIFFERS_MM:
        return f", of the {found} found, which {'is all that can be made good here' if back > bound else 'brings it within'}"
    return ", back to its place" if abs(work.mm) <= back + DIFFERS_MM else f", the {found} found and the rest for the limit"


def _string(work: Work, bench: Bench, settings: DiagnosisSettings) -> str:
    return (
        f"Put a new string {work.string} on, let it settle and tune it, and read it again before anything else is touched: the "
        f"old one is false.{_sure(work.fault)} Wear eye protection when a string is cut or comes off under tension."
    )


def _saddle(work: Work, bench: Bench, settings: DiagnosisSettings) -> str:
    found = _of_the_found(work, settings.most_saddle_mm)
    how = f"{millimetres(work.mm)} {way(work.mm)}{_u(work)}{found}.{_sure(work.fault)}"
    return f"Move the saddle of string {work.string} {how} {SLACKEN_ONE}"


def _straight(work: Work, bench: Bench, settings: DiagnosisSettings) -> str:
    assert work.bass_mm is not None
    seat = work.how == "seat"
    what = "Fill the saddle's seat and cut it anew" if seat else "Move the whole saddle"
    end = f" {SLACKEN} {CUTTING}" if seat else f" {SLACKEN}"
    if work.mm == work.bass_mm:
        how = f"{millimetres(work.mm)} {way(work.mm)}{_u(work)}, its slant kept{_of_the_found(work, settings.most_saddle_mm)}"
    else:
        ends = [
            f"{millimetres(mm)} {way(mm)} at string {number}" if mm else f"where it is at string {number}"
            for mm, number in ((work.mm, min(bench.strings)), (work.bass_mm, max(bench.strings)))
        ]
        how = f"{ends[0]} and {ends[1]}{_u(work)}, straight between"
    return f"{what} {how}.{_sure(work.fault)}{end}"


def _nut(work: Work, bench: Bench, settings: DiagnosisSettings) -> str:
    size = f"{millimetres(work.mm)}{_u(work)}"
    if work.fault is not None and work.fault.cause.kind == "nut_skew":
        first, last = min(bench.strings), max(bench.strings)
        return (
            f"Square the nut: its front edge {size} {way(work.mm)} at string {first} and as much {way(-work.mm)} at string "
            f"{last}.{_sure(work.fault)} {SLACKEN}"
        )
    which = "the nut" if work.string is None else f"the nut of the short string {work.string}"
    found = _of_the_found(work, settings.most_nut_mm)
    if work.mm > 0:
        how = f"Bring the front edge of {which} {size} toward the bridge{found}: a shelf under the strings, or a new nut."
    else:
        how = f"Set the front edge of {which} back {size}, away from the bridge{found}: file its front, or make a new nut."
    return f"{how}{_sure(work.fault)} {SLACKEN}"


def _slots(work: Work, bench: Bench, settings: DiagnosisSettings) -> str:
    whole = set(work.slots) >= set(bench.slotted)
    which = "every nut slot" if whole else f"the nut slot of {several(work.slots, 'string')}"
    if work.filed_mm < 0.0:
        how = f"Raise {which} by {millimetres(work.filed_mm)}{_u(work)} at the nut: shim it, or fill the slot and cut it anew."
        return f"{how}{_sure(work.fault)} {SLACKEN}"
    least = float(np.mean([bench.least_clearance_mm(string) for string in work.slots]))
    now = float(np.mean([bench.measured_mm[string] for string in work.slots]))
    left = left_over_fret_1(work, bench)
    at_nut = (now - left) / bench.above_nut
    found = ""
    if work.fault is not None and abs(at_nut - work.fault.value) >= SLOT_DIFFERS_MM:
        over = at_nut > work.fault.value
        found = (
            f": the {millimetres(work.fault.value)} found, and the rest for the limit"
            if over
            else (f" of the {millimetres(work.fault.value)} found: no lower for the clearance's sake")
        )
    how = (
        f"{millimetres(left)} over the crown of fret 1, {millimetres(now - left)}{_u(work)} less than the {now:.2f} mm measured "
        f"({millimetres(at_nut)} at the nut{found})"
    )
    every = "each string has" if whole and len(bench.strings) > 1 else "it has"
    return (
        f"File {which} until {every} {how}, and never under {millimetres(least)}.{_sure(work.fault)} A few strokes at a time, "
        f"tune and measure again: a slot too low buzzes and must be filled. {SLACKEN} Measure the clearance anew afterwards: the "
        "old entry no longer holds."
    )


def _fret(work: Work, bench: Bench, settings: DiagnosisSettings) -> str:
    fault = work.fault
    assert fault is not None
    if work.worn:
        return (
            f"Crown {several(work.worn, 'fret')} anew, so that the tops come back to the middle: wear has drawn them to one side."
            f"{_sure(fault)} What is filed off does not come back: look at the bright lines on the crowns with a loupe first. "
            f"{SLACKEN} {CUTTING}"
        )
    size = f"{millimetres(work.mm)}{_u(work)} {way(work.mm)}"
    match fault.finding.cause:
        case "fret_tilt":
            first, last = min(bench.strings), max(bench.strings)
            how = f"Square fret {work.fret}: its crown {size} under string {first}, as much {way(-work.mm)} under string {last}"
        case _:
            how = f"Move the crown of fret {work.fret} {size}"
    if abs(work.mm) <= settings.most_crown_mm:
        how += ", by filing it anew off its middle if it is wide enough, else by filling the slot and cutting it anew"
    else:
        how += ": more than a crown allows, so fill the slot and cut it anew, or renew the board"
    return (
        f"{how}.{_sure(fault)} What is filed off does not come back: measure its place by rule before the first stroke. "
        f"{SLACKEN} {CUTTING}"
    )
