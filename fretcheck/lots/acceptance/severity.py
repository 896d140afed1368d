"""When a shop should change between the normal and the tightened plan of a standard.

MIL-STD-105E, 4.7: to tightened when 2 of the last 5 lots (or fewer) were refused, back to normal after 5 accepted in a row
(from memory).
"""

from collections.abc import Sequence

from fretcheck.lots.acceptance.lot_record import Lot

LOOK_BACK = 5
REFUSED_TO_TIGHTEN = 2


def proposed_severity(earlier: Sequence[Lot], *, now_tightened: bool) -> str | None:
    """A sentence that proposes the other severity, with its reason; None where the chosen one fits.

    `earlier`: lots of the same template in the order in which they were opened. `now_tightened`: what has been chosen for the
    lot that is being opened.
    """
    decided = [lot for lot in earlier if lot.decision is not None and lot.decision.outcome != "open"]
    last = decided[-LOOK_BACK:]
    refused = [lot.name for lot in last if lot.decision is not None and lot.decision.outcome == "refuse"]
    if not now_tightened and len(refused) >= REFUSED_TO_TIGHTEN:
        which = f"{len(refused)} of the last {len(last)} lots were refused ({', '.join(refused)})"
        return f"the tightened plan is due (--tightened): {which}"
    tightened = [lot for lot in last if "tightened" in lot.plan.source]
    if now_tightened and not refused and len(tightened) == LOOK_BACK:
        return f"the normal plan will do again (leave --tightened out): the last {LOOK_BACK} lots were all accepted"
    return None
