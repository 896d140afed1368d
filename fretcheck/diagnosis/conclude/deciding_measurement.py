"""The measurement that a plan ends with: what to measure before work that cannot be undone, and what follows from each outcome.

Conventions: mm. Shares of outcomes and chances are read off the bench's draws.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fretcheck.diagnosis.conclude.bench import Bench
from fretcheck.diagnosis.conclude.piece_of_work import Work, all_done
from fretcheck.diagnosis.conclude.words import millimetres
from fretcheck.diagnosis.conclude.work_words import several, way
from fretcheck.diagnosis.model.by_hand import designed_mm
from fretcheck.diagnosis.result import Finding
from fretcheck.neck.measured import fresh


@dataclass(frozen=True, kw_only=True)
class DecidingMeasurement:
    """What decides, whether it was made, and how it is told."""

    of_frets: bool  # The place or the crown of frets; else the clearance over fret 1
    made: bool

    def sentence(self, bench: Bench, work: Work, before: Sequence[Work]) -> str:
        """The measurement, and what to do after it; `work` is what it decides, `before` what is done anyway."""
        return _fret(bench, work, before) if self.of_frets else _clearance(bench, work, before)


def measurement_for(bench: Bench, finding: Finding | None) -> DecidingMeasurement:
    """What decides a finding (none: whether nut slots may be filed)."""
    if finding is not None and finding.cause == "fret_wear":
        return DecidingMeasurement(of_frets=True, made=False)
    if finding is None or finding.fret is None:
        known = clearance_measured(bench)
        own = None if finding is None else finding.string
        return DecidingMeasurement(of_frets=False, made=bool(known) if own is None else own in known)
    places = [one for one in fresh(bench.posterior.design.neck) if one.what in ("nut_to_fret", "fret_to_fret")]
    return DecidingMeasurement(of_frets=True, made=any(one.fret == finding.fret for one in places))


def clearance_measured(bench: Bench) -> dict[int, float]:
    """What each string was measured to leave over fret 1; strings not measured are left out."""
    answer: dict[int, float] = {}
    for one in fresh(bench.posterior.design.neck):
        if one.what == "first_fret_clearance":
            answer.update(dict.fromkeys(bench.strings if one.string is None else [one.string], one.mm))
    return answer


def _after(bench: Bench, works: Sequence[Work], where: NDArray[np.bool_]) -> str:
    within = bench.outcome(all_done(bench, list(works))).within
    return _percent(within[where] if where.any() else within)


def _clearance(bench: Bench, work: Work, before: Sequence[Work]) -> str:
    strings = work.slots
    gap = np.mean([bench.clearances_mm(bench.theta, string) for string in strings], axis=0)
    designed = float(np.mean([bench.designed_clearance_mm(string) for string in strings]))
    found = work.lost_clearance_mm(bench) if work.fault is None else bench.above_nut * work.fault.value
    edge = designed + 0.5 * found
    high = gap >= edge
    under = "every string" if set(strings) >= set(bench.slotted) else f"string {strings[0]}"
    which = "the slots are" if len(strings) > 1 else "the slot is"
    by = float(np.mean(gap[high]) - designed) + max(work.lost_clearance_mm(bench) - found, 0.0) if high.any() else found
    own = "" if len(strings) > 1 else f"/{strings[0]}"
    return (
        f"Before a nut slot is filed, measure the clearance over the crown of fret 1 with feeler gauges, under {under}, open, "
        f"and enter it (inspect … --measured first_fret_clearance{own}=MM): by sound alone a high nut and a finger heavy at the "
        f"low frets are alike. {edge:.2f} mm or more ({_percent(high)} to expect): {which} high, and filing by about {by:.2f} mm "
        f"brings every note within with a chance of {_after(bench, [*before, work], high)}. Less: leave the nut, it is the "
        f"finger; without filing the chance is {_after(bench, before, ~high)}. Either way the advice is then thought over anew."
    )


def _percent(truth: NDArray[np.bool_]) -> str:
    share = 100.0 * float(np.mean(truth))
    return "below 1 %" if share < 1.0 else "above 99 %" if share > 99.0 else f"{share:.0f} %"


def _fret(bench: Bench, work: Work, before: Sequence[Work]) -> str:
    fault = work.fault
    assert fault is not None
    everywhere = np.ones(len(bench.theta), dtype=bool)
    if work.worn:
        frets = several(work.worn, "fret")
        return (
            f"Before {frets} {'is' if len(work.worn) == 1 else 'are'} crowned anew, look at the crowns with a loupe, under the "
            "strings that wear them: the bright line on which a string rests should run along the middle. Where it lies to one "
            f"side, crown anew, which brings every note within with a chance of {_after(bench, [*before, work], everywhere)}; "
            f"where it does not, leave the fret ({_after(bench, before, everywhere)})."
        )
    fret, up = work.fret, fault.value > 0.0
    out = bench.theta[:, bench.posterior.parameters.faults[fault.cause.fault].columns[0]]
    half = 0.5 * abs(fault.value)
    there = (out if up else -out) >= half
    chance = f"{_percent(there)} to expect"
    done, left = _after(bench, [*before, work], there), _after(bench, before, ~there)
    place = designed_mm(bench.posterior.design, what="nut_to_fret", fret=fret, string=None)
    if fault.finding.cause == "fret_tilt":
        where = f"under the first and under the last string, where it should stand {place:.2f} mm from the nut"
        outcome = f"{millimetres(half)} {'farther' if up else 'nearer'} at the first and as much the other way at the last"
    else:
        where = f"along the middle of the neck, where it should stand {place:.2f} mm from the nut"
        outcome = f"{millimetres(half)} or more too {'far' if up else 'near'}"
    return (
        f"Before fret {fret} is touched, measure from the nut to its crown {where}, and enter it (inspect … --measured "
        f"nut_to_fret@{fret}=MM). {outcome[0].upper()}{outcome[1:]} ({chance}): move its crown by what it is out, "
        f"{way(-fault.value)}, which brings every note within with a chance of {done}. Less: leave it ({left}). Either way the "
        "advice is then thought over anew."
    )
