"""Colours: contrast of every pair that carries text, light and dark, by the formula of WCAG 2 (relative luminance; MEMORY)."""

from __future__ import annotations

import re
from importlib.resources import files

import pytest

CSS = files("fretcheck.report.pages").joinpath("templates/style.css").read_text(encoding="utf-8")
PAIRS = [
    *((text, "paper") for text in ("ink", "soft", "sharp", "flat", "within", "unsure")),
    *((text, "panel") for text in ("ink", "soft")),
    *((kind, f"{kind}-tint") for kind in ("sharp", "flat", "within", "unsure")),
    *(("on-badge", kind) for kind in ("sharp", "within", "unsure")),
]


def palette(scheme: str) -> dict[str, str]:
    """Variables of the light scheme, or of the dark one."""
    blocks = re.findall(r":root \{([^}]*)\}", CSS)
    assert len(blocks) == 2
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", blocks[["light", "dark"].index(scheme)]))


def luminance(colour: str) -> float:
    channels = [int(colour[start : start + 2], 16) / 255 for start in (1, 3, 5)]
    linear = [one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(first: str, second: str) -> float:
    lighter, darker = sorted((luminance(first), luminance(second)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_formula_gives_the_known_ends() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)  # the lightest grey that passes on white


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("text", "ground"), PAIRS)
def test_text_can_be_read(scheme: str, text: str, ground: str) -> None:
    colours = palette(scheme)
    assert contrast(colours[text], colours[ground]) >= 4.5


def test_both_schemes_name_the_same_colours() -> None:
    assert palette("light").keys() == palette("dark").keys()
