"""What a live session that asks only what decides is to ask next: the diagnosis' choice, from the plucks taken so far."""

from collections.abc import Sequence

from fretcheck.diagnosis.conclude.deciding import Deciding
from fretcheck.diagnosis.conclude.next_notes import MOST_NOTES, MOST_STRINGS
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.errors import DiagnosisRefusedError
from fretcheck.inspection.assemble import observations_in
from fretcheck.neck.description import Neck
from fretcheck.session.deviation import inspection_from
from fretcheck.session.events import Grown
from fretcheck.session.live.runner import Choose
from fretcheck.session.placed_reading import Reading
from fretcheck.session.plan import Ask, Growth, batch_asks


def chooser(neck: Neck, growth: Growth, *, strings: Sequence[int], settings: DiagnosisSettings) -> Choose:
    """The choice for one session; `strings` in the order in which they are played."""
    deciding = Deciding(neck, growth.judged, settings=settings, look_for_mm=growth.look_for_mm, most_plucks=growth.most_plucks)

    def choose(taken: Sequence[Reading], left_out: Sequence[Ask]) -> Grown:
        readings = inspection_from(neck, taken, planned=()).readings
        observations = observations_in(readings)
        passed_over = {(one.string, one.fret) for one in left_out}
        try:
            now = deciding.round(observations, plucks=len(taken), passed_over=passed_over)
        except DiagnosisRefusedError as refused:
            return Grown(asks=(), why=str(refused))
        heard = {(one.string, one.fret) for one in observations}
        rest = [place for place in growth.judged if place not in heard and place not in passed_over]
        if now.notes:
            return Grown(
                asks=batch_asks(now.notes, strings), why=f"{now.why} {len(taken)} of at most {deciding.most_plucks} plucks."
            )
        if rest and growth.every_note:
            asks = batch_asks(rest, strings)
            deciding.most_plucks = len(taken) + len(asks) + MOST_NOTES + MOST_STRINGS  # one batch more for what they leave open
            return Grown(asks=asks, why=f"{now.why} Now the {len(rest)} notes not heard yet, once each.")
        so_far = f" {len(growth.judged) - len(rest)} of {len(growth.judged)} notes heard; {HOW_TO_HEAR_THE_REST}." if rest else ""
        return Grown(asks=(), why=f"{now.why}{so_far}")

    return choose


HOW_TO_HEAR_THE_REST = "fretcheck inspect NECK --more ID --every-note goes on until each is heard"
