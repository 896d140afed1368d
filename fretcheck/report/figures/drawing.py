"""Figures: drawn by matplotlib, set into a page as inline SVG that follows the page's colours.

Conventions: a figure is measured in px of the page at its natural size (1 px = 1/72 in of matplotlib). Colours are the style
sheet's variables: the constants here are stand-ins that `as_svg` replaces by ``var(--…)``. Text stays text, in the page's own
font, so that it can be read aloud, searched and printed sharp; it must be this package's own words, never a user's. The same
figure gives the same bytes every time.
"""

from __future__ import annotations

import io
import re
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Sequence

    from markupsafe import Markup

_NAMES = (
    "ink", "soft", "line", "paper", "board", "sharp", "flat", "within", "unsure",
    "sharp-tint", "flat-tint", "within-tint", "metal",
)  # fmt: skip
_VARIABLES = {f"#0101{number:02x}": name for number, name in enumerate(_NAMES)}
INK, SOFT, LINE, PAPER, BOARD, SHARP, FLAT, WITHIN, UNSURE, SHARP_TINT, FLAT_TINT, WITHIN_TINT, METAL = _VARIABLES

_STYLE: Any = {
    "svg.fonttype": "none",
    "svg.hashsalt": "fretcheck",
    "text.parse_math": False,
    **dict.fromkeys(("font.size", "axes.titlesize", "axes.labelsize"), 12.0),
    **dict.fromkeys(("xtick.labelsize", "ytick.labelsize", "legend.fontsize"), 11.0),
    **dict.fromkeys(("text.color", "axes.labelcolor", "axes.titlecolor", "xtick.labelcolor", "ytick.labelcolor"), INK),
    **dict.fromkeys(("lines.color", "patch.edgecolor"), INK),
    **dict.fromkeys(("axes.edgecolor", "xtick.color", "ytick.color"), SOFT),
    "grid.color": LINE,
    **dict.fromkeys(("axes.linewidth", "grid.linewidth"), 0.8),
    "lines.linewidth": 1.6,
    **dict.fromkeys(("axes.spines.top", "axes.spines.right", "legend.frameon"), False),
    **dict.fromkeys(("figure.facecolor", "axes.facecolor", "savefig.facecolor"), "none"),
    "axes.unicode_minus": True,
}


def style() -> Any:
    """Context in which figures are drawn: ``with style(): figure = new_figure(…); …; svg = as_svg(…)``."""
    import matplotlib

    return matplotlib.rc_context(_STYLE)


def new_figure(width_px: float, height_px: float) -> Any:
    """An empty figure of a natural size in px."""
    from matplotlib.figure import Figure

    return Figure(figsize=(width_px / 72.0, height_px / 72.0), dpi=72)


def line(axes: Any, x: Sequence[float], y: Sequence[float], **how: Any) -> None:
    """A line within limits that are set already; much quicker than ``axes.plot``, which looks at the limits anew each time."""
    from matplotlib.lines import Line2D

    axes.add_artist(Line2D(x, y, **how))


def area(axes: Any, x: Sequence[float], y: Sequence[float], **how: Any) -> None:
    """A filled polygon within limits that are set already."""
    from matplotlib.patches import Polygon

    axes.add_artist(Polygon(list(zip(x, y, strict=True)), closed=True, **how))


def as_svg(figure: Any, *, name: str, title: str, description: str) -> Markup:
    """The figure as inline SVG.

    `figure`: drawn and saved within `style`. `name`: letters, digits and hyphens, its own within the page: ids within the
    figure begin with it. `title`, `description`: what it is and what it shows, for those who do not see it; escaped here.
    """
    from markupsafe import Markup, escape

    if not re.fullmatch(r"[a-z][a-z0-9-]*", name):
        raise ValueError(f"figure name {name!r}: lower-case letters, digits and hyphens only")
    stream = io.StringIO()
    figure.savefig(stream, format="svg", metadata={"Date": None})
    svg = stream.getvalue()
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.DOTALL)
    svg = re.sub(r"<defs>\s*<style.*?</style>\s*</defs>", "", svg, flags=re.DOTALL)
    svg = re.sub(r"<!--.*?-->", "", svg, flags=re.DOTALL)
    svg = svg.replace("xlink:href", "href")
    svg = re.sub(r" ?font-family: [^;\"]*;", "", svg)  # the page's own
    svg = re.sub(r'\bid="([^"]+)"', rf'id="{name}-\1"', svg)
    svg = re.sub(r'(href="|url\()#', rf"\1#{name}-", svg)
    for stand_in, variable in _VARIABLES.items():
        svg = svg.replace(stand_in, f"var(--{variable})")
    view = re.search(r'viewBox="([^"]+)"', svg)
    assert view is not None
    opening = (
        f'<svg viewBox="{view[1]}" role="img" aria-labelledby="{name}-title {name}-description">'
        f'<title id="{name}-title">{escape(title)}</title><desc id="{name}-description">{escape(description)}</desc>'
    )
    svg = re.sub(r"\n\s*", "\n", re.sub(r"^<svg[^>]*>", lambda _: opening, svg))
    return Markup(svg)  # the package's own drawing; title and description are escaped above
