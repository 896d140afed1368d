"""The causes of a document, told from the design: also where the frets follow another rule, from which they were counted."""

from dataclasses import replace

from scipy.special import ndtr

from fretcheck.diagnosis.model.as_designed import as_designed
from fretcheck.diagnosis.model.layout_rules import RULES
from fretcheck.diagnosis.result import CauseEstimate
from fretcheck.inspection.document import InspectionDocument
from fretcheck.neck.description import Neck


def causes_from_design(document: InspectionDocument, neck: Neck) -> list[CauseEstimate]:
    """All causes, the frets' places counted from where the design has them."""
    shift = _shift_by_rule_mm(neck, document)
    return [
        _shifted(one, shift[one.fret]) if one.cause == "fret_position" and one.fret in shift else one for one in document.causes
    ]


def _shifted(part: CauseEstimate, by: float) -> CauseEstimate:
    value, u = part.value + by, max(part.u, 1e-9)
    inside = ndtr((part.practical_size - value) / u) - ndtr((-part.practical_size - value) / u)
    low, high = part.interval_90
    return replace(part, value=value, interval_90=(low + by, high + by), probability=float(1.0 - inside))


def _shift_by_rule_mm(neck: Neck, document: InspectionDocument) -> dict[int, float]:
    """Where the rule of layout that was found puts each fret, from the design; empty where none was: its causes are so told."""
    if not document.layout or all(one.cause != "layout_rule" for one in document.findings):
        return {}
    best = max(document.layout, key=lambda one: one.probability)
    rule = next((one for one in RULES if one.name == best.name), None)
    if rule is None or rule.shift_mm is None:
        return {}
    design = as_designed(neck)
    shift = rule.shift_mm(design)
    return {fret: float(shift[design.fret == fret].mean()) for fret in range(1, neck.frets + 1)}
