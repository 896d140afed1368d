"""The page of one inspection: verdict, neck, notes, findings and corrections; then curves, readings and how it was measured.

Conventions: the page is made from the document alone, so that one kept years ago gives the same page. What the document does
not tell is said to be unknown or left out, never made up.
"""

from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from fretcheck.diagnosis.conclude.words import listed_notes
from fretcheck.diagnosis.result import Finding
from fretcheck.inspection.budget import NoteBudget, note_budget
from fretcheck.inspection.document import FretPart, InspectionDocument
from fretcheck.plain_text import moment, plain_line, signed
from fretcheck.report.figures.neck_figure import description, neck_figure, upright_neck_figure
from fretcheck.report.figures.neck_plan import NeckPlan, plan_of
from fretcheck.report.figures.string_figure import string_figure
from fretcheck.report.pages.cells_on_page import cells_on_page
from fretcheck.report.pages.page import render
from fretcheck.report.tables.neck_summary import said_of_heights
from fretcheck.report.words import verdict_words as words
from fretcheck.report.words.finding_words import label, where_heard
from fretcheck.session.placed_reading import ReadingPart

PLAN_WORDS = {
    "full": "every fret",
    "intake": "intake, chosen frets",
    "spot": "spot check",
    "press": "press test",
    "own": "own choice",
    "more": "notes too close to call, plucked again",
    "deciding": "only what decides",
}
MOST_ROWS = 60  # Of a table of readings: 190 mm at the size in which they are printed, so that none is cut between sheets
LEAST_LAYOUT = 0.01  # Ways of laying out the frets less probable than this are not listed


@dataclass(frozen=True, kw_only=True)
class StringOnPage:
    """One string: its curves, its readings and how they were got."""

    number: int
    note: str
    curves: Markup | None
    readings: list[list[ReadingPart]]  # In tables of at most `MOST_ROWS` rows, each about as long as the others
    hand_scatter_cents: float | None
    drift_cents: float | None
    open_plucks: int


def inspection_page(document: InspectionDocument) -> str:
    return render("inspection.html", running=running_line(document), **context_of(document))


def context_of(document: InspectionDocument) -> dict[str, Any]:
    """All that the templates of an inspection show."""
    plan = plan_of(document)
    notes_of: dict[int, list[FretPart]] = defaultdict(list)
    for one in document.frets:
        notes_of[one.string].append(one)
    return {
        "document": document,
        "facts": facts(document),
        "decision_word": words.headline(document),
        "sentence": words.reason_of(document),
        "in_short": words.in_short(document),
        "heard": words.heard_words(document),
        "not_listened": " ".join(one for one in (words.looked_for(document), words.not_listened_to(document)) if one),
        "first": words.first_step(document),
        "worst": words.worst_sentence(document),
        "predicted": words.predicted_sentence(document),
        "plan": plan,
        "neck": None if plan is None else neck_figure(plan, document.findings),
        "neck_upright": None if plan is None else upright_neck_figure(plan, document.findings),
        "neck_words": None if plan is None else description(plan),
        "cells": cells_on_page(document),
        "findings": [(label(one), _direction(one), where_heard(one), one) for one in document.findings],
        "rivals": any(one.rivals for one in document.findings),
        "layout": [one for one in document.layout if one.probability >= LEAST_LAYOUT],
        "strings": _strings(document, notes_of),
        "measured_by_hand": [plain_line(line) for line in document.rests_on],
        "heights": None if plan is None else said_of_heights(plan.neck),
        "plan_word": PLAN_WORDS.get(document.conditions.plan, document.conditions.plan),
        "budget": worst_budget(document, plan),
        "signed": signed,
        "own_missing": listed_notes(document.missing),
        "step_words": words.step_words,
        "set_aside": words.set_aside_by_reason(document),
    }


def running_line(*documents: InspectionDocument) -> str:
    """What stands at the foot of every printed sheet: serial or name, when it was inspected, and the inspection's number."""
    neck, ids = documents[0].neck, [one.id for one in documents if one.id]
    when = " and ".join(dict.fromkeys(one for document in documents if (one := moment(document.taken_at))))
    number = ids and f"inspection{'s' if len(ids) > 1 else ''} {' and '.join(ids)}"
    return " · ".join(plain_line(one)[:60] for one in (neck.serial or neck.name, when, number) if one)


def facts(document: InspectionDocument) -> list[tuple[str, str | None]]:
    """What stands in the title block."""
    how = document.conditions
    return [
        ("Serial", document.neck.serial),
        ("Inspected", moment(document.taken_at)),
        ("By", how.operator),
        ("Inspection", document.id or "not kept"),
        ("Plan", PLAN_WORDS.get(how.plan, how.plan)),
        ("Tolerance", f"±{document.verdict.limit_cents:g} cents a note"),
    ]


def worst_budget(document: InspectionDocument, plan: NeckPlan | None) -> tuple[NoteBudget, float | None] | None:
    """Budget of the note the verdict turns on, and what a cent is worth there in mm (None where the scale is unknown)."""
    worst = document.verdict.worst
    if worst is None:
        return None
    budget = note_budget(document, string=worst.string, fret=worst.fret)
    if budget is None:
        return None
    length = next(
        (one.length_expected_mm for one in document.readings if (one.string, one.fret) == (worst.string, worst.fret)), None
    )
    return budget, None if length is None else length * (1.0 - 2.0 ** (-1.0 / 1200.0))


def open_note(document: InspectionDocument, string: int) -> str:
    """Open note of a string as the description gives it; empty where it does not, or gives something else."""
    strings = document.neck.description.get("strings")
    try:
        note = strings[string - 1]["note"] if isinstance(strings, list) else ""
    except (IndexError, KeyError, TypeError):
        return ""
    return note if isinstance(note, str) and len(note) <= 5 and note.isascii() and note.isprintable() else ""


def _strings(document: InspectionDocument, notes_of: dict[int, list[FretPart]]) -> list[StringOnPage]:
    limit = document.verdict.limit_cents
    heard = [
        abs(one.deviation_cents) for one in document.frets if one.fret > 0 and one.plucks and one.deviation_cents is not None
    ]
    reach = 1.12 * max([2.0 * limit, *heard])
    frets = max([12, *(one.fret for one in document.frets)])
    answer = []
    for number in sorted({*notes_of, *(one.string for one in document.readings)}):
        own = [one for one in document.readings if one.string == number]
        note = open_note(document, number)
        has_curve = any(one.fret > 0 and one.plucks and one.deviation_cents is not None for one in notes_of[number])
        answer.append(
            StringOnPage(
                number=number,
                note=note,
                curves=string_figure(
                    notes_of[number], string=number, note=note, frets=frets, limit_cents=limit, reach_cents=reach
                )
                if has_curve
                else None,
                readings=_in_tables(own),
                hand_scatter_cents=document.conditions.hand_scatter_cents.get(number),
                drift_cents=document.conditions.drift_cents.get(number),
                open_plucks=sum(one.fret == 0 and one.used for one in own),
            )
        )
    return answer


def _in_tables(readings: list[ReadingPart]) -> list[list[ReadingPart]]:
    rows = sum(1 + bool(one.flags or not one.used) for one in readings)
    length = -(-len(readings) // max(1, -(-rows // MOST_ROWS)))
    return [readings[start : start + length] for start in range(0, len(readings), max(length, 1))]


def _direction(finding: Finding) -> str:
    """The way in signs, beside the words."""
    value = finding.value_mm
    if value is None:
        return ""
    if finding.cause == "nut_height":
        return "↑" if value > 0 else "↓"
    if finding.cause in ("fret_position", "nut_position", "saddle_position"):
        return "→ bridge" if value > 0 else "← nut"
    return ""
