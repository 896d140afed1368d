"""What was heard of one string, what a perfect neck would give, and what stays unexplained, along its frets.

Conventions: Cents, positive is sharp; the open note left out (it is tuned, not made). Bars are 90 % intervals of the heard
deviation. Above: heard and expected; below, on the same scale: what neither the design nor the findings explain.
"""

from collections.abc import Sequence

from markupsafe import Markup

from fretcheck.inspection.document import FretPart
from fretcheck.report.figures import drawing
from fretcheck.report.figures.panel import Panel, canvas

WIDTH, HEIGHT = 360.0, 262.0
Z90 = 1.6449  # Normal quantile: ±Z90·u holds 90 %


def string_figure(
    heard: Sequence[FretPart], *, string: int, note: str, frets: int, limit_cents: float, reach_cents: float
) -> Markup:
    """Curves of one string.

    `heard`: its fretted notes that were heard. `note`: its open note, as the package writes notes. `reach_cents`: end of the
    scale, the same for all strings so that they can be compared.
    """
    half = max(limit_cents * 1.3, *(1.15 * cents for cents, _ in _unexplained(heard)))
    with drawing.style():
        figure = drawing.new_figure(WIDTH, HEIGHT)
        axes = canvas(figure, width=WIDTH, height=HEIGHT)
        places = {"axes": axes, "left": 42.0, "right": WIDTH - 4.0, "frets": (0.3, frets + 0.7)}
        upper = Panel(**places, bottom=106.0, top=HEIGHT - 22.0, reach_cents=reach_cents)
        lower = Panel(**places, bottom=36.0, top=88.0, reach_cents=half)
        for panel in (upper, lower):
            panel.tolerance(limit_cents)
        upper.scale_of_cents()
        lower.scale_of_cents(most=1)
        lower.scale_of_frets()
        upper.heading(f"String {string}  {note}")
        axes.text(lower.left + 3.0, lower.top + 2.0, "unexplained", fontsize=11.0, color=drawing.SOFT)
        _curves(upper, lower, heard)
        words = _description(heard, limit_cents)
        return drawing.as_svg(figure, name=f"string-{string}", title=f"String {string}, {note}", description=words)


def _description(heard: Sequence[FretPart], limit_cents: float) -> str:
    sharpest, flattest = max(heard, key=_cents), min(heard, key=_cents)
    outside = [one.fret for one in heard if one.decision == "fail"]
    text = (
        f"Heard: from {_cents(flattest):+.1f} cents at fret {flattest.fret} to {_cents(sharpest):+.1f} cents at fret "
        f"{sharpest.fret}, against a tolerance of ±{limit_cents:g} cents. "
    )
    text += f"Out of tolerance at fret {', '.join(map(str, outside))}. " if outside else "No note is surely out of tolerance. "
    if unexplained := _unexplained(heard):
        most, fret = max(unexplained, key=lambda one: one[0])
        text += f"At most {most:.1f} cents stay unexplained, at fret {fret}."
    return text


def _unexplained(heard: Sequence[FretPart]) -> list[tuple[float, int]]:
    """Size of what stays unexplained, with its fret, where it is known."""
    return [(abs(one.unexplained_cents), one.fret) for one in heard if one.unexplained_cents is not None]


def _curves(upper: Panel, lower: Panel, heard: Sequence[FretPart]) -> None:
    expected = [(one.fret, one.expected_cents) for one in heard if one.expected_cents is not None]
    upper.line([fret for fret, _ in expected], [cents for _, cents in expected], color=drawing.SOFT, linestyle=(0, (4, 2)))
    upper.line([one.fret for one in heard], [_cents(one) for one in heard], color=drawing.LINE, linewidth=1.2)
    for colour, marker in dict.fromkeys(_look(one) for one in heard):
        alike = [one for one in heard if _look(one) == (colour, marker)]
        known = [(one, Z90 * one.u_cents) for one in alike if one.u_cents is not None]
        upper.bars([(one.fret, _cents(one) - half, _cents(one) + half) for one, half in known], color=colour, linewidth=1.4)
        places, values = [one.fret for one in alike], [_cents(one) for one in alike]
        upper.line(places, values, color=colour, marker=marker, markersize=5.5, linestyle="none")
    unexplained = [(one.fret, 0.0, one.unexplained_cents) for one in heard if one.unexplained_cents is not None]
    lower.bars(unexplained, color=drawing.INK, linewidth=3.0)


def _look(one: FretPart) -> tuple[str, str]:
    """Colour and marker: triangles up are sharp, down flat, round within."""
    if one.decision in (None, "pass"):
        return drawing.WITHIN, "o"
    if one.decision == "undecided":
        return drawing.UNSURE, "D"
    return (drawing.SHARP, "^") if _cents(one) > 0 else (drawing.FLAT, "v")


def _cents(one: FretPart) -> float:
    return 0.0 if one.deviation_cents is None else one.deviation_cents
