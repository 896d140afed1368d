"""An inspection and more plucks of its doubtful notes, judged together.

Conventions: the later plucks were counted from open plucks of their own, which stand among the readings but are not counted
again as the string's tuning.
"""

from dataclasses import replace

from fretcheck.diagnosis.conclude.verdict import OFTEN_ENOUGH
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.errors import UsageError
from fretcheck.inspection.assemble import Circumstances, judge
from fretcheck.inspection.document import InspectionDocument
from fretcheck.session.placed_reading import Inspection, ReadingPart

AT_ONCE = 2  # Plucks of a doubtful note at a time
LATER_S = 3600.0  # Between two sittings; only the order of the plucks counts
OWN_OPEN = "open pluck of a later sitting, from which that sitting's notes were counted"


def plucks_wanted(document: InspectionDocument) -> dict[tuple[int, int], int]:
    """How often each doubtful note is to be plucked again: twice, four times in all at most."""
    heard = {(one.string, one.fret): one.plucks for one in document.frets}
    wanted = {place: min(AT_ONCE, OFTEN_ENOUGH - heard.get(place, 0)) for place in document.pluck_again if place[1] > 0}
    return {place: count for place, count in wanted.items() if count > 0}


def joined(
    before: InspectionDocument, fresh: Inspection, *, settings: DiagnosisSettings, circumstances: Circumstances
) -> InspectionDocument:
    """The inspection `before` with the plucks of `fresh`, judged as one. Raises UsageError when the necks differ."""
    neck, earlier = fresh.neck, before.conditions
    strings = before.neck.description.get("strings")
    if neck.name != before.neck.name or neck.serial != before.neck.serial or len(strings or []) != len(neck.strings):
        raise UsageError(f"inspection {before.id} is of another neck ({before.neck.name!r}): give its own description")
    start = LATER_S + max((one.start_s for one in before.readings), default=0.0)
    readings = (*before.readings, *(_later(one, start) for one in fresh.readings))
    heard = {(one.string, one.fret) for one in readings if one.used and one.press is None}
    everything = replace(
        fresh,
        readings=readings,
        judged=tuple({(one.string, one.fret): None for one in before.frets} | dict.fromkeys(before.missing)),
        missing=tuple(place for place in before.missing if place not in heard),
        set_aside=(*before.set_aside, *fresh.set_aside),
        plan=earlier.plan,
        look_for_mm=earlier.look_for_mm,
        drift_cents=earlier.drift_cents,
    )
    day = replace(
        circumstances,
        operator=circumstances.operator or earlier.operator,
        bench=circumstances.bench or earlier.bench,
        job=circumstances.job if any(circumstances.job.model_dump().values()) else before.job,
    )
    return judge(everything, settings=settings, circumstances=day)


def _later(part: ReadingPart, start_s: float) -> ReadingPart:
    part = replace(part, start_s=part.start_s + start_s)
    return replace(part, used=False, why_not_used=OWN_OPEN) if part.fret == 0 and part.used else part
