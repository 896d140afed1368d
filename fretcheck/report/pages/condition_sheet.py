"""The condition sheet for a customer: one page in plain language, on request with the technical pages behind it.

Conventions: one sheet of A4 whatever was found: the matters that weigh most, at most `MOST_MATTERS`; the rest is named as "see
the technical page". A fault is told as one only from `SURE` on, everything else is "to be checked". The promise is the
probability that the diagnosis gives for the work named on the sheet, of that work and no more. What was not told is a line to
write on.
"""

from typing import Any

from fretcheck.diagnosis.conclude.words import listed_numbers
from fretcheck.diagnosis.result import Finding
from fretcheck.inspection.document import InspectionDocument
from fretcheck.plain_text import moment, plain_line
from fretcheck.report.figures.neck_figure import neck_figure, upright_neck_figure
from fretcheck.report.figures.neck_plan import plan_of
from fretcheck.report.pages.inspection_page import context_of, running_line
from fretcheck.report.pages.page import render
from fretcheck.report.words.condition_words import how_noticeable, plain_rival, plain_words, plain_work
from fretcheck.report.words.verdict_words import sureness, works

SURE = 0.9
MOST_MATTERS = 4
MOST_LETTERS, MOST_IN_A_HEADING, MOST_IN_NOTES = 40, 60, 240
MOST_LINES = 8  # Of matters and work together; with more the drawing is left out of the printed sheet, so that it stays one
SAME_MM = 0.1  # A move differs from what a part is out by more than a bench sets it to, twice
HARDLY_HEARD_CENTS = 5.0  # Few people hear less in a melody (`condition_words`: half of what is just heard)
PARTS = {
    "fret_position": "fret", "fret_tilt": "fret", "fret_wear": "fret", "nut_position": "nut", "nut_height": "nut_height",
    "saddle_position": "saddle", "saddle_slant": "saddle",
}  # fmt: skip
HEADLINES: dict[str | None, str] = {
    "pass": "Your instrument plays in tune.",
    "fail": "Your instrument does not play in tune everywhere.",
    "undecided": "We cannot yet say for certain whether your instrument plays in tune everywhere.",
    None: "We have heard too little to judge your instrument.",
}


def condition_sheet(document: InspectionDocument, *, technical: bool = False) -> str:
    """The page as HTML; `technical` puts the technical pages behind it."""
    strings = document.neck.description.get("strings")
    count = len(strings) if isinstance(strings, list) else max((one.string for one in document.frets), default=6)
    worst = document.verdict.worst
    judged = [one.decision for one in document.frets if one.decision is not None and one.fret > 0 and one.plucks]
    outside = judged.count("fail")
    sure = [one for one in document.findings if is_sure(one)]
    shown = sure[:MOST_MATTERS]
    plan = plan_of(document.model_copy(update={"findings": shown}))  # nothing else is drawn as a fault either
    job, work = document.job, plain_work([move for step in works(document) for move in step.moves])
    return render(
        "condition_sheet.html",
        running=running_line(document),
        **context_of(document),
        technical=technical,
        shop=job.shop,
        instrument=sheet_heading(document),
        fields=fields_of(document),
        sheet_neck=None if plan is None else neck_figure(plan, shown, chart=False, name="neck-plain"),
        sheet_neck_upright=None if plan is None else upright_neck_figure(plan, shown, name="neck-plain-upright"),
        headline=HEADLINES[document.verdict.decision],
        counted=counted(document, outside, len(judged)),
        noticeable=how_noticeable(None if worst is None or not outside else worst.deviation_cents),
        crowded=len(shown) + len(document.findings) - len(sure) + len(work) > MOST_LINES,
        matters=[(one.probability, plain_words(one, strings=count), may_stay(one, document)) for one in shown],
        more=max(0, len(sure) - MOST_MATTERS),
        doubtful=[to_be_checked(one, strings=count) for one in document.findings if not is_sure(one)],
        work=work,
        otherwise=moved_otherwise(shown, document),
        promise=promise(document),
        told_notes=clipped(job.notes, MOST_IN_NOTES),
        told_price=clipped(job.price),
    )


def is_sure(finding: Finding) -> bool:
    """Whether a finding is told as a fault: sure by itself, and without a rival that is not negligible."""
    return finding.probability >= SURE and sum(one.share for one in finding.rivals) <= 1.0 - SURE


def may_stay(finding: Finding, document: InspectionDocument) -> bool:
    """Whether the work named leaves this part alone since nothing needs it put right."""
    said = any(line.startswith("May stay") and finding.text in line for line in document.advice)
    return finding.cause in PARTS and (said or document.verdict.decision == "pass")


def moved_otherwise(findings: list[Finding], document: InspectionDocument) -> bool:
    """Whether a part is to be moved by another amount than it is out, as far as a bench can tell the two apart."""
    moves = [move for step in document.corrections for move in step.moves]
    return any(
        abs(abs(move.move_mm) - abs(one.value_mm)) > SAME_MM
        for one in findings
        for move in moves
        if one.value_mm is not None and move.move_mm is not None and move.part == PARTS.get(one.cause)
        if (move.string, move.fret) == (one.string, one.fret)
    )


def fields_of(document: InspectionDocument) -> list[tuple[str, str | None]]:
    """The fields at the head of the sheet; None where nothing is known."""
    how, job, data = document.conditions, document.job, document.neck.description
    return [
        ("Customer", clipped(job.customer)),
        ("Job number", clipped(job.job)),
        ("Inspection", clipped(document.id)),
        ("Serial number", clipped(document.neck.serial)),
        ("Looked at", moment(document.taken_at) if document.taken_at else None),
        ("By", clipped(how.operator)),
        ("Strings", clipped(job.string_set) or _strings(data)),
        ("Action at fret 12", _height(data, "action_12_mm", "action_12")),
        ("Relief", _height(data, "relief_mm", "relief")),
        ("Humidity", None if how.humidity_pct is None else f"{how.humidity_pct:g} %"),
    ]


def counted(document: InspectionDocument, outside: int, judged: int) -> str:
    """How many notes are out and what was not listened to, in a sentence or two."""
    if judged == 0:
        return "No fretted note could be judged."
    text = f"{outside} of the {judged} notes we listened to {'is' if outside == 1 else 'are'} out of tune."
    if outside == 0:
        text = f"None of the {judged} notes we listened to is surely out of tune."
    unheard = document.coverage.frets_not_listened_to if document.coverage is not None else []
    if not unheard:
        return text
    return f"{text} We did not listen to {'fret' if len(unheard) == 1 else 'frets'} {listed_numbers(unheard)}."


def to_be_checked(finding: Finding, *, strings: int) -> str:
    """A finding that is not sure enough to be told as a fault, in a line."""
    text = f"{plain_words(finding, strings=strings).title} ({sureness(finding.probability)} sure)"
    rivals = [f"{plain_rival(one.cause, fret=one.fret, string=one.string)} ({sureness(one.share)})" for one in finding.rivals]
    return text + (f"; it may as well be {' or '.join(rivals)}." if rivals else ".")


def promise(document: InspectionDocument) -> str:
    """What the work named on the sheet should bring, and how sure that is; or what comes instead of work."""
    done, verdict = works(document), document.verdict
    measured = any(one.kind == "measure" and not one.notes for one in document.corrections)
    then = " Then we measure before anything more is filed or cut." if measured else ""
    if not done:
        if measured:
            return "We would measure first, before anything is filed or cut; what is to be done follows from that."
        if verdict.decision == "pass":
            sure = "" if verdict.probability_within is None else f" We are {sureness(verdict.probability_within)} sure of that."
            return f"Nothing needs to be done.{sure}"
        if verdict.decision == "undecided":
            return "No work yet: some notes are too close to call, and we would listen to them again first."
        return "There is no repair that we can promise to help. We will talk with you about what is possible."
    after = done[-1].predicted
    if after.worst_cents is None or after.probability_within is None:
        return f"We measure again after this work.{then}"
    limit = verdict.limit_cents
    if after.probability_within < 0.5:
        return (
            f"This work makes it better, though not perfect: the worst note should then lie about {abs(after.worst_cents):.0f} "
            f"hundredths of a semitone from true. We measure again afterwards.{then}"
        )
    heard = ", which few people can hear" if limit <= HARDLY_HEARD_CENTS else ""
    return (
        f"After this work every note should lie within {limit:g} hundredths of a semitone of true{heard}. We are "
        f"{sureness(after.probability_within)} sure of that, and measure again afterwards.{then}"
    )


def sheet_heading(document: InspectionDocument) -> str:
    """What the sheet is of: the instrument as told, else the neck's name."""
    return clipped(document.job.instrument or document.neck.name, MOST_IN_A_HEADING) or ""


def clipped(text: str | None, most: int = MOST_LETTERS) -> str | None:
    """A text of a user's, cut to what a sheet has room for."""
    line = None if text is None else plain_line(text)
    return line if line is None or len(line) <= most else f"{line[: most - 1]}…"


def _strings(data: dict[str, Any]) -> str | None:
    strings = data.get("strings")
    notes = [one.get("note") for one in strings if isinstance(one, dict)] if isinstance(strings, list) else []
    return clipped(f"{len(notes)}, {notes[-1]} to {notes[0]}") if notes else None


def _height(data: dict[str, Any], described: str, measured: str) -> str | None:
    """A height as measured last, else as described; with both sides or strings where they differ."""
    rows = data.get("measured")
    found = {
        one.get("string"): one["mm"]
        for one in (rows if isinstance(rows, list) else [])
        if isinstance(one, dict) and one.get("what") == measured and isinstance(one.get("mm"), int | float)
    }
    if found:
        parts = [f"{mm:g} mm" + ("" if string is None else f" (string {string})") for string, mm in found.items()]
        return clipped(", ".join([parts[0], parts[-1]] if len(parts) > 1 else parts))
    value = data.get(described)
    if isinstance(value, dict):
        sides = [f"{value[side]:g} mm {side}" for side in ("treble", "bass") if isinstance(value.get(side), int | float)]
        return ", ".join(sides) or None
    return f"{value:g} mm" if isinstance(value, int | float) else None
