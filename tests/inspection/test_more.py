"""An inspection and more plucks of its doubtful notes, judged together."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.errors import UsageError
from fretcheck.inspection.assemble import Circumstances, judge
from fretcheck.inspection.document import InspectionDocument
from fretcheck.inspection.joined import OWN_OPEN, joined, plucks_wanted
from fretcheck.pitch.reading import NoteReading
from fretcheck.session.deviation import inspection_from
from fretcheck.session.placed_reading import Inspection, Reading
from fretcheck.session.plan import Ask, plan_of_notes
from tests.diagnosis.necks import steel_neck
from tests.synth.perfect_listener import sampled_deviations
from tests.synth.random_neck import random_built_neck

pytestmark = pytest.mark.xdist_group("more")  # they share documents that take a while to make

NECK = replace(steel_neck(frets=12), tolerance_cents=6.0)
BUILT = random_built_neck(NECK, np.random.default_rng(8))


def sitting(seed: int, places: set[tuple[int, int]] | None = None, *, tuned_cents: float = 0.0) -> Inspection:
    """Plucks of one sitting, by default two of every note; all strings `tuned_cents` sharp."""
    heard = sampled_deviations(BUILT, np.random.default_rng(seed), plucks=2)
    notes = [
        Reading(ask=Ask(string=one.string, fret=one.fret), start_s=one.start_s,
            note=NoteReading(
                f1_hz=one.f1_hz * 2.0 ** (tuned_cents / 1200.0), u_cents=one.u_cents, inharmonicity=None, u_inharmonicity=None,
                snr_db=40.0, partials=20, glide_cents=0.0,
            ),
        )
        for one in heard
        if places is None or (one.string, one.fret) in places or (one.fret == 0 and one.string in {s for s, _ in places})
    ]  # fmt: skip
    return inspection_from(NECK, notes, planned=[(note.string, note.fret) for note in notes])


@cache
def undecided() -> InspectionDocument:
    """The neck judged at a limit at which it is about as likely within as out."""
    worst = [judge(sitting(1), settings=DiagnosisSettings(limit_cents=c)) for c in np.arange(3.0, 7.0, 0.5)]
    return min(worst, key=lambda one: abs((one.verdict.probability_within or 0.0) - 0.5)).model_copy(update={"id": "260301-1"})


def test_doubtful_notes_are_named_and_wanted_twice_more() -> None:
    document = undecided()
    assert document.verdict.decision == "undecided"
    wanted = plucks_wanted(document)
    assert set(wanted) == set(document.pluck_again)
    assert set(wanted.values()) == {2}
    out = {(one.string, one.fret): one.probability_out or 0.0 for one in document.frets}
    assert max(out, key=lambda place: out[place]) == document.pluck_again[0]
    plan = plan_of_notes(wanted)
    assert set(plan.notes) - {(string, 0) for string in plan.strings} == set(wanted)
    assert all([ask.fret for ask in plan.asks if ask.string == string][::-1][0] == 0 for string in plan.strings)


def test_they_are_joined_to_the_first() -> None:
    document = undecided()
    wanted = set(plucks_wanted(document))
    settings = DiagnosisSettings(limit_cents=document.verdict.limit_cents)
    both = joined(document, sitting(2, wanted, tuned_cents=20.0), settings=settings, circumstances=Circumstances())
    plucks = {(one.string, one.fret): one.plucks for one in both.frets}
    assert {place for place, count in plucks.items() if count == 4} == wanted
    assert both.coverage == document.coverage
    assert plucks_wanted(both).keys().isdisjoint(wanted)  # four times are enough
    # the strings were tuned 20 cents higher: their notes were counted from that sitting's own open plucks
    before = {(one.string, one.fret): one for one in document.frets}
    for one in both.frets:
        was = before[one.string, one.fret]
        assert one.deviation_cents == pytest.approx(was.deviation_cents, abs=4.0 * (was.u_cents or 0.0) + 0.2)
    assert sum(one.why_not_used == OWN_OPEN for one in both.readings) > 0
    assert [one for one in both.readings if one.fret == 0 and one.used] == [
        one for one in document.readings if one.fret == 0 and one.used
    ]


def test_another_neck_is_refused() -> None:
    document = undecided()
    other = replace(sitting(2, {(1, 3)}), neck=replace(NECK, name="another"))
    with pytest.raises(UsageError, match="another neck"):
        joined(document, other, settings=DiagnosisSettings(), circumstances=Circumstances())
