"""What a finding means to the owner of the instrument: what they hear, what causes it, what can be done.

Conventions
-----------
Sentences for someone who plays but does not build. A difference of about 10 cents is just heard in a melody (C. Hill and
I. Summers, J. Acoust. Soc. Am. 121, 2376, 2007: abstract read); less is heard between notes sounding together.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fretcheck.report.finding_words import size_of

if TYPE_CHECKING:
    from fretcheck.inspection.document import FindingPart

HEARD_IN_A_MELODY_CENTS = 10.0
NUT = "the nut, over which the strings leave for the tuners,"


@dataclass(frozen=True, kw_only=True)
class PlainWords:
    """One matter, for the owner."""

    title: str
    hear: str
    cause: str
    can_be_done: str


def plain_words(finding: FindingPart, *, strings: int) -> PlainWords:
    """The finding in the owner's words; `strings` is how many the neck has."""
    fret, string = finding.fret, finding.string
    value = finding.value_mm if finding.value_mm is not None else finding.value_cents
    up, size = (value or 0.0) > 0, size_of(finding)
    sharp = "a little too high" if up else "a little too low"
    way = "bridge" if up else "headstock"
    match finding.cause:
        case "fret_position":
            return PlainWords(
                title=f"Fret {fret} is not where it should be",
                hear=f"Notes played at fret {fret} sound {sharp} on every string, so chords that use that fret sound sour.",
                cause=f"The metal bar of fret {fret} stands {size} too near the {way}.",
                can_be_done="Its top can be reshaped, or the fret taken out and set again. This is careful work, done last.",
            )
        case "fret_tilt":
            return PlainWords(
                title=f"Fret {fret} is not straight across the neck",
                hear=f"At fret {fret} the outer strings disagree: string 1 sounds {sharp}, string {strings} the other way.",
                cause=f"Fret {fret} stands at a slant, {size} off at the edges.",
                can_be_done="Its top can be reshaped, or the fret taken out and set again.",
            )
        case "nut_height":
            return _nut_height(size, up=up, where="all strings" if string is None else f"string {string}")
        case "nut_position":
            return PlainWords(
                title="The nut is not where it should be",
                hear=f"Every fretted note sounds {'too low' if up else 'too high'} against the open strings.",
                cause=f"{NUT.capitalize()} stands {size} too {'near' if up else 'far from'} the bridge.",
                can_be_done="Its front edge can be moved, by filing or by a new nut.",
            )
        case "saddle_position":
            one = string is not None
            return PlainWords(
                title=f"The bridge end of string {string} is out of place" if one else "The bridge is out of place",
                hear=f"{f'String {string} sounds' if one else 'All strings sound'} {'too low' if up else 'too high'}, "
                "more so the higher up the neck you play.",
                cause=f"The point at the bridge where {'it ends' if one else 'they end'} is {size} too "
                f"{'far from' if up else 'near'} the other end.",
                can_be_done="The saddle, on which the string rests at the bridge, can be moved or reshaped.",
            )
        case "fret_wear":
            return PlainWords(
                title=f"Fret {fret} is worn",
                hear=f"Some notes at fret {fret} are a little out of tune, and may buzz.",
                cause="The strings have worn a groove into the top of the metal bar.",
                can_be_done="Its top can be filed round again; a usual job.",
            )
        case "saddle_slant":
            return PlainWords(
                title="The saddle stands at a wrong slant",
                hear=f"Up the neck string 1 sounds {'too low' if up else 'too high'} and string {strings} the other way.",
                cause=f"The saddle, on which the strings rest at the bridge, is {size} off at its ends.",
                can_be_done="The saddle can be set or shaped anew.",
            )
        case "string":
            return PlainWords(
                title=f"String {string} is worn or faulty",
                hear=f"String {string} will not play in tune along the neck, whatever is done to the instrument.",
                cause="The string is not even along its length: age, dirt, or a fault from new.",
                can_be_done="A new string. That comes first, before anything else is touched.",
            )
        case "tuning_drift":
            return PlainWords(
                title=f"String {string} does not hold its tuning",
                hear=f"String {string} slips out of tune while you play.",
                cause="It may be new and still stretching, or slip at its tuner or in its notch.",
                can_be_done="Let it settle and tune again; if it goes on, the tuner and the notch are looked at.",
            )
        case "finger_pressure":
            return PlainWords(
                title="The strings were pressed hard" if up else "The strings were pressed lightly",
                hear="Pressing harder than needed makes every note sound too high."
                if up
                else "Nothing: this concerns how we measured.",
                cause="The hand, not the instrument.",
                can_be_done="A lighter touch; lower strings or lower frets help too." if up else "Nothing needs doing.",
            )
        case "scale_length" | "layout_rule":
            return PlainWords(
                title="The frets follow a wrong pattern",
                hear="Notes go out of tune step by step along the neck, on every string alike.",
                cause="The frets do not follow the pattern that the length of the strings asks for.",
                can_be_done="Moving the bridge may help; otherwise the fretboard needs new slots. We will advise.",
            )
        case _:
            return PlainWords(
                title="Something else", hear="See the technical page.", cause=finding.text, can_be_done="We will advise."
            )


def _nut_height(size: str, *, up: bool, where: str) -> PlainWords:
    if up:
        return PlainWords(
            title="The strings lie too high at the tuners' end of the neck",
            hear=f"The first frets sound too high on {where}, worst at fret 1: pressing the string so far down stretches it.",
            cause=f"The notches of {NUT} are {size} too high.",
            can_be_done="The notches can be deepened a little; a usual and quick job.",
        )
    return PlainWords(
        title="The strings lie too low at the tuners' end of the neck",
        hear=f"On {where} the open note may buzz, and the first frets sound too low.",
        cause=f"The notches of {NUT} are {size} too low.",
        can_be_done="The notches can be filled and cut anew, or the nut replaced.",
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
