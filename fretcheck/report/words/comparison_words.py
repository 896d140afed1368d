"""A comparison in words: the headline, and the names of parts."""

from fretcheck.inspection.comparison import Comparison, FindingThen
from fretcheck.inspection.document import InspectionDocument
from fretcheck.inspection.work_done import MoveOutcome
from fretcheck.report.words.finding_words import label
from fretcheck.report.words.verdict_words import DECISION_WORDS, sureness


def headline(comparison: Comparison, before: InspectionDocument, after: InspectionDocument) -> tuple[str | None, str]:
    """Kind of badge, and from which verdict to which; what is better than before is not shown as a fault."""
    first, second = before.verdict.decision, after.verdict.decision
    if first == second == "fail":
        return ("undecided", "Better, not within tolerance yet") if comparison.better else ("fail", "Still out of tolerance")
    if first == second:
        return second, f"Still {DECISION_WORDS[second].lower()}"
    return second, f"{DECISION_WORDS[first]} before, {DECISION_WORDS[second].lower()} now"


def summary(comparison: Comparison, before: InspectionDocument, after: InspectionDocument) -> str:
    """What changed, in a sentence or two."""
    changed = len(comparison.changed_notes)
    text = f"{changed} of {len(comparison.notes)} notes were changed. " if changed else "No note was surely changed. "
    text += f"Surely outside the tolerance: {comparison.outside_before} before, {comparison.outside_after} now. "
    if comparison.worst_before_cents is not None and comparison.worst_after_cents is not None:
        text += (
            f"Worst note: {abs(comparison.worst_before_cents):.1f} cents before, {abs(comparison.worst_after_cents):.1f} now. "
        )
    within = [document.verdict.probability_within for document in (before, after)]
    if within[0] is not None and within[1] is not None:
        text += f"All within: {sureness(within[0])} before, {sureness(within[1])} now."
    return text.rstrip()


def part_name(kind: str, *, fret: int | None, string: int | None) -> str:
    """A part that was moved as a heading of a row."""
    names = {
        "fret_position": f"Fret {fret}, place",
        "fret_tilt": f"Fret {fret}, tilt",
        "wear": "Worn crowns" if fret is None else f"Crown of fret {fret}",
        "nut_position": "Nut, place",
        "nut_skew": "Nut, skew",
        "own_nut": f"Nut of string {string}, place",
        "nut_height": "Nut, height",
        "slot_height": f"Nut slot of string {string}",
        "bridge": "Bridge, place",
        "saddle_slant": "Saddle, slant",
        "saddle": f"Saddle of string {string}",
        "string": f"String {string} itself",
    }
    return names.get(kind, kind.replace("_", " ").capitalize())


def corrected_part(one: MoveOutcome) -> str:
    """The part that a correction moves."""
    end = f", {one.end} end" if one.end else ""
    names = {
        "nut_height": "Nut, height" if one.string is None else f"Nut slot of string {one.string}",
        "nut": "Nut, place",
        "saddle": ("Saddle" if one.string is None else f"Saddle of string {one.string}") + end,
        "fret": f"Fret {one.fret}{end}",
        "string": f"String {one.string}",
    }
    return names.get(one.part, one.part)


def finding_then(one: FindingThen) -> str:
    """What became of a finding, with both certainties."""
    name = label(one.finding)
    if one.after is None:
        assert one.before is not None
        return f"{name} ({sureness(one.before)} sure before): no longer found"
    if one.before is None:
        since = "put there by the work" if one.by_work else "not found before"
        return f"{name} ({sureness(one.after)} sure): {since}"
    return f"{name} before ({sureness(one.before)} sure): still found ({sureness(one.after)} sure)"
