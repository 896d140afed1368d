"""The diagnosis in the trade's words: which way, how much, how sure.

Conventions: values are rounded by their uncertainty: two digits of u, no finer than 0.01. A sentence says the value once, with
"±" its standard uncertainty.
"""

from collections import defaultdict
from collections.abc import Collection, Sequence

from fretcheck.diagnosis.result import CauseEstimate
from fretcheck.neck.description import Neck


def amount(value: float, u: float, unit: str) -> str:
    """``0.31 mm (±0.06 mm)``, without sign."""
    digits = 2 if unit == "mm" and u < 1.0 else 1
    word = unit if unit == "mm" else "cents"
    return f"{abs(value):.{digits}f} {word} (±{u:.{digits}f} {word})"


def sure(probability: float) -> str:
    """How sure, as the beginning of a sentence."""
    if probability >= 0.8:
        return f"Very probably ({100.0 * probability:.0f} %)"
    return (
        f"Probably ({100.0 * probability:.0f} %)"
        if probability >= 0.6
        else f"Worth checking by hand ({100.0 * probability:.0f} %)"
    )


def name(estimate: CauseEstimate, *, kind: str) -> str:
    """The part, within a sentence: ``the nut's place``."""
    string = f"string {estimate.string}"
    names = {
        "fret_position": f"the place of fret {estimate.fret}",
        "fret_tilt": f"the tilt of fret {estimate.fret}",
        "fret_wear": "wear of the crowns at the low frets",
        "nut_position": _NUTS.get(kind, "the nut's place").format(number=estimate.string),
        "nut_height": "the nut's height" if estimate.string is None else f"the nut slot of {string}",
        "saddle_position": "the bridge's place" if kind == "bridge" else f"the saddle of {string}",
        "saddle_slant": "a straight saddle" if kind == "saddle_straight" else "the slant of the saddle",
        "scale_length": "the scale length of the fretboard",
        "layout_rule": "the layout of the frets",
        "string": f"{string} itself",
        "tuning_drift": f"the tuning of {string} while it was read",
        "finger_pressure": "the finger's pressure",
    }
    return names[estimate.cause]


_NUTS = {"nut_skew": "the nut's skew", "own_nut": "the nut of the short string {number}"}


def statement(estimate: CauseEstimate, neck: Neck, *, kind: str) -> str:
    """One sentence that says what is out, which way and by how much."""
    value, size = estimate.value, amount(estimate.value, estimate.u, estimate.unit)
    fret, string = estimate.fret, estimate.string
    up = value > 0
    match estimate.cause:
        case "fret_position":
            return f"Fret {fret} sits {size} too near the {'bridge' if up else 'nut'}."
        case "fret_tilt":
            near, far = (1, len(neck.strings)) if up else (len(neck.strings), 1)
            return (
                f"Fret {fret} is tilted: under string {near} it sits {size} nearer the bridge than in the middle, "
                f"under string {far} as much nearer the nut."
            )
        case "nut_position":
            return _nut(estimate, size, last=len(neck.strings), kind=kind)
        case "nut_height":
            which = "The nut" if string is None else f"The nut slot of string {string}"
            beside = "all slots alike" if string is None else "beside the other slots"
            return f"{which} is {size} too {'high' if up else 'low'}, {beside}."
        case "fret_wear":
            return (
                f"The crowns of the low frets are worn: the string rests up to {size} nearer the {'bridge' if up else 'nut'} "
                "than their middle."
            )
        case "saddle_slant" if kind == "saddle_straight":
            return (
                "The saddle is straight where the description gives each string its own place: one string sits up to "
                f"{size} from there."
            )
        case "saddle_slant":
            far, near = (1, len(neck.strings)) if up else (len(neck.strings), 1)
            return (
                f"The saddle slants wrongly: at string {far} it sits {size} farther from the nut than in the middle, "
                f"at string {near} as much nearer."
            )
        case "saddle_position":
            which = "The bridge with all its saddles" if string is None else f"The saddle of string {string}"
            place = f"{which} sits {size} too {'far from' if up else 'near'} the nut"
            if string is not None and neck.string(string).saddle_setback_mm is None:
                way = "toward the nut" if up else "toward the bridge"
                return f"{place} for its octave to be in tune: move it {millimetres(value)} {way}."
            heard = f"{'strings sound' if string is None else 'string sounds'} {'flat' if up else 'sharp'}"
            return f"{place}: the {heard} up the neck."
        case "scale_length":
            return (
                f"The frets stand for a scale {size} {'longer' if up else 'shorter'} than designed; "
                "by sound that is the same as a bridge out of place."
            )
        case "string":
            return (
                f"String {string} is false: at fret {fret} it alone is {size} {'sharp' if up else 'flat'}, "
                "and no fret, nut or saddle explains it."
            )
        case "tuning_drift":
            return (
                f"String {string} was {size} {'sharper' if up else 'flatter'} when its open note was taken than when it was "
                "fretted: tune it, let it settle, and read it again."
            )
        case "finger_pressure":
            return (
                f"The finger's pressure makes the notes {size} {'sharper' if up else 'flatter'} on average: "
                "press just enough for a clear note, and read again."
            )
        case _:
            return f"{name(estimate, kind=kind).capitalize()} is out by {size}."


def _nut(estimate: CauseEstimate, size: str, *, last: int, kind: str) -> str:
    up, string = estimate.value > 0, estimate.string
    if kind == "nut_skew":
        return (
            f"The nut is askew: at string {1 if up else last} it sits {size} nearer the bridge than in the middle, "
            "at the other edge as much farther from it."
        )
    what = "The nut" if string is None else f"The nut of the short string {string}"
    way, heard = ("too near the bridge", "flat") if up else ("too far from the bridge", "sharp")
    return f"{what} sits {size} {way}: every fretted note sounds {heard} against the open one."


def millimetres(value: float) -> str:
    """A length for a text, without sign; ``0.30 mm``."""
    return f"{abs(value):.2f} mm"


def listed_notes(places: Collection[tuple[int, int]]) -> str:
    """Notes by string, to stand within a sentence: ``string 3 frets 1, 2; string 5 open and fret 7``."""
    by_string: dict[int, list[int]] = defaultdict(list)
    for string, fret in sorted(places):
        by_string[string].append(fret)
    return "; ".join(f"string {string} {_frets(frets)}" for string, frets in by_string.items())


def _frets(frets: list[int]) -> str:
    stopped = [fret for fret in frets if fret > 0]
    many = [f"fret{'s' if len(stopped) > 1 else ''} {listed_numbers(stopped)}"] if stopped else []
    return " and ".join((["open"] if 0 in frets else []) + many)


def listed_numbers(numbers: Sequence[int]) -> str:
    """Numbers with runs drawn together.

    >>> listed_numbers([2, 4, 6, 7, 8, 11])
    '2, 4, 6 to 8, 11'
    """
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs)
