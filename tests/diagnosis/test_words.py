"""What a builder reads: which way and how much, for every cause."""

from __future__ import annotations

import pytest

from fretcheck.diagnosis.conclude.words import amount, name, statement, sure
from fretcheck.diagnosis.result import CauseEstimate
from tests.diagnosis.necks import steel_neck


def estimate(cause: str, value: float, *, fret: int | None = None, string: int | None = None, unit: str = "mm") -> CauseEstimate:
    return CauseEstimate(
        cause=cause,  # type: ignore[arg-type]
        fret=fret,
        string=string,
        value=value,
        u=0.06,
        interval_90=(value - 0.1, value + 0.1),
        probability=0.99,
        practical_size=0.1,
        unit=unit,  # type: ignore[arg-type]
    )


@pytest.mark.parametrize(
    ("kind", "one", "words"),
    [
        ("fret_position", estimate("fret_position", 0.31, fret=7), "Fret 7 sits 0.31 mm (±0.06 mm) too near the bridge."),
        ("fret_position", estimate("fret_position", -0.31, fret=7), "Fret 7 sits 0.31 mm (±0.06 mm) too near the nut."),
        ("fret_tilt", estimate("fret_tilt", 0.35, fret=9), "under string 1 it sits 0.35 mm (±0.06 mm) nearer the bridge"),
        ("fret_tilt", estimate("fret_tilt", -0.35, fret=9), "under string 6 it sits 0.35 mm (±0.06 mm) nearer the bridge"),
        (
            "nut_position",
            estimate("nut_position", 0.9),
            "too near the bridge: every fretted note sounds flat against the open one",
        ),
        ("nut_position", estimate("nut_position", -0.9), "too far from the bridge: every fretted note sounds sharp"),
        ("nut_skew", estimate("nut_position", -0.4, string=1), "askew: at string 6 it sits 0.40 mm (±0.06 mm) nearer the bridge"),
        ("own_nut", estimate("nut_position", 0.4, string=5), "The nut of the short string 5 sits 0.40 mm"),
        ("nut_height", estimate("nut_height", 0.4), "The nut is 0.40 mm (±0.06 mm) too high, all slots alike."),
        ("slot_height", estimate("nut_height", -0.2, string=2), "The nut slot of string 2 is 0.20 mm (±0.06 mm) too low"),
        ("saddle", estimate("saddle_position", 2.5, string=3), "string 3 sits 2.50 mm (±0.06 mm) too far from the nut"),
        ("bridge", estimate("saddle_position", -2.5), "too near the nut: the strings sound sharp up the neck"),
        ("saddle_straight", estimate("saddle_slant", 0.8), "straight where the description gives each string its own place"),
        ("wear", estimate("fret_wear", 0.4), "the string rests up to 0.40 mm (±0.06 mm) nearer the bridge"),
        ("saddle_slant", estimate("saddle_slant", 0.8), "at string 1 it sits 0.80 mm (±0.06 mm) farther from the nut"),
        ("scale_length", estimate("scale_length", 3.0), "scale 3.00 mm (±0.06 mm) longer than designed"),
        (
            "string",
            estimate("string", 9.0, fret=14, string=4, unit="cents"),
            "at fret 14 it alone is 9.0 cents (±0.1 cents) sharp",
        ),
        ("open_note", estimate("tuning_drift", -5.0, string=4, unit="cents"), "String 4 was 5.0 cents (±0.1 cents) flatter"),
        ("pressure", estimate("finger_pressure", 5.0, unit="cents"), "makes the notes 5.0 cents (±0.1 cents) sharper on average"),
    ],
)
def test_statement(kind: str, one: CauseEstimate, words: str) -> None:
    text = statement(one, steel_neck(), kind=kind)
    assert words in text
    assert text.endswith(".")
    assert name(one, kind=kind)


def test_amounts_are_rounded_by_their_uncertainty() -> None:
    assert amount(-0.3149, 0.0612, "mm") == "0.31 mm (±0.06 mm)"
    assert amount(12.34, 1.26, "mm") == "12.3 mm (±1.3 mm)"
    assert amount(3.14, 0.26, "cents") == "3.1 cents (±0.3 cents)"


def test_how_sure() -> None:
    assert sure(0.9) == "Very probably (90 %)"
    assert sure(0.7) == "Probably (70 %)"
    assert sure(0.45) == "Worth checking by hand (45 %)"
