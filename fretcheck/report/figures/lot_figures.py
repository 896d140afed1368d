"""Figures of the lots' pages: a plan's chance of accepting, a template's errors fret by fret, and drift charts.

Conventions: mm are positive toward the bridge, which is upward here. Bars are the intervals of the result shown.
"""

from collections.abc import Sequence

from markupsafe import Markup

from fretcheck.lots.charts.charts import Chart
from fretcheck.lots.template.template_errors import FretError, TemplateResult
from fretcheck.report.figures import drawing

WIDTH, HEIGHT = 480.0, 260.0


def acceptance_figure(curve: Sequence[tuple[int, float]], *, marked: Sequence[int]) -> Markup:
    """Chance of accepting by number of bad necks in the lot; `marked` numbers are said in the description."""
    shown = [(bad, chance) for bad, chance in curve if chance > 0.002 or bad <= 1]
    with drawing.style():
        figure = drawing.new_figure(WIDTH, HEIGHT)
        axes = figure.add_axes((0.10, 0.18, 0.87, 0.72))
        axes.set_ylim(0, 103)
        axes.set_xlim(-0.4, shown[-1][0] + 0.6)
        axes.grid(axis="y")
        places, heights = [bad for bad, _ in shown], [100 * chance for _, chance in shown]
        drawing.line(axes, places, heights, color=drawing.SOFT, linewidth=1.2)
        drawing.line(axes, places, heights, color=drawing.FLAT, linewidth=0, marker="o", markersize=5)
        axes.set_xlabel("bad necks in the lot")
        axes.set_title("the lot is accepted, % of the time", loc="left", color=drawing.SOFT)
        axes.xaxis.get_major_locator().set_params(integer=True)
        chances = dict(curve)
        words = "; ".join(f"with {bad} bad {100 * chances[bad]:.0f} %" for bad in marked if bad in chances)
        words = f"Falls with the number of bad necks: {words}."
        return drawing.as_svg(figure, name="acceptance", title="Chance of accepting the lot", description=words)


def template_figure(result: TemplateResult, *, tolerance_mm: float) -> Markup:
    """Errors of the template fret by fret with their intervals, over the band of the tolerance."""
    reach = 1.1 * max([tolerance_mm, *(abs(end) for fret in result.frets for end in fret.interval)])
    with drawing.style():
        figure = drawing.new_figure(WIDTH, HEIGHT)
        axes = figure.add_axes((0.12, 0.17, 0.86, 0.73))
        axes.set_ylim(-reach, reach)
        axes.set_xlim(result.frets[0].fret - 0.7, result.frets[-1].fret + 0.7)
        axes.axhspan(-tolerance_mm, tolerance_mm, color=drawing.WITHIN_TINT, linewidth=0)
        axes.axhline(0.0, color=drawing.SOFT, linewidth=0.8)
        for fret in result.frets:
            colour, marker = _look(fret)
            drawing.line(axes, [fret.fret, fret.fret], list(fret.interval), color=colour, linewidth=2.0)
            drawing.line(axes, [fret.fret], [fret.error_mm], color=colour, linewidth=0, marker=marker, markersize=7)
        axes.set_xlabel("fret")
        axes.xaxis.get_major_locator().set_params(integer=True)
        axes.set_title("mm, + toward the bridge", loc="left", color=drawing.SOFT)
        name, title = f"template-{result.quantity}", f"Template errors, {result.quantity}"
        return drawing.as_svg(figure, name=name, title=title, description=_description(result))


def _description(result: TemplateResult) -> str:
    largest = max(result.frets, key=lambda fret: abs(fret.error_mm))
    low, high = largest.interval
    text = f"The largest error is {largest.error_mm:+.2f} mm at fret {largest.fret}, interval {low:+.2f} to {high:+.2f} mm. "
    blamed = [str(fret.fret) for fret in result.frets if fret.blamed]
    return text + (f"To correct: fret {', '.join(blamed)}." if blamed else "No fret stands out.")


def chart_figure(chart: Chart, *, name: str, labels: Sequence[str], since: str | None = None) -> Markup:
    """One control chart: line, centre, limits, signals as filled triangles; points are numbered, their names are in the table.

    `since`: day of the correction that it starts anew from, marked by a line before the first point.
    """
    offset = 1 if chart.kind == "moving range" else 0
    places = [i + 1 + offset for i in range(len(chart.line))]
    with drawing.style():
        figure = drawing.new_figure(360.0, 210.0)
        axes = figure.add_axes((0.16, 0.19, 0.81, 0.68))
        axes.set_xlim(0.5, len(labels) + 0.5)
        axes.set_ylim(*_reach(chart))
        axes.axhline(chart.centre if chart.kind != "CUSUM" else 0.0, color=drawing.SOFT, linewidth=0.8)
        ends = [0.5, len(labels) + 0.5]
        for limit in _limits(chart):
            drawing.line(axes, ends, [limit, limit], color=drawing.SHARP, linewidth=1.2, linestyle=(0, (5, 3)))
        drawing.line(axes, places, list(chart.line), color=drawing.INK, linewidth=1.3, marker="o", markersize=3.5)
        if chart.lower_line is not None:
            below = [-value for value in chart.lower_line]
            drawing.line(axes, places, below, color=drawing.FLAT, linewidth=1.3, marker="o", markersize=3.5)
        for index in chart.signals:
            drawing.line(axes, [index + 1], [_height(chart, index)], color=drawing.SHARP, linewidth=0, marker="^", markersize=9)
        anew = "" if since is None else f"started anew: corrected {since}"
        if anew:
            drawing.line(axes, [0.6, 0.6], list(axes.get_ylim()), color=drawing.FLAT, linewidth=2.5)
        axes.xaxis.get_major_locator().set_params(integer=True)
        axes.set_xlabel(f"point ({anew})" if anew else "point")
        axes.set_title(f"{chart.kind}, mm", loc="left", color=drawing.SOFT)
        seen = f"signals at points {', '.join(str(i + 1) for i in chart.signals)}" if chart.signals else "no signal"
        words = f"{len(labels)} points, upper limit {chart.upper:.3f} mm, {seen}{anew and f', {anew}'}."
        return drawing.as_svg(figure, name=name, title=f"Chart: {chart.kind}", description=words)


def _reach(chart: Chart) -> tuple[float, float]:
    """Ends of the axis: all points and limits, with a little room."""
    below = [] if chart.lower_line is None else [-value for value in chart.lower_line]
    heights = [*chart.line, *below, *_limits(chart), chart.centre if chart.kind != "CUSUM" else 0.0]
    room = 0.08 * (max(heights) - min(heights))
    return min(heights) - room, max(heights) + room


def _limits(chart: Chart) -> list[float]:
    if chart.kind == "CUSUM":
        return [chart.upper, -chart.upper]
    return [limit for limit in (chart.lower, chart.upper) if limit is not None]


def _height(chart: Chart, index: int) -> float:
    """Where a signal is marked: on the line that gave it."""
    if chart.kind == "moving range":
        return chart.line[index - 1]
    if chart.lower_line is not None and chart.lower_line[index] > chart.line[index]:
        return -chart.lower_line[index]
    return chart.line[index]


def _look(fret: FretError) -> tuple[str, str]:
    """Colour and marker: triangles to be corrected, up toward the bridge, round ones stay."""
    if not fret.blamed:
        return drawing.WITHIN, "o"
    return (drawing.SHARP, "^") if fret.error_mm > 0 else (drawing.FLAT, "v")
