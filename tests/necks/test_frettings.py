"""The diagnosis on necks that are not twelve to the octave, and on compensations built as they are described."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fretcheck.diagnosis.diagnose import diagnose
from fretcheck.diagnosis.model.as_designed import as_designed, expected_cents
from fretcheck.inspection.perfect_neck import worst_as_designed
from fretcheck.neck.description import Neck, PartialFret
from fretcheck.neck.neck_file import with_capo
from fretcheck.neck.starts import STARTS
from tests.diagnosis.necks import heard_on, steel_neck

STEEL = replace(steel_neck(), tolerance_cents=8.0)


def with_strings(neck: Neck, **changes: float | None) -> Neck:
    return replace(neck, strings=tuple(replace(string, **changes) for string in neck.strings))  # type: ignore[arg-type]


def by_thirds() -> Neck:
    """A just scale along the string, every fret at a simple ratio: 16/15, 9/8, 6/5, 5/4, 4/3, 3/2, 8/5, 5/3, 9/5, 15/8, 2."""
    ratios = (16 / 15, 9 / 8, 6 / 5, 5 / 4, 4 / 3, 3 / 2, 8 / 5, 5 / 3, 9 / 5, 15 / 8, 2.0)
    return replace(
        STEEL, frets=len(ratios), fret_positions_mm=tuple(STEEL.scale_length_mm * (1.0 - 1.0 / ratio) for ratio in ratios)
    )


NECKS = {
    "dulcimer": replace(STARTS["dulcimer"].neck, tolerance_cents=8.0),
    "19 to the octave": replace(STEEL, divisions_per_octave=19, frets=30),
    "24 to the octave": replace(STEEL, divisions_per_octave=24, frets=36),
    "just": by_thirds(),
    "last frets partial": replace(
        STEEL, frets=22, partial_frets=(PartialFret(fret=21, strings=(1, 2, 3)), PartialFret(fret=22, strings=(1, 2)))
    ),
    "capo": with_capo(STEEL, 3),
}
COMPENSATED = {
    "nut set forward": with_strings(STEEL, nut_compensation_mm=0.6),
    "nut set forward string by string": replace(
        STEEL,
        strings=tuple(
            replace(s, nut_compensation_mm=mm) for s, mm in zip(STEEL.strings, (0.2, 0.5, 0.9, 0.3, 0.4, 0.7), strict=True)
        ),
    ),
    "straight saddle": replace(with_strings(STEEL, saddle_setback_mm=2.5), tolerance_cents=20.0),
    "saddle without setback": replace(with_strings(STEEL, saddle_setback_mm=0.0), tolerance_cents=40.0),
}


@pytest.mark.parametrize("start", STARTS)
def test_setbacks_left_out_are_taken_where_the_octave_is_true(start: str) -> None:
    # The trade sets a saddle so; the low frets then stay as sharp as stopping makes them, some cents and no more.
    neck = with_strings(STARTS[start].neck, saddle_setback_mm=None)
    cents = expected_cents(neck)
    for number, row in enumerate(cents, start=1):
        octave = min(neck.frets_of(number), key=lambda fret: abs(neck.cents_above_open(number, fret) - 1200.0))
        assert abs(row[octave]) < 0.01
    assert (
        abs(worst_as_designed(neck).cents) < 12.0
    )  # the last frets of a mandolin; 27.9 with the saddle taken at the scale's end
    set_back = as_designed(neck).setbacks_mm
    told = [string.saddle_setback_mm for string in STARTS[start].neck.strings]
    assert set_back == pytest.approx(told, abs=1.6)  # least squares over all frets leans on the upper ones, the octave does not


@pytest.mark.parametrize("kind", [*NECKS, *COMPENSATED])
def test_built_as_described_nothing_is_found(kind: str) -> None:
    neck = (NECKS | COMPENSATED)[kind]
    found = [diagnose(neck, heard_on(neck, seed=seed)[1]).findings for seed in (41, 42)]
    assert [[one.text for one in findings] for findings in found] == [[], []]


@pytest.mark.parametrize("kind", NECKS)
def test_a_fret_out_of_place_is_found_by_its_number(kind: str) -> None:
    neck = NECKS[kind]
    fret = neck.frets_of(1)[4]
    diagnosis = diagnose(neck, heard_on(neck, seed=43, frets_mm={fret: 0.5})[1])
    first = diagnosis.findings[0]
    assert (first.cause, first.fret) == ("fret_position", fret)
    assert first.value_mm == pytest.approx(0.5, abs=0.25)  # three to four standard uncertainties of one fret, 0.06 to 0.08 mm


@pytest.mark.parametrize("kind", COMPENSATED)
def test_a_nut_off_its_described_place_is_found_from_there(kind: str) -> None:
    neck = COMPENSATED[kind]
    diagnosis = diagnose(neck, heard_on(neck, seed=44, nut_mm=-1.5)[1])
    nuts = [one for one in diagnosis.findings if one.cause == "nut_position"]
    assert nuts, [one.text for one in diagnosis.findings]
    assert nuts[0].value_mm == pytest.approx(-1.5, abs=0.9)  # ±0.4 mm from sound alone (Fisher analysis, physics of the model)
