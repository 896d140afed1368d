"""The measurement that a plan ends with: what to measure before work that cannot be undone, and what follows from each outcome.

Conventions: mm. Shares of outcomes and chances are read off the bench's draws.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fretcheck.diagnosis.conclude.bench import Bench
from fretcheck.diagnosis.conclude.piece_of_work import Work, all_done
from fretcheck.diagnosis.conclude.words import millimetres
from fretcheck.diagnosis.conclude.work_words import several, way
from fretcheck.diagnosis.model.by_hand import designed_mm
from fretcheck.diagnosis.result import Finding
from fretcheck.neck.measured import fresh


def made_for(bench: Bench, finding: Finding) -> bool:
    """Whether what decides a finding was measured: the place of its fret, or the clearance over fret 1. A crown is looked at."""
    if finding.cause == "fret_wear":
        return False
    if finding.fret is None:
        return bool(bench.measured_mm) if finding.string is None else finding.string in bench.measured_mm
    places = [one for one in fresh(bench.posterior.design.neck) if one.what in ("nut_to_fret", "fret_to_fret")]
    return any(one.fret == finding.fret for one in places)


def measurement(bench: Bench, work: Work, before: Sequence[Work], otherwise: Sequence[Work] = ()) -> str:
    """What to measure, and what to do after it: `work` is what it decides, `before` what is done anyway, `otherwise` what is done
    if not this."""
    if work.how == "fret":
        return _fret(bench, work, before)
    return _clearance(bench, work, before, otherwise) if work.fault is not None or work.if_high else _room(bench, work, before)


def _after(bench: Bench, works: Sequence[Work], where: NDArray[np.bool_] | None = None) -> str:
    within = bench.outcome(all_done(bench, works)).within
    return _percent(within[where] if where is not None and where.any() else within)


def _gauge(bench: Bench, work: Work) -> str:
    under = "every string" if set(work.slots) >= set(bench.slotted) else several(work.slots, "string")
    own = f"/{work.slots[0]}" if len(work.slots) == 1 else ""
    return (
        f"Before a nut slot is filed, measure the clearance over the crown of fret 1 with feeler gauges, under {under}, open, "
        f"and enter it (inspect … --measured first_fret_clearance{own}=MM): "
    )


def _clearance(bench: Bench, work: Work, before: Sequence[Work], otherwise: Sequence[Work]) -> str:
    """Whether the nut or the finger is to blame."""
    gap = np.mean([bench.clearances_mm(bench.theta, string) for string in work.slots], axis=0)
    designed = float(np.mean([bench.designed_clearance_mm(string) for string in work.slots]))
    found = work.lost_clearance_mm(bench) if work.fault is None else bench.above_nut * work.fault.value
    edge = designed + 0.5 * found
    high = gap >= edge
    which = "the slots are" if len(work.slots) > 1 else "the slot is"
    by = float(np.mean(gap[high]) - designed) + max(work.lost_clearance_mm(bench) - found, 0.0) if high.any() else found
    nut = [one for one in otherwise if one.how == "nut"]
    instead = f"without filing the chance is {_after(bench, before, ~high)}"
    if nut:
        forward = f"the nut's front edge {millimetres(nut[0].mm)} {way(nut[0].mm)}"
        instead = f"{forward} is then what would serve (chance {_after(bench, otherwise, ~high)})"
    return (
        f"{_gauge(bench, work)}by sound alone a high nut and a finger heavy at the low frets are alike. {edge:.2f} mm or more "
        f"({_percent(high)} to expect): {which} high, and filing by about {by:.2f} mm brings every note within with a chance of "
        f"{_after(bench, [*before, work], high)}. Less: it is the finger, leave the slots; {instead}. Either way the advice is "
        "then thought over anew."
    )


def _room(bench: Bench, work: Work, before: Sequence[Work]) -> str:
    """Whether slots that may be right can go lower still."""
    least = float(np.mean([bench.least_clearance_mm(string) for string in work.slots]))
    return (
        f"{_gauge(bench, work)}lower slots would bring the low notes down, and how much room there is cannot be heard. Filed by "
        f"{work.lost_clearance_mm(bench):.2f} mm there, as far as {least:.2f} mm are left, they bring every note within with a "
        f"chance of {_after(bench, [*before, work])}. Where no more than that is left already, leave them "
        f"({_after(bench, before)}). Either way the advice is then thought over anew."
    )


def _percent(truth: NDArray[np.bool_]) -> str:
    share = 100.0 * float(np.mean(truth))
    return "below 1 %" if share < 1.0 else "above 99 %" if share > 99.0 else f"{share:.0f} %"


def _fret(bench: Bench, work: Work, before: Sequence[Work]) -> str:
    fault = work.fault
    assert fault is not None
    if work.worn:
        frets = several(work.worn, "fret")
        return (
            f"Before {frets} {'is' if len(work.worn) == 1 else 'are'} crowned anew, look at the crowns with a loupe, under the "
            "strings that wear them: the bright line on which a string rests should run along the middle. Where it lies to one "
            f"side, crown anew, which brings every note within with a chance of {_after(bench, [*before, work])}; "
            f"where it does not, leave the fret ({_after(bench, before)})."
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
