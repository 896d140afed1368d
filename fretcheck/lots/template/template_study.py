"""Everything that kept inspections say about a template: errors of position and tilt, capability, and drift over lots.

Conventions: mm, positive toward the bridge. Tolerances of a slot are ± `tolerance_mm`; 0.10 mm is common practice (no source).
Once the template has been corrected (`CorrectionPart`), what was cut before counts no more: of one fret, or of all.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial

import numpy as np

from fretcheck.errors import DiagnosisRefusedError, UsageError
from fretcheck.inspection.document import InspectionDocument
from fretcheck.lots.acceptance.lot_record import CorrectionPart
from fretcheck.lots.charts.capability import Capability, capability
from fretcheck.lots.charts.charts import Chart, all_charts
from fretcheck.lots.template.slot_errors import NeckSlots, neck_of, slots_of
from fretcheck.lots.template.template_errors import FEWEST_NECKS, TemplateResult, template_errors

LARGEST_TOLERANCE_MM = 10.0  # no slot is that far out and still a slot
TOLERANCE_MM = 0.10


@dataclass(frozen=True, kw_only=True)
class LotSlots:
    """The slots of a lot's necks."""

    name: str
    opened_at: str
    necks: tuple[NeckSlots, ...]
    left_out: tuple[str, ...] = ()  # A line for each neck that cannot be used, and for each correction since
    corrected: tuple[CorrectionPart, ...] = ()  # Since its necks were cut


@dataclass(frozen=True, kw_only=True)
class TemplateStudy:
    """What a set of necks says about their template. `tilt` is None when too few strings were read; reasons in `remarks`."""

    position: TemplateResult
    tilt: TemplateResult | None
    tolerance_mm: float
    capability: Mapping[int, Capability] | None  # By fret, of the necks that follow the template; None with too few of them
    findings: tuple[tuple[str, int], ...]  # What the necks' own diagnoses found most often, and on how many necks
    remarks: tuple[str, ...]

    @property
    def out(self) -> bool:
        """Whether the template is to be corrected."""
        frets = [fret for result in (self.position, self.tilt) if result for fret in result.frets]
        return any(fret.blamed for fret in frets) or (self.position.whole is not None and self.position.whole.blamed)


@dataclass(frozen=True, kw_only=True)
class Drift:
    """One fret's errors over lots or necks, with its charts."""

    fret: int
    labels: tuple[str, ...]
    values_mm: tuple[float, ...]
    charts: tuple[Chart, ...]
    left_out: tuple[str, ...]
    since: str | None = None  # Day of the last correction, from which the charts start anew


def lot_slots(name: str, opened_at: str, documents: Iterable[InspectionDocument]) -> LotSlots:
    """The slots of a lot's necks, one document in memory at a time."""
    necks, unusable = [], []
    for document in documents:
        try:
            necks.append(slots_of(document))
        except DiagnosisRefusedError as refused:
            unusable.append(f"neck {neck_of(document)} left out: {refused}")
    return LotSlots(name=name, opened_at=opened_at, necks=tuple(necks), left_out=tuple(unusable))


def since_corrections(lots: Sequence[LotSlots], corrections: Iterable[CorrectionPart]) -> list[LotSlots]:
    """The lots with what was cut before a correction left out, and a line that says so."""
    found = list(lots)
    for one in corrections:
        since = datetime.fromisoformat(one.since)
        what = "the template was" if one.fret is None else f"fret {one.fret} was"
        for place, lot in enumerate(found):
            if datetime.fromisoformat(lot.opened_at) < since:
                necks = () if one.fret is None else tuple(_without(neck, one.fret) for neck in lot.necks)
                line = f"lot {lot.name} left out: {what} corrected on {since:%Y-%m-%d}, all starts anew from there"
                found[place] = replace(lot, necks=necks, left_out=(*lot.left_out, line), corrected=(*lot.corrected, one))
    return found


def _without(neck: NeckSlots, fret: int) -> NeckSlots:
    nan = np.where(np.array(neck.frets) == fret, np.nan, 0.0)
    return replace(neck, position_mm=neck.position_mm + nan, tilt_mm=neck.tilt_mm + nan)


def study_template(lots: Sequence[LotSlots], *, confidence: float = 0.90, tolerance_mm: float = TOLERANCE_MM) -> TemplateStudy:
    """Analyse the necks of a template. Raises DiagnosisRefusedError with fewer than three necks that can be used."""
    if not 0 < tolerance_mm <= LARGEST_TOLERANCE_MM:
        raise UsageError(f"tolerance_mm = {tolerance_mm:g} must be above 0 and at most {LARGEST_TOLERANCE_MM:g}")
    necks = [neck for lot in lots for neck in lot.necks]
    position = template_errors(necks, confidence=confidence, tolerance_mm=tolerance_mm)
    remarks = [line for lot in lots for line in lot.left_out]
    tilt, capable = None, None
    try:
        tilt = template_errors(necks, quantity="tilt", confidence=confidence, tolerance_mm=tolerance_mm)
    except DiagnosisRefusedError as refused:
        remarks.append(f"no tilt: {refused}")
    of_slots = partial(
        capability, scatter=position.slot_scatter_mm, freedom=position.slot_freedom, values=position.necks_used,
        lower=-tolerance_mm, upper=tolerance_mm, confidence=confidence,
    )  # fmt: skip
    try:
        capable = {fret.fret: of_slots(mean=fret.error_mm, u_mean=fret.u_mm) for fret in position.frets}
    except DiagnosisRefusedError as refused:
        remarks.append(f"no capability: {refused}")
    counts = Counter(label for neck in necks for label in neck.found).most_common()
    return TemplateStudy(
        position=position,
        tilt=tilt,
        tolerance_mm=tolerance_mm,
        capability=capable,
        findings=tuple((label, count) for label, count in counts if count > 1),
        remarks=tuple(remarks),
    )


def drift_over_lots(lots: Sequence[LotSlots], *, fret: int, baseline: int | None = None) -> Drift:
    """The template's error at one fret as each lot by itself shows it, lot after lot."""
    found, left_out = {}, []
    for lot in lots:
        left_out += list(lot.left_out)
        try:
            found[lot.name] = next(one.error_mm for one in template_errors(lot.necks).frets if one.fret == fret)
        except DiagnosisRefusedError:
            if lot.necks:
                left_out.append(f"lot {lot.name}: fewer than {FEWEST_NECKS} necks")
        except StopIteration:
            left_out.append(f"lot {lot.name}: fret {fret} not read")
    return _drift(fret, found, left_out, baseline, lots)


def drift_over_necks(lots: Sequence[LotSlots], *, fret: int, baseline: int | None = None) -> Drift:
    """The own error of one slot, neck after neck in the order given; what nut, hand and strings do to all frets is taken out."""
    result = template_errors([neck for lot in lots for neck in lot.necks])
    place = next((column for column, one in enumerate(result.frets) if one.fret == fret), None)
    if place is None:
        raise UsageError(f"fret {fret} was read on none of these necks")
    found = {neck: slots[place] for neck, slots in result.slots_mm.items() if np.isfinite(slots[place])}
    return _drift(fret, found, [line for lot in lots for line in lot.left_out], baseline, lots)


def _drift(
    fret: int, found: Mapping[str, float], left_out: Sequence[str], baseline: int | None, lots: Sequence[LotSlots]
) -> Drift:
    values = tuple(found.values())
    charts = all_charts(values, baseline=baseline)
    since = max((one.since[:10] for lot in lots for one in lot.corrected if one.fret in (None, fret)), default=None)
    return Drift(fret=fret, labels=tuple(found), values_mm=values, charts=charts, left_out=tuple(left_out), since=since)
