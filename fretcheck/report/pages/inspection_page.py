"""The page of one inspection: verdict, neck, notes, findings and corrections; then curves, readings and how it was measured.

Conventions: the page is made from the document alone, so that one kept years ago gives the same page. What the document does
not tell is said to be unknown or left out, never made up.
"""

from typing import Any

from fretcheck.diagnosis.conclude.words import listed_notes
from fretcheck.diagnosis.result import Finding
from fretcheck.inspection.budget import NoteBudget, note_budget
from fretcheck.inspection.document import InspectionDocument
from fretcheck.plain_text import moment, plain_line
from fretcheck.report.figures.neck_figure import description, neck_figure, upright_neck_figure
from fretcheck.report.figures.neck_plan import plan_of
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


def inspection_page(document: InspectionDocument) -> str:
    return render("inspection.html", running=running_line(document), **context_of(document))


def context_of(document: InspectionDocument) -> dict[str, Any]:
    """All that the templates of an inspection show."""
    plan = plan_of(document)
    return {
        "document": document,
        "words": words,
        "plan": plan,
        "neck": None if plan is None else neck_figure(plan, document.findings),
        "neck_upright": None if plan is None else upright_neck_figure(plan, document.findings),
        "neck_words": None if plan is None else description(plan),
        "cells": cells_on_page(document),
        "findings": [(label(one), _direction(one), where_heard(one), one) for one in document.findings],
        "layout": [one for one in document.layout if one.probability >= LEAST_LAYOUT],
        "strings": _strings(document),
        "heights": None if plan is None else said_of_heights(plan.neck),
        "plan_word": PLAN_WORDS.get(document.conditions.plan, document.conditions.plan),
        "budget": _worst_budget(document),
        "missing": listed_notes(document.missing),
    }


def running_line(*documents: InspectionDocument) -> str:
    """What stands at the foot of every printed sheet: serial or name, when it was inspected, and the inspection's number."""
    neck, ids = documents[0].neck, [one.id for one in documents if one.id]
    when = " and ".join(dict.fromkeys(one for document in documents if (one := moment(document.taken_at))))
    number = ids and f"inspection{'s' if len(ids) > 1 else ''} {' and '.join(ids)}"
    return " · ".join(plain_line(one)[:60] for one in (neck.serial or neck.name, when, number) if one)


def _worst_budget(document: InspectionDocument) -> tuple[NoteBudget, float | None] | None:
    """Budget of the note the verdict turns on, and what a cent is worth there in mm (None where the scale is unknown)."""
    worst = document.verdict.worst
    budget = None if worst is None else note_budget(document, string=worst.string, fret=worst.fret)
    if worst is None or budget is None:
        return None
    there = [one.length_expected_mm for one in document.readings if (one.string, one.fret) == (worst.string, worst.fret)]
    length = there[0] if there else None
    return budget, None if length is None else length * (1.0 - 2.0 ** (-1.0 / 1200.0))


def open_note(document: InspectionDocument, string: int) -> str:
    """Open note of a string as the description gives it; empty where it does not, or gives something else."""
    strings = document.neck.description.get("strings")
    try:
        note = strings[string - 1]["note"] if isinstance(strings, list) else ""
    except (IndexError, KeyError, TypeError):
        return ""
    return note if isinstance(note, str) and len(note) <= 5 and note.isascii() and note.isprintable() else ""


def _strings(document: InspectionDocument) -> list[dict[str, Any]]:
    """Of each string its open note, curves and readings, these in tables of at most `MOST_ROWS` rows."""
    limit, how = document.verdict.limit_cents, document.conditions
    heard = [one for one in document.frets if one.fret > 0 and one.plucks and one.deviation_cents is not None]
    reach = 1.12 * max([2.0 * limit, *(abs(one.deviation_cents) for one in heard if one.deviation_cents is not None)])
    frets = max([12, *(one.fret for one in document.frets)])
    strings = []
    for number in sorted({one.string for one in document.frets} | {one.string for one in document.readings}):
        own, note = [one for one in document.readings if one.string == number], open_note(document, number)
        curve = [one for one in heard if one.string == number]
        strings.append({
            "number": number,
            "note": note,
            "curves": string_figure(curve, string=number, note=note, frets=frets, limit_cents=limit, reach_cents=reach)
            if curve else None,
            "readings": _in_tables(own),
            "hand_scatter_cents": how.hand_scatter_cents.get(number),
            "drift_cents": how.drift_cents.get(number),
            "open_plucks": sum(one.fret == 0 and one.used for one in own),
        })  # fmt: skip
    return strings


def _in_tables(readings: list[ReadingPart]) -> list[list[ReadingPart]]:
    rows = sum(1 + bool(one.flags or not one.used) for one in readings)
    length = -(-len(readings) // max(1, -(-rows // MOST_ROWS)))
    return [readings[start : start + length] for start in range(0, len(readings), max(length, 1))]


def _direction(finding: Finding) -> str:
    """The way in signs, beside the words."""
    up, down = ("↑", "↓") if finding.cause == "nut_height" else ("→ bridge", "← nut")
    if finding.value_mm is None or finding.cause not in ("nut_height", "fret_position", "nut_position", "saddle_position"):
        return ""
    return up if finding.value_mm > 0 else down
