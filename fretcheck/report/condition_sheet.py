"""The condition sheet for a customer: one page in plain language, and the technical page behind it.

Conventions
-----------
One sheet of A4 whatever was found: the matters that weigh most, at most `MOST_MATTERS`; the rest is named as "see the technical
page".
"""

from __future__ import annotations

from math import ceil
from typing import TYPE_CHECKING

from fretcheck.report.condition_words import how_noticeable, plain_words
from fretcheck.report.inspection_page import context_of, facts, running_line
from fretcheck.report.neck_figure import neck_figure, upright_neck_figure
from fretcheck.report.page import moment, render

if TYPE_CHECKING:
    from fretcheck.inspection.document import InspectionDocument

MOST_MATTERS = 4
HEADLINES: dict[str | None, str] = {
    "pass": "Your instrument plays in tune.",
    "fail": "Your instrument does not play in tune everywhere.",
    "undecided": "We cannot yet say for certain whether your instrument plays in tune everywhere.",
    None: "We have listened to too little of your instrument to judge it.",
}


def condition_sheet(document: InspectionDocument) -> str:
    """The page as HTML."""
    strings = document.neck.description.get("strings")
    count = len(strings) if isinstance(strings, list) else max((one.string for one in document.frets), default=6)
    worst = document.verdict.worst
    outside = [one for one in document.frets if one.decision == "fail" and one.fret > 0]
    judged = [one for one in document.frets if one.decision is not None and one.fret > 0]
    context = context_of(document)
    plan = context["plan"]
    return render(
        "condition_sheet.html",
        running=running_line(document),
        **context,
        sheet_neck=None if plan is None else neck_figure(plan, document.findings, chart=False, name="neck-plain"),
        sheet_neck_upright=None if plan is None else upright_neck_figure(plan, document.findings, name="neck-plain-upright"),
        sheet_facts=[
            ("Serial", document.neck.serial),
            ("Looked at", moment(document.taken_at)),
            ("By", document.conditions.operator),
        ],
        headline=HEADLINES[document.verdict.decision],
        counted=counted(len(outside), len(judged)),
        noticeable=how_noticeable(None if worst is None or not outside else worst.deviation_cents),
        matters=[plain_words(one, strings=count) for one in document.findings[:MOST_MATTERS]],
        nothing_found=nothing_found(document),
        more=max(0, len(document.findings) - MOST_MATTERS),
        after=after_work(document),
        technical_facts=facts(document),
    )


def counted(outside: int, judged: int) -> str:
    """How many notes are out, in a sentence."""
    if judged == 0:
        return "No fretted note could be judged."
    if outside == 0:
        return f"None of the {judged} notes we listened to is surely out of tune."
    return f"{outside} of the {judged} notes we listened to {'is' if outside == 1 else 'are'} out of tune."


def nothing_found(document: InspectionDocument) -> str:
    """What is said where no part stands out."""
    if document.verdict.decision == "pass":
        return "Nothing that needs work."
    names = {"nut": "the nut", "nut_height": "the nut", "saddle": "the saddle", "fret": "single frets", "string": "a string"}
    parts = list(dict.fromkeys(names.get(move.part, move.part) for one in document.corrections for move in one.moves))
    if not parts:
        return "No single part stands out as the cause. The technical page shows every note."
    return f"No single part is badly out. Small adjustments made together ({', '.join(parts)}) bring it closer to true."


def after_work(document: InspectionDocument) -> str:
    """What the work should bring, in a sentence; empty where nothing is to be done."""
    after = document.predicted_after.worst_cents
    if after is None or not document.corrections or (document.verdict.decision == "pass" and not document.findings):
        return ""
    if abs(after) <= document.verdict.limit_cents:
        within = max(1, ceil(abs(after)))
        return (
            f"Once the work is done, every note should lie within {within} {'hundredth' if within == 1 else 'hundredths'} of a "
            "semitone of true, which few people can hear. We measure again afterwards."
        )
    return (
        f"The work makes it better, though not perfect: the worst note should then lie {abs(after):.0f} hundredths of a "
        "semitone from true. We measure again afterwards."
    )
