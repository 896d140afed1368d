"""What was understood of a neck description, in a few lines or as data.

Conventions: tensions in N at the nominal pitch, rounded by their uncertainty; an unknown is null with its reason.
"""

from dataclasses import asdict
from typing import Any

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from fretcheck.diagnosis.model.as_designed import as_designed
from fretcheck.inspection.perfect_neck import doubt_about_tolerance, said_of_perfect, worst_as_designed
from fretcheck.neck.description import Measurement, Neck, String
from fretcheck.neck.heights import action_12, first_fret_clearance, nut_height, relief
from fretcheck.neck.physics import constants_of, doubts
from fretcheck.neck.writing import neck_to_mapping
from fretcheck.plain_text import plain_line
from fretcheck.report.tables.plain_table import plain_table

SCHEMA = "fretcheck/neck/1"
CONSTANTS = (
    "open_length_mm", "tension_n", "u_tension_n", "kappa", "u_kappa", "inharmonicity", "u_inharmonicity", "reason",
)  # fmt: skip
CARE = "Strings store energy: tune up slowly, face and eyes out of their line, and never beyond the note they are made for."


def neck_summary(neck: Neck) -> RenderableType:
    """The description in a few lines."""
    title = Text(plain_line(neck.name), style="bold")
    title.append(f"  ({plain_line(neck.serial)})" if neck.serial else "", style="dim")
    headings = (">string", "note", ">gauge\nmm", "made of", ">setback\nmm", ">pulls\nN")
    table = plain_table(*headings, no_wrap=True, header_style="table.header")
    constants = constants_of(neck)
    setbacks = as_designed(neck).setbacks_mm.tolist()
    for number, (string, one) in enumerate(zip(neck.strings, constants, strict=True), start=1):
        pull = f"{one.tension_n:.0f} ± {one.u_tension_n:.0f}"
        setback = f"{setbacks[number - 1]:.1f}" + ("*" if string.saddle_setback_mm is None else "")
        table.add_row(str(number), string.note, f"{string.gauge_mm:.3f}", _made_of(string, neck), setback, pull)
    total = sum(one.tension_n for one in constants)
    parts: list[RenderableType] = [
        title,
        Text(_in_words(neck)),
        table,
        *map(Text, _below_the_table(neck)),
        Text(f"Heights: {said_of_heights(neck)}"),
    ]
    parts += [Text(f"Measured: {_measured(measurement)}") for measurement in neck.measured]
    parts.append(Text(said_of_perfect(neck)))
    parts += [Padding(Text(f"- {doubt}"), (0, 0, 0, 1)) for doubt in _all_doubts(neck)]
    parts.append(Text(f"All strings together pull about {total:.0f} N. {CARE}"))
    return Group(*parts)


def _all_doubts(neck: Neck) -> list[str]:
    tolerance = doubt_about_tolerance(neck)
    return [*doubts(neck), *([] if tolerance is None else [tolerance])]


def _in_words(neck: Neck) -> str:
    lengths = sorted({string.scale_length_mm for string in neck.strings})
    scale = f"scale length {lengths[0]:g} mm"
    if len(lengths) > 1:
        scale = f"fanned frets, {lengths[0]:g} to {lengths[-1]:g} mm, fret {neck.square_fret or 0} square"
    courses = {string.course for string in neck.strings if string.course is not None}
    in_courses = f" in {len(courses)} courses" if courses else ""
    capo = min(string.first_fret for string in neck.strings)
    zero = f", open at fret {capo} (capo)" if capo else ", zero fret" if neck.zero_fret else ""
    frets = f"{neck.frets} frets" + _spacing(neck)
    limit = f"tolerance ±{neck.tolerance_cents:g} cents" + (f", ±{neck.tolerance_mm:g} mm" if neck.tolerance_mm else "")
    return f"{len(neck.strings)} strings{in_courses}, {frets}{zero}, {scale}, A4 = {neck.reference_hz:g} Hz, {limit}"


def _below_the_table(neck: Neck) -> list[str]:
    """Which side string 1 is on, what was assumed of the saddles, and a nut set forward."""
    first, last = neck.string(1).note, neck.strings[-1].note
    lines = [f"String 1 ({first}) is at the treble side, string {len(neck.strings)} ({last}) at the bass side."]
    if any(string.saddle_setback_mm is None for string in neck.strings):
        lines.append("* not described (saddle_setback_mm): where it puts the octave in tune with the open string.")
    forward = [string.nut_compensation_mm for string in neck.strings]
    if any(forward):
        low, high = min(forward), max(forward)
        span = f"{low:g}" if low == high else f"{low:g} to {high:g}"
        lines.append(f"The nut stands {span} mm nearer to the bridge than the line that slots are measured from.")
    return lines


def said_of_heights(neck: Neck) -> str:
    """How high the strings lie by this description, and what of that is assumed."""
    last = len(neck.strings)
    rows = (
        (f"over fret {neck.octave_fret}", "action_12_mm", [action_12(neck, number) for number in (1, last)]),
        ("over fret 1", "first_fret_clearance_mm", [first_fret_clearance(neck, number) for number in (1, last)]),
        ("relief", "relief_mm", [relief(neck)]),
    )
    words, assumed = [], []
    for name, key, heights in rows:
        both = " to ".join(dict.fromkeys(f"{height.mm:.2f}" for height in heights))
        words.append(f"{name} {both} ± {heights[0].u_mm:.2f} mm")
        if not heights[0].described:
            assumed.append(f"{name} ({key})")
    tail = f" Assumed, since not described: {', '.join(assumed)}." if assumed else ""
    return f"{', '.join(words)}.{tail}"


def _spacing(neck: Neck) -> str:
    """Where the frets stand, if not on the usual semitones."""
    partial = f", {len(neck.partial_frets)} of them not under all strings" if neck.partial_frets else ""
    if neck.fret_positions_mm is not None:
        return f" at given places{partial}"
    if neck.divisions_per_octave != 12:
        return f" of {neck.divisions_per_octave} equal steps to the octave{partial}"
    return ("" if neck.semitones else f" (octave at fret {neck.octave_fret})") + partial


def _made_of(string: String, neck: Neck) -> str:
    words = f"{string.construction} {string.material.replace('_', ' ')}"
    if string.core_mm is not None:
        words += f" on {string.core_mm:g} mm"
    return words + (f", from fret {string.first_fret}" if string.first_fret else "")


def _measured(measurement: Measurement) -> str:
    where = f" {measurement.fret}" if measurement.fret is not None else ""
    where += f", string {measurement.string}" if measurement.string is not None else ""
    day = f" ({measurement.date.isoformat()})" if measurement.date is not None else ""
    return f"{measurement.what}{where}: {measurement.mm:g} ± {measurement.u_mm:g} mm{day}"


def neck_document(neck: Neck) -> dict[str, Any]:
    """The description and what follows from it, as plain data for JSON."""
    return {
        "schema": SCHEMA,
        "neck": neck_to_mapping(neck),
        "strings": [
            {"string": number, "note": string.note, "open_hz": neck.open_hz(number)}
            | {key: getattr(one, key) for key in CONSTANTS}
            for number, (string, one) in enumerate(zip(neck.strings, constants_of(neck), strict=True), start=1)
        ],
        "heights": [
            {
                "string": number,
                "action_12": asdict(action_12(neck, number)),
                "first_fret_clearance": asdict(first_fret_clearance(neck, number)),
                "nut_height": asdict(nut_height(neck, number)),
            }
            for number in range(1, len(neck.strings) + 1)
        ],
        "relief": asdict(relief(neck)),
        "worst_as_designed": asdict(worst_as_designed(neck)),
        "warnings": _all_doubts(neck),
    }
