"""Everything that kept inspections say about a template: position and tilt errors, capability, and drift over lots.

Conventions
-----------
mm, positive toward the bridge. Tolerances of a slot are ± `tolerance_mm`; 0.10 mm is common practice (no source).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fretcheck.errors import DiagnosisRefusedError, UsageError
from fretcheck.inspection.document import InspectionDocument
from fretcheck.lots.capability import Capability, capability
from fretcheck.lots.charts import Chart, all_charts
from fretcheck.lots.slot_errors import neck_of, slot_errors_of
from fretcheck.lots.template_errors import FEWEST_NECKS, SlotError, TemplateResult, template_errors

LARGEST_TOLERANCE_MM = 10.0  # no slot is that far out and still a slot
TOLERANCE_MM = 0.10


@dataclass(frozen=True, kw_only=True)
class TemplateStudy:
    """What a set of necks says about their template. `tilt` is None when too few strings were read; reasons in `remarks`."""

    position: TemplateResult
    tilt: TemplateResult | None
    tolerance_mm: float
    capability: Mapping[int, Capability] | None
    """By fret, of the necks that follow the template; None with too few of them."""
    findings: tuple[tuple[str, int], ...]
    """What the necks' own diagnoses found most often, and on how many necks."""
    remarks: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class LotResults:
    """What each lot of a template says by itself, in the order of the lots, and the lots that say nothing."""

    results: Mapping[str, TemplateResult]
    left_out: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Drift:
    """One fret's errors over lots or necks, with its charts."""

    fret: int
    labels: tuple[str, ...]
    values_mm: tuple[float, ...]
    charts: tuple[Chart, ...]
    left_out: tuple[str, ...]


def study_template(
    documents: Sequence[InspectionDocument], *, confidence: float = 0.90, tolerance_mm: float = TOLERANCE_MM
) -> TemplateStudy:
    """Analyse the newest inspection of each neck of a template.

    Raises
    ------
    DiagnosisRefusedError
        With fewer than three necks that can be used.
    """
    if not 0 < tolerance_mm <= LARGEST_TOLERANCE_MM:
        raise UsageError(f"tolerance_mm = {tolerance_mm:g} must be above 0 and at most {LARGEST_TOLERANCE_MM:g}")
    slots, unusable = _slots(documents)
    position = template_errors(slots, confidence=confidence)
    remarks = list(unusable)
    try:
        tilts = [slot for document in documents for slot in slot_errors_of(document, quantity="tilt")]
        tilt = template_errors(tilts, quantity="tilt", confidence=confidence)
    except DiagnosisRefusedError as refused:
        tilt = None
        remarks.append(f"no tilt: {refused}")
    departing = {departure.neck for departure in position.departures}
    try:
        typical = sorted(slot.u_mm for slot in slots)[len(slots) // 2]
        capable = _capability([slot for slot in slots if slot.neck not in departing], position, tolerance_mm, confidence)
        remarks.append(f"Cp and Cpk count the measuring's own scatter, here about {typical:.3f} mm, against the slots")
    except DiagnosisRefusedError as refused:
        capable = None
        remarks.append(f"no capability: {refused}")
    return TemplateStudy(
        position=position,
        tilt=tilt,
        tolerance_mm=tolerance_mm,
        capability=capable,
        findings=_common_findings(documents),
        remarks=tuple(remarks),
    )


def results_of_lots(lots: Mapping[str, Sequence[InspectionDocument]]) -> LotResults:
    """The template's errors as each lot by itself shows them; lots with too few necks are left out and named."""
    results, left_out = {}, []
    for name, documents in lots.items():
        try:
            results[name] = template_errors(_slots(documents)[0])
        except DiagnosisRefusedError:
            left_out.append(f"lot {name}: fewer than {FEWEST_NECKS} necks")
    return LotResults(results=results, left_out=tuple(left_out))


def drift_over_lots(lots: LotResults, *, fret: int, baseline: int | None = None) -> Drift:
    """The template's error at one fret, lot after lot."""
    found = {name: f.error_mm for name, result in lots.results.items() for f in result.frets if f.fret == fret}
    not_read = [f"lot {name}: fret {fret} not read" for name in lots.results if name not in found]
    return _drift(fret, list(found), list(found.values()), [*lots.left_out, *not_read], baseline)


def drift_over_necks(documents: Sequence[InspectionDocument], *, fret: int, baseline: int | None = None) -> Drift:
    """The error of one slot, neck after neck in the order given; the template's trend over all frets is taken out."""
    slots, unusable = _slots(documents)
    trend = template_errors(slots)
    shared = {f.fret: 0.0 if trend.trend_mm is None else trend.trend_mm[i] for i, f in enumerate(trend.frets)}
    found = [(slot.neck, slot.error_mm - shared[fret]) for slot in slots if slot.fret == fret]
    if not found:
        raise UsageError(f"fret {fret} was read on none of these necks")
    return _drift(fret, [neck for neck, _ in found], [value for _, value in found], list(unusable), baseline)


def _drift(fret: int, labels: list[str], values: list[float], left_out: list[str], baseline: int | None) -> Drift:
    return Drift(
        fret=fret,
        labels=tuple(labels),
        values_mm=tuple(values),
        charts=all_charts(values, baseline=baseline),
        left_out=tuple(left_out),
    )


def _slots(documents: Sequence[InspectionDocument]) -> tuple[list[SlotError], list[str]]:
    """Slot errors of all necks that have any, and a line for each that has none."""
    slots, unusable = [], []
    for document in documents:
        try:
            slots += slot_errors_of(document)
        except DiagnosisRefusedError as refused:
            unusable.append(f"neck {neck_of(document)} left out: {refused}")
    return slots, unusable


def _capability(
    slots: Sequence[SlotError], position: TemplateResult, tolerance_mm: float, confidence: float
) -> dict[int, Capability]:
    shared = {f.fret: 0.0 if position.trend_mm is None else position.trend_mm[i] for i, f in enumerate(position.frets)}
    answer = {}
    for fret in shared:
        values = [slot.error_mm - shared[fret] for slot in slots if slot.fret == fret]
        answer[fret] = capability(values, lower=-tolerance_mm, upper=tolerance_mm, confidence=confidence)
    return answer


def _common_findings(documents: Sequence[InspectionDocument]) -> tuple[tuple[str, int], ...]:
    """Causes found on at least two necks, most frequent first."""
    counts: dict[str, int] = {}
    for document in documents:
        for label in {_label(f.cause, f.fret, f.string) for f in document.findings}:
            counts[label] = counts.get(label, 0) + 1
    return tuple(sorted(((label, n) for label, n in counts.items() if n > 1), key=lambda item: (-item[1], item[0])))


def _label(cause: str, fret: int | None, string: int | None) -> str:
    place = f" at fret {fret}" if fret is not None else f" on string {string}" if string is not None else ""
    return cause.replace("_", " ") + place
