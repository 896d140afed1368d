"""A comparison in words: the headline, and the names of parts.

Conventions
-----------
Before and after are the two inspections in the order given; mm positive is nearer the bridge or higher.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fretcheck.report.verdict_words import DECISION_WORDS

if TYPE_CHECKING:
    from fretcheck.inspection.comparison import CauseChange, Comparison, CorrectionOutcome
    from fretcheck.inspection.document import InspectionDocument


def headline(before: InspectionDocument, after: InspectionDocument) -> str:
    """From which verdict to which."""
    first, second = DECISION_WORDS[before.verdict.decision], DECISION_WORDS[after.verdict.decision]
    return f"Still {second.lower()}" if first == second else f"{first} before, {second.lower()} now"


def summary(comparison: Comparison) -> str:
    """What changed, in a sentence or two."""
    changed = len(comparison.changed_notes)
    text = f"{changed} of {len(comparison.notes)} notes changed beyond chance. "
    text += f"Surely outside the tolerance: {comparison.outside_before} before, {comparison.outside_after} now. "
    if comparison.worst_before_cents is not None and comparison.worst_after_cents is not None:
        text += f"Worst note: {abs(comparison.worst_before_cents):.1f} cents before, {abs(comparison.worst_after_cents):.1f} now."
    return text


def part_name(cause: str, *, fret: int | None, string: int | None) -> str:
    """A part or cause as a heading of a row."""
    names = {
        "fret_position": f"Fret {fret}, place",
        "fret_tilt": f"Fret {fret}, tilt",
        "nut_position": "Nut, place" if string is None else "Nut, skew",
        "nut_height": "Nut, height" if string is None else f"Nut slot of string {string}",
        "saddle_position": "Bridge, place" if string is None else f"Saddle of string {string}",
        "scale_length": "Scale length",
        "string": f"String {string} itself",
        "tuning_drift": f"Tuning of string {string}",
        "finger_pressure": "Finger's pressure",
    }
    return names.get(cause, cause.replace("_", " ").capitalize())


def corrected_part(one: CorrectionOutcome) -> str:
    """The part that a correction moves."""
    names = {
        "nut_height": "Nut, height" if one.string is None else f"Nut slot of string {one.string}",
        "nut": "Nut, place",
        "saddle": "Saddle" if one.string is None else f"Saddle of string {one.string}",
        "fret": f"Fret {one.fret}",
        "string": f"String {one.string}",
    }
    return names.get(one.part, one.part)


def worth_showing(comparison: Comparison, before: InspectionDocument, after: InspectionDocument) -> list[CauseChange]:
    """Parts that changed beyond chance, or were a finding in either inspection."""
    found = {(one.cause, None if one.cause == "string" else one.fret, one.string) for one in (*before.findings, *after.findings)}
    return [one for one in comparison.causes if one.changed or (one.cause, one.fret, one.string) in found]
