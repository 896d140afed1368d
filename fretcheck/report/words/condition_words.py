"""What a finding means to the owner of the instrument: what they hear, what causes it, and what would be done.

Conventions: sentences for someone who plays but does not build. A difference of about 10 cents is just heard in a melody (C.
Hill and I. Summers, J. Acoust. Soc. Am. 121, 2376, 2007: abstract read); less is heard between notes sounding together.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from fretcheck.diagnosis.result import Finding, Move
from fretcheck.report.words.finding_words import millimetres, size_of

HEARD_IN_A_MELODY_CENTS = 10.0
NUT = "the nut, over which the strings leave for the tuners,"


@dataclass(frozen=True, kw_only=True)
class PlainWords:
    """One matter, for the owner."""

    title: str
    hear: str
    cause: str


def plain_words(finding: Finding, *, strings: int) -> PlainWords:
    """The finding in the owner's words; `strings` is how many the neck has."""
    fret, string = finding.fret, finding.string
    up, size = finding.positive, size_of(finding)
    sharp = "a little too high" if up else "a little too low"
    way = "bridge" if up else "headstock"
    match finding.cause:
        case "fret_position":
            return PlainWords(
                title=f"Fret {fret} is not where it should be",
                hear=f"Notes played at fret {fret} sound {sharp} on every string, so chords that use that fret sound sour.",
                cause=f"The metal bar of fret {fret} stands {size} too near the {way}.",
            )
        case "fret_tilt":
            return PlainWords(
                title=f"Fret {fret} is not straight across the neck",
                hear=f"At fret {fret} the outer strings disagree: string 1 sounds {sharp}, string {strings} the other way.",
                cause=f"Fret {fret} stands at a slant, {size} off at the edges.",
            )
        case "nut_height":
            return _nut_height(size, up=up, where="all strings" if string is None else f"string {string}")
        case "nut_position":
            return PlainWords(
                title="The nut is not where it should be",
                hear=f"Every fretted note sounds {'too low' if up else 'too high'} against the open strings.",
                cause=f"{NUT.capitalize()} stands {size} too {'near' if up else 'far from'} the bridge.",
            )
        case "saddle_position":
            one = string is not None
            return PlainWords(
                title=f"The bridge end of string {string} is out of place" if one else "The bridge is out of place",
                hear=f"{f'String {string} sounds' if one else 'All strings sound'} {'too low' if up else 'too high'}, "
                "more so the higher up the neck you play.",
                cause=f"The point at the bridge where {'it ends' if one else 'they end'} is {size} too "
                f"{'far from' if up else 'near'} the other end.",
            )
        case "fret_wear":
            return PlainWords(
                title=f"Fret {fret} is worn",
                hear=f"Some notes at fret {fret} are a little out of tune, and may buzz.",
                cause="The strings have worn a groove into the top of the metal bar.",
            )
        case "saddle_slant":
            return PlainWords(
                title="The saddle stands at a wrong slant",
                hear=f"Up the neck string 1 sounds {'too low' if up else 'too high'} and string {strings} the other way.",
                cause=f"The saddle, on which the strings rest at the bridge, is {size} off at its ends.",
            )
        case "string":
            return PlainWords(
                title=f"String {string} is worn or faulty",
                hear=f"String {string} will not play in tune along the neck, whatever is done to the instrument.",
                cause="The string is not even along its length: age, dirt, or a fault from new.",
            )
        case "tuning_drift":
            return PlainWords(
                title=f"String {string} does not hold its tuning",
                hear=f"String {string} slips out of tune while you play.",
                cause="It may be new and still stretching, or slip at its tuner or in its notch.",
            )
        case "finger_pressure":
            return PlainWords(
                title="The strings were pressed hard" if up else "The strings were pressed lightly",
                hear="Pressing harder than needed makes every note sound too high."
                if up
                else "Nothing: this concerns how we measured.",
                cause="The hand, not the instrument.",
            )
        case "scale_length" | "layout_rule":
            return PlainWords(
                title="The frets follow a wrong pattern",
                hear="Notes go out of tune step by step along the neck, on every string alike.",
                cause="The frets do not follow the pattern that the length of the strings asks for.",
            )
        case _:
            return PlainWords(title="Something else", hear="See the technical page.", cause=finding.text)


def _nut_height(size: str, *, up: bool, where: str) -> PlainWords:
    if up:
        return PlainWords(
            title="The strings lie too high at the tuners' end of the neck",
            hear=f"The first frets sound too high on {where}, worst at fret 1: pressing the string so far down stretches it.",
            cause=f"The notches of {NUT} are {size} too high.",
        )
    return PlainWords(
        title="The strings lie too low at the tuners' end of the neck",
        hear=f"On {where} the open note may buzz, and the first frets sound too low.",
        cause=f"The notches of {NUT} are {size} too low.",
    )


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
        "fret_wear": f"wear on fret {fret}",
        "nut_position": "the place of the nut",
        "nut_height": "the height of the strings at the tuners' end",
        "saddle_position": f"the bridge end of string {string}" if string else "the place of the bridge",
        "saddle_slant": "the slant of the saddle",
        "string": f"string {string} itself",
        "tuning_drift": f"string {string} slipping out of tune",
        "finger_pressure": "the touch of the hand that played",
    }
    return names.get(cause, "the pattern of the frets")


def plain_work(moves: Sequence[Move]) -> list[str]:
    """What is done, in the owner's words: a line for each move, or for several in a row that move the same kind of part alike."""
    lines: list[list[Move]] = []
    for move in moves:
        if lines and move.string is not None and _kind(lines[-1][-1]) == _kind(move):
            lines[-1].append(move)
        else:
            lines.append([move])
    texts = [_plain_move(moves) for moves in lines]
    return [f"{text[:1].upper()}{text[1:]}." for text in texts]


def _kind(move: Move) -> tuple[object, ...]:
    return move.part, move.fret, move.end, move.string is None, move.positive


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
            return f"move the saddle's end under the {'thin' if first.end == 'treble' else 'thick'} strings{where}"
        case "saddle":
            return f"move the saddle{of_strings}{where}"
        case "nut":
            return f"move the nut's front edge{where}"
        case "fret":
            return f"reshape or set anew fret {first.fret},{where}"
        case other:
            return other
