"""The drawing of the neck: to scale, exaggerated by the factor it states, in the right direction."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from fretcheck.diagnosis.result import Finding, LayoutHypothesis
from fretcheck.neck.starts import STARTS
from fretcheck.report.figures.neck_figure import WIDTH, description, neck_figure, upright_neck_figure
from fretcheck.report.figures.neck_plan import Displacement, NeckPlan, plan_of
from tests.report import documents

pytestmark = pytest.mark.xdist_group("report")  # they share documents that take seconds to make

SCALE = 645.0


def plan() -> NeckPlan:
    made = plan_of(documents.before())
    assert made is not None
    return made


def strokes(svg: str, *, width: float) -> list[tuple[float, float]]:
    """(x at the start, x at the end) of every line of a stroke width, in px."""
    found = re.findall(r'd="M ([\d.]+) [\d.]+\s+L ([\d.]+) [\d.]+\s*"[^>]*stroke-width: ([\d.]+)', svg)
    return [(float(start), float(end)) for start, end, stroke in found if float(stroke) == width]


def test_named_fret_is_drawn_where_it_was_found() -> None:
    made = plan()
    svg = str(neck_figure(made, documents.before().findings, chart=False))
    nut, end = made.along(0, 1), made.along(20, 1)
    # scale from the plain frets 1 and 20, whose small displacements are known; then fret 7 is predicted from its place
    thin = sorted(start for start, _ in strokes(svg, width=1.6))
    first, last = (made.along(fret, 1) + made.factor * (made.frets[fret].value + made.frets[fret].tilt) for fret in (1, 20))
    px_per_mm = (thin[-1] - thin[0]) / (last - first)
    design = SCALE * (1.0 - 2.0 ** (-7.0 / 12.0))  # 214.5 mm; rule of equal temperament, CALC
    place = design + made.factor * (made.frets[7].value + made.frets[7].tilt)
    thick = [start for start, _ in strokes(svg, width=4.0)]
    assert min(abs(x - (thin[0] + (place - first) * px_per_mm)) for x in thick) < 0.5
    assert place > design  # toward the bridge, as it was built
    assert 0.0 < px_per_mm < WIDTH / (end - nut)


def test_no_fret_is_drawn_at_its_neighbours_place() -> None:
    made = plan()
    for fret in range(1, 20):
        gap = made.along(fret + 1, 1) - made.along(fret, 1)
        assert made.factor * made.frets[fret].reach < gap


def test_wild_displacement_is_exaggerated_less() -> None:
    made = plan()
    wild = Displacement(value=6.0, low=5.0, high=7.0, practical_size=0.1, probability=1.0)
    assert replace(made, frets={**made.frets, 12: wild}).factor < made.factor


def test_frets_by_a_wrong_rule_are_drawn_where_the_rule_puts_them() -> None:
    document = documents.before()
    rule = LayoutHypothesis(name="rule of 18", probability=0.99, text="The frets follow the rule of 18.")
    finding = Finding(
        cause="layout_rule", fret=None, string=None, value_mm=None, u_mm=None, probability=0.99, text=rule.text, value_cents=-12.5
    )
    made = plan_of(document.model_copy(update={"layout": [rule], "findings": [finding]}))
    assert made is not None
    # slots at 645·(1 − (17/18)^12) against 645/2: 3.246 mm nearer the nut; CALC. The causes, read for the design, come on top.
    shift = SCALE * (1.0 - (17.0 / 18.0) ** 12) - SCALE / 2.0
    assert made.frets[12].value - plan().frets[12].value == pytest.approx(shift, abs=1e-6)
    assert made.frets[12].finding is finding
    assert made.frets[12].probability > 0.99
    assert "rule of 18" in neck_figure(made, [finding])


def test_a_rule_only_listed_moves_no_fret() -> None:
    document = documents.before()
    listed = LayoutHypothesis(name="rule of 18", probability=0.85, text="The frets follow the rule of 18.")
    made = plan_of(document.model_copy(update={"layout": [listed]}))
    assert made is not None
    assert made.frets == plan().frets


def test_fanned_frets_stand_square_at_the_fret_that_should() -> None:
    document = documents.before()
    data = {**document.neck.description, "square_fret": 9}
    data["strings"] = [{**one, "scale_length_mm": 625.0 + 5.0 * n} for n, one in enumerate(data["strings"])]
    fanned = plan_of(document.model_copy(update={"neck": document.neck.model_copy(update={"description": data})}))
    assert fanned is not None
    assert fanned.along(9, 1) == pytest.approx(fanned.along(9, 6))
    assert fanned.along(1, 1) > fanned.along(1, 6)
    assert "<svg" in neck_figure(fanned, document.findings)
    assert "<svg" in upright_neck_figure(fanned, document.findings)


@pytest.mark.parametrize("frets", [20, 24, 36])
def test_every_fret_has_its_number_and_none_covers_another(frets: int) -> None:
    part = plan().frets[5]
    made = replace(plan(), neck=replace(plan().neck, frets=frets), frets=dict.fromkeys(range(1, frets + 1), part))
    for svg in (str(neck_figure(made, [], chart=False)), str(upright_neck_figure(made, []))):
        texts = re.findall(r'x="([\d.]+)" y="([\d.]+)"[^>]*>(\d+)</text>', svg)
        assert sorted(int(number) for _, _, number in texts) == list(range(1, frets + 1))
        places = [(float(x), float(y)) for x, y, _ in texts]
        for one, (x, y) in enumerate(places):  # two digits are about 15 px wide and 11 high
            assert all(abs(x - a) > 12.0 or abs(y - b) > 9.0 for a, b in places[:one])


@pytest.mark.parametrize("count", [0, 1, 6])
def test_labels_do_not_cover_each_other(count: int) -> None:
    findings = [
        Finding(cause="fret_position", fret=fret, string=None, value_mm=0.4, u_mm=0.05, probability=1.0, text="")
        for fret in range(14, 14 + count)
    ]
    svg = str(neck_figure(plan(), findings, chart=False))
    heights = re.findall(r'font-weight: 700[^"]*" x="[\d.]+" y="([\d.]+)"', svg)
    assert len(heights) == len(set(heights)) == count  # all begin within one label's length, so each has a lane of its own


def test_words_say_what_the_drawing_shows() -> None:
    assert re.search(r"Out of place: (.*; )?fret 7 0\.\d\d mm nearer the bridge than designed", description(plan()))


def test_no_plan_without_a_description() -> None:
    document = documents.before()
    assert plan_of(document.model_copy(update={"neck": document.neck.model_copy(update={"description": {"frets": "?"}})})) is None
    assert plan_of(document.model_copy(update={"causes": []})) is None


def test_the_charts_numbers_keep_their_signs_on_a_long_scale() -> None:
    made = plan()
    neck = STARTS["bass-4"].neck
    long = replace(made, neck=neck, saddles={string: one for string, one in made.saddles.items() if string <= len(neck.strings)})
    svg = str(neck_figure(long, []))
    ends = [float(x) for x in re.findall(r'<text[^>]*text-anchor: end[^>]*transform="translate\(([\d.]+)[^>]*>[+−]', svg)]
    ends += [float(x) for x in re.findall(r'<text[^>]*text-anchor: end[^>]* x="([\d.]+)"[^>]*>[+−]', svg)]
    # "+0.1" in 11 px letters is at most four times 7 px wide (a digit of the usual fonts is 0.55 to 0.64 of its height)
    assert ends
    assert min(ends) >= 28.0
