"""The page of a lot: its decision with the risks, the sample, and what its necks say about their template."""

from collections.abc import Mapping, Sequence
from typing import Any

from markupsafe import Markup

from fretcheck.errors import FretcheckError
from fretcheck.inspection.document import InspectionDocument
from fretcheck.lots.acceptance.lot_decision import plan_risks_in_words
from fretcheck.lots.acceptance.lot_record import Lot
from fretcheck.lots.acceptance.risks import operating_characteristic
from fretcheck.lots.template.template_study import LotSlots, lot_slots, study_template
from fretcheck.plain_text import moment
from fretcheck.report.figures.lot_figures import acceptance_figure
from fretcheck.report.pages.page import render
from fretcheck.report.pages.template_page import template_context
from fretcheck.report.tables.lots_tables import plan_in_words

_BADGES = {"accept": ("pass", "Accepted"), "refuse": ("fail", "Refused"), "open": ("undecided", "Not decided")}


def lot_page(lot: Lot, documents: Mapping[str, InspectionDocument], *, series: Sequence[LotSlots] = ()) -> str:
    """The page as HTML; `documents` by serial, `series` the slots of every lot of the same template in their order."""
    decision = lot.decision
    badge, word = _BADGES["open" if decision is None else decision.outcome]
    shown: dict[str, Any] | None = None
    no_template = ""
    try:
        shown = template_context(study_template([lot_slots(lot.name, lot.opened_at, documents.values())]), series=series)
    except FretcheckError as refused:
        no_template = str(refused)
    return render(
        "lot.html",
        running=f"Lot {lot.name} · {moment(lot.opened_at)}",
        lot=lot,
        badge=badge,
        word=word,
        plan=plan_in_words(lot),
        risks=plan_risks_in_words(lot) if decision is None else decision.risks,
        curve=_curve(lot),
        results=documents,
        shown=shown,
        no_template=no_template,
    )


def _curve(lot: Lot) -> Markup | None:
    """Chance of accepting; None by variables, or when every neck is checked."""
    plan, size = lot.plan, len(lot.serials)
    if plan.accept is None or plan.sample >= size:
        return None
    curve = operating_characteristic(sample=plan.sample, accept=plan.accept, lot=size)
    return acceptance_figure(curve, marked=sorted({1, max(1, size // 20), max(1, size // 10), max(1, size // 4)}))
