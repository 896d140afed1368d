"""A finding in few words: for a headline, and for a label in a drawing.

The diagnosis writes whole sentences with their uncertainty; these are their short forms, for places where a glance must do.

Conventions: signs are those of the neck's axis: positive sits nearer the bridge, or is too high. Sizes in mm are rounded to
0.01, from 1 mm on to 0.1.
"""

import re
from collections.abc import Sequence

from fretcheck.diagnosis.result import Finding


def clause(finding: Finding) -> str:
    """What is out, how much and which way, to stand within a sentence: ``fret 7 sits 0.42 mm too near the bridge``."""
    size, up = size_of(finding), finding.positive
    fret, string = finding.fret, finding.string
    match finding.cause:
        case "fret_position":
            return f"fret {fret} sits {size} too near the {'bridge' if up else 'nut'}"
        case "fret_tilt":
            return f"fret {fret} is tilted by {size}, nearer the {'bridge' if up else 'nut'} under string 1"
        case "nut_position" if string is not None:
            return f"the nut is out by {size} at string {string}, too {'near' if up else 'far from'} the bridge"
        case "nut_position":
            return f"the nut sits {size} too {'near' if up else 'far from'} the bridge"
        case "nut_height":
            what = "the nut" if string is None else f"the nut slot of string {string}"
            return f"{what} is {size} too {'high' if up else 'low'}"
        case "saddle_position":
            what = "the bridge" if string is None else f"the saddle of string {string}"
            return f"{what} sits {size} too {'far from' if up else 'near'} the nut"
        case "fret_wear":
            return f"the crowns of the low frets are worn to one side by up to {size}"
        case "saddle_slant":
            return f"the saddle slants wrongly by {size}, too {'far from' if up else 'near'} the nut under string 1"
        case "scale_length":
            return f"the frets stand for a scale {size} {'longer' if up else 'shorter'} than designed"
        case "layout_rule":
            return _first_clause(finding.text) or "the frets were laid out by a wrong rule"
        case "string":
            return f"string {string} is false"
        case "tuning_drift":
            return f"string {string} drifted out of tune while it was read"
        case "finger_pressure":
            return f"the finger pressed too {'hard' if up else 'lightly'}"
        case other:
            return other.replace("_", " ")


def _first_clause(text: str) -> str:
    """A sentence up to its first stop, to stand within another."""
    first = re.split(r"[:;,.](?=\s|$)", text, maxsplit=1)[0].strip()
    return first[:1].lower() + first[1:]


def label(finding: Finding) -> str:
    """The same for a label: ``Fret 7: 0.42 mm too near the bridge``."""
    text = clause(finding)
    for subject in (f"fret {finding.fret}", f"the saddle of string {finding.string}", f"the nut slot of string {finding.string}"):
        text = text.replace(f"{subject} sits ", f"{subject}: ").replace(f"{subject} is ", f"{subject}: ")
    for subject in ("the nut", "the bridge"):
        text = text.replace(f"{subject} sits ", f"{subject}: ").replace(f"{subject} is ", f"{subject}: ", 1)
    text = text.removeprefix("the ")
    return text[:1].upper() + text[1:]


def where_heard(finding: Finding) -> str:
    """The notes that show it most: ``fret 7 of strings 1, 2, 4``, or ``string 3 at frets 15, 16, 17``; empty for none."""
    notes = finding.shown_by
    strings, frets = sorted({string for string, _ in notes}), sorted({fret for _, fret in notes})
    if not notes:
        return ""
    if len(frets) == 1:
        return f"fret {frets[0]} of {_numbered('string', strings)}"
    by_string = [(string, sorted(fret for other, fret in notes if other == string)) for string in strings]
    return "; ".join(f"string {string} at {_numbered('fret', own)}" for string, own in by_string)


def _numbered(what: str, numbers: Sequence[int]) -> str:
    return f"{what}{'s' if len(numbers) > 1 else ''} {', '.join(map(str, numbers))}"


def size_of(finding: Finding) -> str:
    """Its size without sign."""
    if finding.value_mm is not None:
        return millimetres(finding.value_mm)
    return "of unknown size" if finding.value is None else f"{abs(finding.value):.1f} cents"


def millimetres(value: float) -> str:
    """``0.42 mm``, ``2.2 mm``: without sign."""
    return f"{abs(value):.2f} mm" if abs(value) < 1.0 else f"{abs(value):.1f} mm"


def sentence_of(clauses: Sequence[str]) -> str:
    """Clauses as one sentence; empty for none."""
    if not clauses:
        return ""
    text = clauses[0] if len(clauses) == 1 else ", ".join(clauses[:-1]) + " and " + clauses[-1]
    return f"{text[:1].upper()}{text[1:]}."
