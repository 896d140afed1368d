"""Before and after for the customer: one page in plain language of what the work has done.

Conventions: only what is sure is told as changed, and only work that was done is spoken of. One sheet of A4.
"""

from fretcheck.diagnosis.result import Move
from fretcheck.inspection.comparison import Comparison
from fretcheck.inspection.document import InspectionDocument, JobPart
from fretcheck.plain_text import moment
from fretcheck.report.pages.condition_sheet import MOST_IN_NOTES, clipped, fields_of, sheet_heading
from fretcheck.report.pages.inspection_page import running_line
from fretcheck.report.pages.page import render
from fretcheck.report.words.condition_words import plain_words, plain_work
from fretcheck.report.words.verdict_words import sureness

MOST_MATTERS = 6
EXPECTED = {
    "came true": "That is as good as we expected of this work, or better.",
    "did not come true": "We had expected a little more of this work, and will look into it with you.",
}


def compare_sheet(comparison: Comparison, before: InspectionDocument, after: InspectionDocument) -> str:
    """The page as HTML."""
    job = JobPart(**{name: getattr(before.job, name) if value is None else value for name, value in after.job})
    last = after.model_copy(update={"job": job})
    fields = dict(fields_of(last))
    shown = [(name, fields[name]) for name in ("Customer", "Job number", "Serial number", "Strings")]
    numbers = " and ".join(one.id for one in (before, after) if one.id)
    return render(
        "compare_sheet.html",
        running=running_line(before, after),
        after=after,
        shop=job.shop,
        instrument=sheet_heading(last),
        fields=[*shown, ("Inspections", numbers or None), ("Before", moment(before.taken_at)), ("After", moment(after.taken_at))],
        headline=_headline(comparison, after),
        numbers=_numbers(comparison),
        done=_done(comparison),
        matters=_matters(comparison, strings=len(before.neck.description.get("strings", []))),
        expected=EXPECTED.get(comparison.prediction, ""),
        told_notes=clipped(job.notes, MOST_IN_NOTES),
        told_price=clipped(job.price),
    )


def _headline(comparison: Comparison, after: InspectionDocument) -> tuple[str | None, str]:
    """Kind of badge and its words; what is better is not shown as a fault."""
    decision = after.verdict.decision
    if decision == "pass":
        return decision, "Your instrument plays in tune now."
    if comparison.better:
        return "undecided", "Your instrument plays better in tune than before."
    if decision == "fail":
        return decision, "Your instrument plays in tune no better than before."
    return decision, "We cannot say for certain yet."


def _numbers(comparison: Comparison) -> str:
    count, first, now = len(comparison.notes), comparison.outside_before, comparison.outside_after
    were, are = "was" if first == 1 else "were", "is" if now == 1 else "are"
    text = f"Of the {count} notes we listened to both times {first or 'none'} {were} surely out of tune before, {now or 'none'} "
    text += f"{are} now."
    worst = comparison.worst_before_cents, comparison.worst_after_cents
    if worst[0] is None or worst[1] is None:
        return text
    then, today = (f"{abs(one):.0f}" for one in worst if one is not None)
    return f"{text} The note furthest out lay {then} hundredths of a semitone from true, and lies {today} now."


def _done(comparison: Comparison) -> list[str]:
    """The advised work that was done, as far as it was found done."""
    done = [one for one in comparison.corrections if one.outcome in ("done as advised", "partly done", "gone too far")]
    return plain_work([Move(part=one.part, string=one.string, fret=one.fret, end=one.end, move_mm=one.moved_mm) for one in done])


def _matters(comparison: Comparison, *, strings: int) -> list[str]:
    """What was found before the work, and what became of it."""
    lines = []
    for one in comparison.findings[:MOST_MATTERS]:
        if one.before is None:
            continue
        title = plain_words(one.finding, strings=strings).title
        found = f"{title} ({sureness(one.before)} sure then)"
        lines.append(f"{found}: not found any more." if one.after is None else f"{found}: still so ({sureness(one.after)} sure).")
    return lines
