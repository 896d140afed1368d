"""The neck to scale, each fret where it was found: lying, with the displacements in mm below it; and upright, for a phone.

Conventions: along the strings to scale; displacements exaggerated by the factor that the caption states. A fret's design place
is a thin dashed line, the found place a solid one, its 90 % interval a band. What is a finding is thick, coloured and named,
with an arrow from where it should be. Nut left or on top, string 1 on top or right.
"""

import textwrap
from typing import Any

from markupsafe import Markup

from fretcheck.diagnosis.result import Finding
from fretcheck.report.figures import drawing
from fretcheck.report.figures.neck_plan import Displacement, NeckPlan
from fretcheck.report.words.finding_words import label, millimetres

WIDTH, LANE, BOARD, NUMBERS, CHART = 900.0, 20.0, 118.0, 26.0, 136.0
UPRIGHT_WIDTH, UPRIGHT_LENGTH = 350.0, 640.0
NUMBER_ROW = 14.0
MOST_NAMED = 6
CHARACTER = 7.9  # Mean width of a character in px, generous
# Width of the chart's legend beside the fretboard, and height of a line of it beneath, where there is no room beside
LEGEND, LEGEND_LINE = 222.0, 17.0


def neck_figure(plan: NeckPlan, findings: list[Finding], *, chart: bool = True, name: str = "neck") -> Markup:
    """The neck lying, nut at the left; with `chart`, each fret's displacement in mm below it."""
    low, high = _ends(plan)
    labels = _placed_labels(plan, findings, low=low, high=high)
    lanes = 1 + max((lane for _, _, _, lane, _ in labels), default=-1)
    numbers = _number_rows(plan, least_mm=17.0 * (high - low) / WIDTH)
    foot = NUMBERS + NUMBER_ROW * max(numbers.values(), default=0)
    top = lanes * LANE + 6.0
    beside = (high - _board_end(plan)) / (high - low) * WIDTH >= LEGEND
    below = 0.0 if not chart else CHART + 14.0 + (0.0 if beside else 2.0 * LEGEND_LINE)
    height = top + BOARD + foot + below
    with drawing.style():
        figure = drawing.new_figure(WIDTH, height)
        axes = figure.add_axes((0.0, 1.0 - (top + BOARD + foot) / height, 1.0, (top + BOARD + foot) / height))
        axes.set_xlim(low, high)
        axes.set_ylim(-foot / BOARD, 1.0 + top / BOARD)
        axes.axis("off")
        _draw(axes, plan, upright=False)
        for fret, row in numbers.items():
            axes.text(_midpoint(plan, fret), -0.05 - row * NUMBER_ROW / BOARD, str(fret), ha="center", va="top", fontsize=12.0)
        axes.text(_midpoint(plan, 0), -0.05, "nut", ha="center", va="top", fontsize=12.0, color=drawing.SOFT)
        if plan.saddles:
            axes.text(plan.saddle(len(plan.neck.strings)), -0.05, "saddle", ha="center", va="top", color=drawing.SOFT)
        for text, start, anchor, lane, colour in labels:
            y = 1.0 + (LANE * (lane + 0.5) + 4.0) / BOARD
            axes.text(start, y, text, ha="left", va="center", fontsize=13.0, fontweight="bold", color=colour)
            drawing.line(axes, [anchor, anchor], [1.02, y - 0.42 * LANE / BOARD], color=colour, linewidth=1.2)
        if chart:
            _chart(figure, plan, low=low, high=high, height=height, beside=beside)
        return drawing.as_svg(figure, name=name, title="The neck and where its frets were found", description=description(plan))


def upright_neck_figure(plan: NeckPlan, findings: list[Finding], *, name: str = "neck-upright") -> Markup:
    """The neck standing, nut on top, for a narrow screen."""
    low, high = _ends(plan)
    length = UPRIGHT_LENGTH
    left, board = 44.0, 118.0
    with drawing.style():
        figure = drawing.new_figure(UPRIGHT_WIDTH, length)
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set_xlim(-left / board, (UPRIGHT_WIDTH - left) / board)
        axes.set_ylim(high, low)
        axes.axis("off")
        _draw(axes, plan, upright=True)
        for fret, row in _number_rows(plan, least_mm=12.0 * (high - low) / length).items():
            axes.text(-0.06 - row * 17.0 / board, _midpoint(plan, fret), str(fret), ha="right", va="center", fontsize=11.0)
        axes.text(-0.06, _midpoint(plan, 0), "nut", ha="right", va="center", fontsize=11.0, color=drawing.SOFT)
        line, taken = (high - low) / length * 15.0, low
        for anchor, finding in _anchored(plan, findings):
            lines = textwrap.wrap(label(finding), 20)
            first = min(max(anchor - line * (len(lines) - 1) / 2.0, taken + line), high - line * (len(lines) + 0.5))
            colour = _colour(finding)
            for number, text in enumerate(lines):
                axes.text(1.22, first + number * line, text, va="center", fontsize=12.5, fontweight="bold", color=colour)
            taken = first + line * len(lines)
            drawing.line(axes, [1.02, 1.18], [anchor, first + line * (len(lines) - 1) / 2.0], color=colour, linewidth=1.0)
        return drawing.as_svg(figure, name=name, title="The neck and where its frets were found", description=description(plan))


def description(plan: NeckPlan) -> str:
    """What the drawing shows, in words."""
    out = {fret: one for fret, one in plan.frets.items() if one.finding is not None}
    rest = len(plan.frets) - len(out)
    named = sorted(out, key=lambda fret: -abs(out[fret].value))[:MOST_NAMED]
    found = [
        f"fret {fret} {millimetres(out[fret].value)} nearer the {'bridge' if out[fret].value > 0 else 'nut'} than designed"
        for fret in sorted(named)
    ]
    if len(out) > len(named):
        found.append(f"{len(out) - len(named)} more by less")
    text = f"{len(plan.frets)} frets on a scale of {plan.neck.scale_length_mm:g} mm. "
    if found:
        text += f"Out of place: {'; '.join(found)}. "
    if rest == 0:
        return text
    largest = max(0.01, *(abs(one.value) for one in plan.frets.values() if one.finding is None))
    return text + f"{'The other ' if found else 'All '}{rest} frets were found within {millimetres(largest)} of their place."


def _ends(plan: NeckPlan) -> tuple[float, float]:
    strings = range(1, len(plan.neck.strings) + 1)
    nut, end = min(plan.along(0, string) for string in strings), max(plan.saddle(string) for string in strings)
    reach = max((max(one.high, 0.0) for one in plan.saddles.values()), default=0.0) * plan.saddle_factor
    return nut - 0.04 * (end - nut), end + max(reach, 12.0) + 22.0  # the chart's numbers stand before the nut


def _midpoint(plan: NeckPlan, fret: int) -> float:
    """Where a fret's number stands: its design place at the edge of the last string."""
    return plan.along(fret, len(plan.neck.strings))


def _number_rows(plan: NeckPlan, *, least_mm: float) -> dict[int, int]:
    """The row in which each fret's number stands: the first in which it is `least_mm` from the number before it."""
    ends: list[float] = []
    rows = {}
    for fret in sorted(plan.frets):
        place = _midpoint(plan, fret)
        rows[fret] = next((row for row, end in enumerate(ends) if place - end >= least_mm), len(ends))
        ends[rows[fret] : rows[fret] + 1] = [place]
    return rows


def _anchored(plan: NeckPlan, findings: list[Finding]) -> list[tuple[float, Finding]]:
    """The findings that have a place on the neck, each with it, from the nut on."""
    found = [(anchor, one) for one in findings if (anchor := _anchor(plan, one)) is not None]
    return sorted(found, key=lambda one: one[0])


def _anchor(plan: NeckPlan, finding: Finding) -> float | None:
    """Where on the neck a finding is named; None for one without a place."""
    if finding.cause in ("fret_position", "fret_tilt") and finding.fret in plan.frets:
        return plan.along(finding.fret, 1) + plan.factor * plan.frets[finding.fret].value
    if finding.cause == "layout_rule":
        worst = max(plan.frets, key=lambda fret: abs(plan.frets[fret].value))
        return plan.along(worst, 1) + plan.factor * plan.frets[worst].value
    if finding.cause in ("nut_position", "nut_height"):
        return plan.along(0, finding.string or 1)
    if finding.cause in ("saddle_position", "string"):
        string = finding.string or 1
        shift = plan.saddles[string].value if string in plan.saddles and finding.cause == "saddle_position" else 0.0
        return plan.saddle(string) + plan.saddle_factor * shift
    return None


def _colour(finding: Finding) -> str:
    if finding.cause in ("fret_position", "fret_tilt", "nut_height"):
        return drawing.SHARP if finding.positive else drawing.FLAT
    if finding.cause in ("nut_position", "saddle_position"):
        return drawing.FLAT if finding.positive else drawing.SHARP
    return drawing.UNSURE


def _placed_labels(
    plan: NeckPlan, findings: list[Finding], *, low: float, high: float
) -> list[tuple[str, float, float, int, str]]:
    """Labels with start, anchor, lane (0 next to the board) and colour.

    A label begins at its anchor and stands above all labels that begin or lie within its length: no leader crosses a text.
    """
    placed: list[tuple[str, float, float, int, str]] = []
    ends: list[tuple[float, float, int]] = []
    for anchor, finding in reversed(_anchored(plan, findings)):
        text = label(finding)
        width = len(text) * CHARACTER * (high - low) / WIDTH
        start = max(min(anchor - 3.0, high - width - 2.0), low + 2.0)
        lane = 1 + max((other for first, last, other in ends if first < start + width + 6.0 and last > start), default=-1)
        ends.append((min(start, anchor), start + width, lane))
        placed.append((text, start, anchor, lane, _colour(finding)))
    return placed


def _draw(axes: Any, plan: NeckPlan, *, upright: bool) -> None:
    """Board, strings, nut, frets and saddles."""
    last = len(plan.neck.strings)
    strings = range(1, last + 1)

    def path(along: list[float], across: list[float], **how: Any) -> None:
        drawing.line(axes, *((across, along) if upright else (along, across)), **how)

    def area(along: list[float], across: list[float], **how: Any) -> None:
        drawing.area(axes, *((across, along) if upright else (along, across)), **how)

    tail = [plan.along(0, n) + (plan.along(plan.neck.frets, n) - plan.along(0, n)) * 1.02 + 4.0 for n in (1, last)]
    area([plan.along(0, 1), tail[0], tail[1], plan.along(0, last)], [1.0, 1.0, 0.0, 0.0], facecolor=drawing.BOARD, linewidth=0)
    for number in strings:
        start = plan.along(plan.neck.string(number).first_fret, number)
        found, saddle, y = plan.saddles.get(number), plan.saddle(number), plan.across(number)
        width = 0.7 + 0.9 * min(plan.neck.string(number).gauge_mm, 2.5) / 1.4
        reach = saddle if found is None else saddle + plan.saddle_factor * found.value
        path([start, max(reach, saddle)], [y, y], color=drawing.METAL, linewidth=width)
        half = 0.35 * (1.0 - 2.0 * 0.07) / max(last - 1, 1)
        path([saddle, saddle], [y - half, y + half], color=drawing.SOFT, linewidth=1.2, linestyle=(0, (2, 2)))
        if found is not None:
            colour, band = (drawing.INK, drawing.METAL) if found.finding is None else (_colour(found.finding),) * 2
            ends = [saddle + plan.saddle_factor * value for value in (found.low, found.high)]
            area([*ends, *reversed(ends)], [y - half, y - half, y + half, y + half], facecolor=band, alpha=0.35, linewidth=0)
            path([reach, reach], [y - half, y + half], color=colour, linewidth=3.5 if found.finding else 2.0)
    for fret, found in plan.frets.items():
        _fret(path, area, plan, fret, found)
    if plan.nut is not None:
        _fret(path, area, plan, 0, plan.nut)
    shift = plan.factor * plan.nut.value if plan.nut is not None and plan.nut.finding is not None else 0.0
    edge = [plan.nut_edge(number) + shift for number in strings]
    path([edge[0], *edge, edge[-1]], [1.0, *map(plan.across, strings), 0.0], color=drawing.INK, linewidth=5.0)


def _fret(path: Any, area: Any, plan: NeckPlan, fret: int, found: Displacement) -> None:
    (first, top), (last, bottom) = plan.ends(fret)
    place_of = plan.along if fret > 0 else lambda _, string: plan.nut_edge(string)
    design = (place_of(fret, first), place_of(fret, last))
    path(list(design), [top, bottom], color=drawing.SOFT, linewidth=0.8, linestyle=(0, (3, 3)))
    named = found.finding or found.tilt_finding
    tilts = [found.tilt * plan.factor * plan.side(n) for n in (first, last)]
    low, high = ([place + plan.factor * value for place in design] for value in (found.low, found.high))
    if fret > 0 or named is not None:
        colour = drawing.METAL if named is None else _fret_colour(found)
        area([low[0], high[0], high[1], low[1]], [top, top, bottom, bottom], facecolor=colour, alpha=0.35, linewidth=0)
    if fret == 0:
        return
    place = [one + plan.factor * found.value + tilt for one, tilt in zip(design, tilts, strict=True)]
    colour = drawing.INK if named is None else _fret_colour(found)
    path(place, [top, bottom], color=colour, linewidth=1.6 if named is None else 4.0)
    if found.finding is not None:
        _arrow(path, area, start=(design[0] + design[1]) / 2.0, end=(place[0] + place[1]) / 2.0, colour=colour)


def _arrow(path: Any, area: Any, *, start: float, end: float, colour: str) -> None:
    """From where a fret should be to where it is, between the two middle strings."""
    head = min(4.0, 0.7 * abs(end - start)) * (1.0 if end > start else -1.0)
    tip = end - head * 0.3
    path([start, tip - 0.5 * head], [0.5, 0.5], color=colour, linewidth=2.0)
    area([tip, tip - head, tip - head], [0.5, 0.55, 0.45], facecolor=colour, linewidth=0)


def _fret_colour(found: Displacement) -> str:
    if found.finding is None and found.tilt_finding is not None:
        return _colour(found.tilt_finding)
    return drawing.SHARP if found.value > 0 else drawing.FLAT


def _board_end(plan: NeckPlan) -> float:
    """Where the chart ends and its legend may begin."""
    return _midpoint(plan, plan.neck.frets) + 18.0


def _chart(figure: Any, plan: NeckPlan, *, low: float, high: float, height: float, beside: bool) -> None:
    """Each fret's displacement in mm with its 90 % interval, below the drawing and in line with it; legend beside or below."""
    axes = figure.add_axes((0.0, (10.0 + (0.0 if beside else 2.0 * LEGEND_LINE)) / height, 1.0, (CHART - 4.0) / height))
    axes.set_xlim(low, high)
    axes.axis("off")
    last = _board_end(plan) - 10.0
    size = max(one.practical_size for one in plan.frets.values())
    reach = 1.12 * max(size * 1.5, *(max(abs(one.low), abs(one.high)) for one in plan.frets.values()))
    axes.set_ylim(-reach, reach)
    drawing.area(axes, [0.0, last, last, 0.0], [-size, -size, size, size], facecolor=drawing.WITHIN_TINT, linewidth=0)
    drawing.line(axes, [0.0, last], [0.0, 0.0], color=drawing.SOFT, linewidth=0.8)
    step = next(one for one in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 50.0) if reach / one < 4.0)
    for count in range(-3, 4):
        tick = count * step
        if abs(tick) <= reach:
            axes.text(-4.0, tick, f"{tick:+.1f}".replace("-", "−") if count else "0", ha="right", va="center", fontsize=11.0)
            drawing.line(axes, [-2.0, 0.0], [tick, tick], color=drawing.SOFT, linewidth=0.8)
    for fret, one in plan.frets.items():
        x, named = _midpoint(plan, fret), one.finding
        colour = drawing.INK if named is None else _fret_colour(one)
        drawing.line(axes, [x, x], [one.low, one.high], color=colour, linewidth=1.4 if named is None else 3.0)
        drawing.line(axes,
            [x], [one.value], marker="o", markersize=5.0 if named is None else 8.0, color=colour,
            markerfacecolor=drawing.PAPER if named is None else colour,
        )  # fmt: skip
    words = (
        (0.86, "▲ mm nearer the bridge: notes sharp", drawing.SHARP),
        (-0.86, "▼ mm nearer the nut: notes flat", drawing.FLAT),
        (0.28, "bar: 90 % interval of the fret", drawing.INK),
        (0.0, f"band: ±{size:g} mm, not worth moving", drawing.WITHIN),
    )
    for number, (y, text, colour) in enumerate(words):
        if beside:
            axes.text(_board_end(plan), y * reach, text, ha="left", va="center", fontsize=11.0, color=colour)
        else:
            left, line = 0.04 + 0.36 * (number // 2), 1.5 - number % 2
            figure.text(left, line * LEGEND_LINE / height, text, ha="left", va="center", fontsize=11.0, color=colour)
