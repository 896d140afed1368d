"""The page of a template: what to correct, errors fret by fret, necks that depart, capability, drift over lots."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from fretcheck.errors import FretcheckError
from fretcheck.lots.template.template_study import Drift, drift_over_lots
from fretcheck.plain_text import signed
from fretcheck.report.figures.lot_figures import chart_figure, template_figure
from fretcheck.report.pages.page import render
from fretcheck.report.tables.lots_tables import drift_in_words, scatter_in_words, what_to_correct

if TYPE_CHECKING:
    from fretcheck.lots.template.template_study import LotSlots, TemplateStudy

MOST_DRIFTS = 3


def template_page(name: str, study: TemplateStudy, *, lots: Sequence[str], series: Sequence[LotSlots] = ()) -> str:
    """The page as HTML; `lots` are those the study rests on, `series` the slots of every lot, for the drift charts."""
    position = study.position
    return render(
        "template.html",
        running=f"Template {name} · {len(lots)} lots",
        name=name,
        facts=[
            ("Necks", position.necks),
            ("Of which used", position.necks_used),
            ("Lots", ", ".join(lots)),
            ("Intervals hold", f"{100 * position.confidence:.0f} %"),
            ("Tolerance of a slot", f"±{study.tolerance_mm:g} mm"),
            ("Necks that depart", len(position.departures)),
        ],
        shown=template_context(study, series=series),
    )


def template_context(study: TemplateStudy, *, series: Sequence[LotSlots]) -> dict[str, Any]:
    """What the template part of a page shows."""
    position = study.position
    drifts, no_drift = _drifts(study, series)
    return {
        "badge": "fail" if study.out else "pass",
        "word": "Correct the template" if study.out else "Nothing to correct",
        "lines": what_to_correct(study),
        "position": template_figure(position, tolerance_mm=study.tolerance_mm),
        "tilt": None if study.tilt is None else template_figure(study.tilt, tolerance_mm=study.tolerance_mm),
        "frets": [
            (
                fret,
                signed(fret.error_mm, 2),
                f"{signed(fret.interval[0], 2)} to {signed(fret.interval[1], 2)}",
                None if study.capability is None else study.capability[fret.fret],
            )
            for fret in position.frets
        ],
        "capable": study.capability is not None,
        "confidence": f"{100 * position.confidence:.0f} %",
        "departures": position.departures,
        "remarks": scatter_in_words(study),
        "drifts": drifts,
        "no_drift": no_drift,
    }


def _drifts(study: TemplateStudy, series: Sequence[LotSlots]) -> tuple[list[dict[str, Any]], str]:
    """Drift charts of the frets furthest out; none, with the reason, when there are too few lots."""
    chosen = sorted(study.position.frets, key=lambda fret: -abs(fret.error_mm))[:MOST_DRIFTS]
    frets = sorted(fret.fret for fret in chosen)
    try:
        return [_drift_context(drift_over_lots(series, fret=fret)) for fret in frets], ""
    except FretcheckError as refused:
        return [], str(refused)


def _drift_context(drift: Drift) -> dict[str, Any]:
    return {
        "fret": drift.fret,
        "points": [(label, signed(value, 3)) for label, value in zip(drift.labels, drift.values_mm, strict=True)],
        "charts": [
            chart_figure(
                chart, name=f"fret-{drift.fret}-{chart.kind.lower().replace(' ', '-')}", labels=drift.labels, since=drift.since
            )
            for chart in drift.charts
        ],
        "lines": drift_in_words(drift),
    }
