"""What was heard of one string, what a perfect neck would give, and what stays unexplained, along its frets.

Conventions
-----------
Cents, positive is sharp; the open note left out (it is tuned, not made). Bars are 90 % intervals of the heard deviation. Above:
heard and expected; below, on the same scale: what neither the design nor the findings explain.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fretcheck.report import drawing

if TYPE_CHECKING:
    from collections.abc import Sequence

    from markupsafe import Markup

    from fretcheck.register.document import FretPart

WIDTH, HEIGHT = 360.0, 262.0
Z90 = 1.6449
"""Normal quantile: ±Z90·u holds 90 %."""


def string_figure(
    notes: Sequence[FretPart], *, string: int, note: str, frets: int, limit_cents: float, reach_cents: float
) -> Markup:
    """Curves of one string.

    Parameters
    ----------
    notes : sequence of FretPart
        Those of this string.
    note : str
        Its open note, as the package writes notes.
    reach_cents : float
        End of the scale, the same for all strings so that they can be compared.
    """
    heard = [one for one in notes if one.fret > 0 and one.deviation_cents is not None]
    with drawing.style():
        figure = drawing.new_figure(WIDTH, HEIGHT)
        upper = figure.add_axes((0.115, 0.40, 0.875, 0.52))
        lower = figure.add_axes((0.115, 0.145, 0.875, 0.19), sharex=upper)
        for axes in (upper, lower):
            axes.set_xlim(0.3, frets + 0.7)
            axes.axhspan(-limit_cents, limit_cents, color=drawing.WITHIN_TINT, linewidth=0)
            axes.axhline(0.0, color=drawing.SOFT, linewidth=0.8)
            axes.spines["bottom"].set_visible(False)
        upper.set_ylim(-reach_cents, reach_cents)
        half = max(limit_cents * 1.3, 1.15 * max((abs(one.unexplained_cents or 0.0) for one in heard), default=0.0))
        lower.set_ylim(-half, half)
        upper.tick_params(labelbottom=False, bottom=False)
        lower.set_xticks(_ticks(frets))
        upper.text(0.0, 1.06, f"String {string}  {note}", transform=upper.transAxes, fontsize=13.0, fontweight="bold")
        upper.text(1.0, 1.06, "cents, + sharp", transform=upper.transAxes, ha="right", fontsize=11.0, color=drawing.SOFT)
        figure.text(0.99, 0.012, "fret", ha="right", fontsize=11.0, color=drawing.SOFT)
        lower.text(0.01, 1.02, "unexplained", transform=lower.transAxes, fontsize=11.0, color=drawing.SOFT)
        _curves(upper, lower, heard)
        return drawing.as_svg(
            figure, name=f"string-{string}", title=f"String {string}, {note}", description=description(heard, limit_cents)
        )


def description(heard: Sequence[FretPart], limit_cents: float) -> str:
    """What the curves show, in words."""
    if not heard:
        return "No fretted note of this string was heard."
    sharpest = max(heard, key=_cents)
    flattest = min(heard, key=_cents)
    outside = [one.fret for one in heard if one.decision == "fail"]
    text = (
        f"Heard: from {_cents(flattest):+.1f} cents at fret {flattest.fret} to {_cents(sharpest):+.1f} cents at fret "
        f"{sharpest.fret}, against a tolerance of ±{limit_cents:g} cents. "
    )
    text += f"Out of tolerance at fret {', '.join(map(str, outside))}. " if outside else "No note is surely out of tolerance. "
    unexplained = [one for one in heard if one.unexplained_cents is not None]
    if unexplained:
        worst = max(unexplained, key=lambda one: abs(one.unexplained_cents or 0.0))
        text += f"At most {abs(worst.unexplained_cents or 0.0):.1f} cents stay unexplained, at fret {worst.fret}."
    return text


def _curves(upper: Any, lower: Any, heard: Sequence[FretPart]) -> None:
    expected = [(one.fret, one.expected_cents) for one in heard if one.expected_cents is not None]
    drawing.line(upper, *_columns(expected), color=drawing.SOFT, linewidth=1.6, linestyle=(0, (4, 2)))
    drawing.line(upper, *_columns([(one.fret, _cents(one)) for one in heard]), color=drawing.LINE, linewidth=1.2)
    for one in heard:
        colour, marker = _look(one)
        if one.u_cents is not None:
            low, high = _cents(one) - Z90 * one.u_cents, _cents(one) + Z90 * one.u_cents
            drawing.line(upper, [one.fret, one.fret], [low, high], color=colour, linewidth=1.4)
        drawing.line(upper, [one.fret], [_cents(one)], marker=marker, color=colour, markersize=5.5)
        if one.unexplained_cents is not None:
            drawing.line(lower, [one.fret, one.fret], [0.0, one.unexplained_cents], color=drawing.INK, linewidth=3.0)


def _look(one: FretPart) -> tuple[str, str]:
    """Colour and marker: triangles up are sharp, down flat, round within."""
    if one.decision in (None, "pass"):
        return drawing.WITHIN, "o"
    if one.decision == "undecided":
        return drawing.UNSURE, "D"
    return (drawing.SHARP, "^") if _cents(one) > 0 else (drawing.FLAT, "v")


def _columns(points: Sequence[tuple[int, float]]) -> tuple[list[int], list[float]]:
    return [fret for fret, _ in points], [value for _, value in points]


def _ticks(frets: int) -> list[int]:
    return [fret for fret in (1, 3, 5, 7, 9, 12, 15, 17, 19, 21, 24, 27, 30, 33, 36) if fret <= frets]


def _cents(one: FretPart) -> float:
    return 0.0 if one.deviation_cents is None else one.deviation_cents
