"""The result of an inspection in a few sentences, the same on screen, on paper and in the terminal.

Conventions
-----------
Cents with one decimal and the word sharp or flat in place of a sign.
"""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from fretcheck.report.finding_words import clause, sentence_of

if TYPE_CHECKING:
    from fretcheck.inspection.document import InspectionDocument

DECISION_WORDS: dict[str | None, str] = {
    "pass": "Within tolerance", "fail": "Out of tolerance", "undecided": "Undecided", None: "Not judged",
}  # fmt: skip


def reason_of(document: InspectionDocument) -> str:
    """Why the verdict is what it is."""
    return document.verdict.reason or f"Judged against ±{document.verdict.limit_cents:g} cents."


def in_short(document: InspectionDocument) -> str:
    """All findings in one sentence; empty where none is needed."""
    if not document.findings:
        return "" if document.verdict.decision == "pass" else "No single fret, nor nut, nor saddle stands out as the cause."
    return sentence_of([clause(one) for one in document.findings])


def worst_sentence(document: InspectionDocument) -> str:
    """Which note is furthest out; empty where none was judged."""
    worst = document.verdict.worst
    if worst is None:
        return ""
    way = "sharp" if worst.deviation_cents > 0 else "flat"
    place = "open" if worst.fret == 0 else f"at fret {worst.fret}"
    return f"The note furthest out is string {worst.string} {place}: {abs(worst.deviation_cents):.1f} cents {way}."


def predicted_sentence(document: InspectionDocument) -> str:
    """What the corrections should bring; empty where there are none."""
    after = document.predicted_after.worst_cents
    if after is None or not document.corrections:
        return ""
    enough = "within" if abs(after) <= document.verdict.limit_cents else "still beyond"
    return (
        f"With all corrections made the worst note should lie at {abs(after):.1f} cents, {enough} the tolerance "
        "(the hand's own scatter left out)."
    )


def set_aside_by_reason(document: InspectionDocument) -> list[tuple[str, str]]:
    """Sounds that were not used: each reason, fit to stand within a sentence, and where it was met."""
    places: dict[str, dict[int | None, list[str]]] = defaultdict(lambda: defaultdict(list))
    for one in document.set_aside:
        reason = one.reason[:1].lower() + one.reason[1:].rstrip(".")
        places[reason][one.string].append(f"{one.start_s:.1f}")
    return [
        (
            reason,
            "; ".join(
                f"{'unknown string' if string is None else f'string {string}'} at {', '.join(moments)} s"
                for string, moments in by_string.items()
            ),
        )
        for reason, by_string in places.items()
    ]


def missing_by_string(document: InspectionDocument) -> str:
    """Notes that were asked for and not heard; empty for none."""
    by_string: dict[int, list[str]] = defaultdict(list)
    for string, fret in document.missing:
        by_string[string].append("open" if fret == 0 else str(fret))
    return "; ".join(f"string {string}: {', '.join(frets)}" for string, frets in sorted(by_string.items()))


def sureness(probability: float) -> str:
    """A probability as a person would say it, never a false 0 or 100 %.

    Examples
    --------
    >>> sureness(0.87), sureness(0.9999), sureness(0.001)
    ('87 %', '> 99 %', '< 1 %')
    """
    percent = 100.0 * probability
    if percent > 99.0:
        return "> 99 %"
    if percent < 1.0:
        return "< 1 %"
    return f"{percent:.0f} %"
