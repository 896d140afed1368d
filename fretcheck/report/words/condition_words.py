"""What a finding means to the owner of the instrument: what they hear, what causes it, and what would be done.

Conventions: sentences for someone who plays but does not build. A difference of about 10 cents is just heard in a melody (C.
Hill and I. Summers, J. Acoust. Soc. Am. 121, 2376, 2007: abstract read); less is heard between notes sounding together.
"""

from collections.abc import Sequence
from typing import NamedTuple

from fretcheck.diagnosis.conclude.words import listed_numbers
from fretcheck.diagnosis.result import Finding, Move
from fretcheck.report.words.finding_words import millimetres, size_of

HEARD_IN_A_MELODY_CENTS = 10.0
NUT = "the nut, over which the strings leave for the tuners,"
# Of each cause, for a part that is out one way or the other: title, what is heard, why
_WORDS: dict[str, tuple[str, str, str]] = {
    "fret_position": (
        "Fret {fret} is not where it should be",
        "Notes played at fret {fret} sound {sharp} on every string, so chords that use that fret sound sour.",
        "The metal bar of fret {fret} stands {size} too near the {way}.",
    ),
    "fret_tilt": (
        "Fret {fret} is not straight across the neck",
        "At fret {fret} the outer strings disagree: string 1 sounds {sharp}, string {strings} the other way.",
        "Fret {fret} stands at a slant, {size} off at the edges.",
    ),
    "nut_height": (
        "The strings lie too high at the tuners' end of the neck",
        "The first frets sound too high on {where}, worst at fret 1: pressing the string so far down stretches it.",
        f"The notches of {NUT} are {{size}} too high.",
    ),
    "nut_height, too low": (
        "The strings lie too low at the tuners' end of the neck",
        "On {where} the open note may buzz, and the first frets sound too low.",
        f"The notches of {NUT} are {{size}} too low.",
    ),
    "nut_position": (
        "The nut is not where it should be",
        "Every fretted note sounds {longer} against the open strings.",
        f"{NUT.capitalize()} stands {{size}} too {{near}} the bridge.",
    ),
    "saddle_position": (
        "The bridge is out of place",
        "All strings sound {longer}, more so the higher up the neck you play.",
        "The point at the bridge where they end is {size} too {far} the other end.",
    ),
    "saddle_position, one": (
        "The bridge end of string {string} is out of place",
        "String {string} sounds {longer}, more so the higher up the neck you play.",
        "The point at the bridge where it ends is {size} too {far} the other end.",
    ),
    "fret_wear": (
        "The frets near the headstock are worn",
        "Some notes at the first frets are a little out of tune, and may buzz.",
        "The thin strings have worn the tops of these metal bars to one side.",
    ),
    "saddle_slant": (
        "The saddle stands at a wrong slant",
        "Up the neck string 1 sounds {longer} and string {strings} the other way.",
        "The saddle, on which the strings rest at the bridge, is {size} off at its ends.",
    ),
    "string": (
        "String {string} is worn or faulty",
        "String {string} will not play in tune along the neck, whatever is done to the instrument.",
        "The string is not even along its length: age, dirt, or a fault from new.",
    ),
    "tuning_drift": (
        "String {string} does not hold its tuning",
        "String {string} slips out of tune while you play.",
        "It may be new and still stretching, or slip at its tuner or in its notch.",
    ),
    "finger_pressure": (
        "The strings were pressed hard",
        "Pressing harder than needed makes every note sound too high.",
        "The hand, not the instrument.",
    ),
    "finger_pressure, too low": (
        "The strings were pressed lightly",
        "Nothing: this concerns how we measured.",
        "The hand, not the instrument.",
    ),
    "scale_length": (
        "The frets follow a wrong pattern",
        "Notes go out of tune step by step along the neck, on every string alike.",
        "The frets do not follow the pattern that the length of the strings asks for.",
    ),
}
_WORDS["layout_rule"] = _WORDS["scale_length"]


class PlainWords(NamedTuple):
    """One matter, for the owner."""

    title: str
    hear: str
    cause: str


def plain_words(finding: Finding, *, strings: int) -> PlainWords:
    """The finding in the owner's words; `strings` is how many the neck has."""
    string, up = finding.string, finding.positive
    keys = [f"{finding.cause}, too low"] if not up else []
    keys += [f"{finding.cause}, one"] if string is not None else []
    texts = next((_WORDS[key] for key in (*keys, finding.cause) if key in _WORDS), None)
    if texts is None:
        return PlainWords("Something else", "See the technical page.", finding.text)
    known = {
        "fret": finding.fret, "string": string, "strings": strings, "size": size_of(finding),
        "where": "all strings" if string is None else f"string {string}",
        "sharp": "a little too high" if up else "a little too low", "longer": "too low" if up else "too high",
        "way": "bridge" if up else "headstock", "near": "near" if up else "far from", "far": "far from" if up else "near",
    }  # fmt: skip
    return PlainWords(*(text.format(**known) for text in texts))


def how_noticeable(worst_cents: float | None) -> str:
    """How much the furthest note is heard, in a sentence."""
    if worst_cents is None:
        return ""
    size = abs(worst_cents)
    way = "high" if worst_cents > 0 else "low"
    amount = f"The note furthest out is {size:.0f} hundredths of a semitone too {way}. "
    if size >= HEARD_IN_A_MELODY_CENTS:
        return amount + "Most players hear that in a melody, and sooner in a chord."
    return amount + "In a melody few would hear it; in a chord a trained ear does."


def plain_rival(cause: str, *, fret: int | None, string: int | None) -> str:
    """A cause that may be the true one instead, to stand after "it may as well be"."""
    names = {
        "fret_position": f"the place of fret {fret}",
        "fret_tilt": f"the slant of fret {fret}",
        "fret_wear": "wear on the frets near the headstock",
        "nut_position": "the place of the nut",
        "nut_height": "the height of the strings at the tuners' end",
        "saddle_position": f"the bridge end of string {string}" if string else "the place of the bridge",
        "saddle_slant": "the slant of the saddle",
        "string": f"string {string} itself" if string else "the strings themselves",
        "tuning_drift": f"string {string} slipping out of tune" if string else "how the open strings were sounding",
        "finger_pressure": "the touch of the hand that played",
    }
    return names.get(cause, "the pattern of the frets")


def plain_work(moves: Sequence[Move]) -> list[str]:
    """What is done, in the owner's words: a line for each move, or for several in a row that move the same kind of part alike."""
    lines: list[list[Move]] = []
    for move in moves:
        if lines and (move.string is not None or _crowned(move)) and _kind(lines[-1][-1]) == _kind(move):
            lines[-1].append(move)
        else:
            lines.append([move])
    texts = [_plain_move(moves) for moves in lines]
    return [f"{text[:1].upper()}{text[1:]}." for text in texts]


def _kind(move: Move) -> tuple[object, ...]:
    return move.part, None if _crowned(move) else move.fret, move.end, move.string is None, move.positive


def _crowned(move: Move) -> bool:
    """Whether a fret's worn top is brought back to its middle: that has no way and no size."""
    return move.part == "fret" and move.move_mm is None


def _under(end: str | None) -> str:
    return "" if end is None else f" under the {'thin' if end == 'treble' else 'thick'} strings"


def _plain_move(moves: list[Move]) -> str:
    first, numbers = moves[0], [str(one.string) for one in moves if one.string is not None]
    of_strings = f" of string{'s' if len(numbers) > 1 else ''} {', '.join(numbers)}" if numbers else ""
    sizes = [millimetres(one.move_mm) for one in moves if one.move_mm is not None]
    up = first.positive
    by = f" by {', '.join(sizes)}" if sizes else ""
    where = f"{by} toward the {'bridge' if up else 'nut'}"
    match first.part:
        case "string":
            return f"replace {of_strings.removeprefix(' of ') or 'the strings'}"
        case "nut_height":
            return f"{'build up' if up else 'deepen'} the notches{of_strings} in the nut{by}"
        case "saddle" if first.end is not None:
            return f"move the saddle's end{_under(first.end)}{where}"
        case "saddle":
            return f"move the saddle{of_strings}{where}"
        case "nut":
            return f"move the nut's front edge{where}"
        case "fret" if _crowned(first):
            frets = [one.fret for one in moves if one.fret is not None]
            return f"shape the top{'s' * (len(frets) > 1)} of fret{'s' * (len(frets) > 1)} {listed_numbers(frets)} anew"
        case "fret":
            return f"reshape or set anew fret {first.fret},{where}{_under(first.end)}"
        case other:
            return other
