"""The page of a template: what to correct, errors fret by fret, necks that depart, capability, drift over lots."""

from collections.abc import Sequence
from typing import Any

from fretcheck.errors import FretcheckError
from fretcheck.lots.template.template_study import Drift, LotSlots, TemplateStudy, drift_over_lots
from fretcheck.report.figures.lot_figures import chart_figure, template_figure
from fretcheck.report.pages.page import render
from fretcheck.report.tables.lots_tables import drift_in_words, scatter_in_words, what_to_correct

MOST_DRIFTS = 3


def template_page(name: str, study: TemplateStudy, *, lots: Sequence[str], series: Sequence[LotSlots] = ()) -> str:
    """The page as HTML; `lots` are those the study rests on, `series` the slots of every lot, for the drift charts."""
    shown = template_context(study, series=series)
    return render("template.html", running=f"Template {name} · {len(lots)} lots", name=name, lots=lots, shown=shown)


def template_context(study: TemplateStudy, *, series: Sequence[LotSlots]) -> dict[str, Any]:
    """What the template part of a page shows: with drift charts of the frets furthest out, or the reason why there are none."""
    chosen = sorted(study.position.frets, key=lambda fret: -abs(fret.error_mm))[:MOST_DRIFTS]
    drifts: list[dict[str, Any]] = []
    no_drift = ""
    try:
        drifts = [_drift_context(drift_over_lots(series, fret=fret)) for fret in sorted(one.fret for one in chosen)]
    except FretcheckError as refused:
        no_drift = str(refused)
    return {
        "study": study,
        "badge": "fail" if study.out else "pass",
        "word": "Correct the template" if study.out else "Nothing to correct",
        "lines": what_to_correct(study),
        "position": template_figure(study.position, tolerance_mm=study.tolerance_mm),
        "tilt": None if study.tilt is None else template_figure(study.tilt, tolerance_mm=study.tolerance_mm),
        "confidence": f"{100 * study.position.confidence:.0f} %",
        "remarks": scatter_in_words(study),
        "drifts": drifts,
        "no_drift": no_drift,
    }


def _drift_context(drift: Drift) -> dict[str, Any]:
    names = [f"fret-{drift.fret}-{chart.kind.lower().replace(' ', '-')}" for chart in drift.charts]
    named = zip(drift.charts, names, strict=True)
    return {
        "drift": drift,
        "charts": [chart_figure(chart, name=name, labels=drift.labels, since=drift.since) for chart, name in named],
        "lines": drift_in_words(drift),
    }
