"""What a neck built exactly as described would read at its worst note, in words: the part of a verdict no workmanship removes.

Conventions: Cents against the described frets from each string's own open note, under a usual hand
(`diagnosis.model.forward.played_cents`); positive is sharp.
"""

import math
from dataclasses import dataclass

import numpy as np

from fretcheck.diagnosis.model.forward import played_cents
from fretcheck.neck.description import Neck

# What a tolerance should leave for the bench and the hand, beyond what such a neck reads (common practice, no source)
ROOM_CENTS = 1.0
# No ready-made description asks for less: ±3 to 5 cents are taken as good in the trade (common practice, no source)
FINEST_CENTS = 3.0


@dataclass(frozen=True, kw_only=True)
class WorstAsDesigned:
    """The note that would lie furthest from equal temperament."""

    cents: float
    string: int
    fret: int


def worst_as_designed(neck: Neck) -> WorstAsDesigned:
    """The furthest note of a neck built exactly as described."""
    table = played_cents(neck)
    string, fret = np.unravel_index(int(np.nanargmax(np.abs(table))), table.shape)
    return WorstAsDesigned(cents=float(table[string, fret]), string=int(string) + 1, fret=int(fret))


def needed_tolerance_cents(neck: Neck) -> float:
    """The least tolerance that such a neck holds with room for bench and hand, in half cents and no finer than 3 cents."""
    return max(FINEST_CENTS, math.ceil(2.0 * (abs(worst_as_designed(neck).cents) + ROOM_CENTS)) / 2.0)


def said_of_perfect(neck: Neck) -> str:
    """That note in a sentence, and the tolerance it needs."""
    worst = worst_as_designed(neck)
    way = "sharp" if worst.cents > 0 else "flat"
    return (
        f"Built exactly as described and played by a usual hand, the neck would still read up to {abs(worst.cents):.1f} cents "
        f"{way} (string {worst.string}, fret {worst.fret}): stopping a string stretches it. With about {ROOM_CENTS:g} cent more "
        f"for bench and hand it needs a tolerance_cents of {needed_tolerance_cents(neck):g}."
    )


def tolerance_remark(neck: Neck) -> str:
    """The comment that goes with the tolerance of a ready-made description."""
    return f"{said_of_perfect(neck)} The limit is on what is heard; the diagnosis takes this share out before it blames a part."


def doubt_about_tolerance(neck: Neck) -> str | None:
    """What to say of a tolerance that such a neck would not hold with room to spare; None where it does."""
    worst = worst_as_designed(neck)
    over = abs(worst.cents) - neck.tolerance_cents
    if over <= -ROOM_CENTS / 2.0:
        return None
    refused = "would fail" if over > 0 else "could hardly be passed"
    return (
        f"With a tolerance of ±{neck.tolerance_cents:g} cents even that neck {refused}: widen tolerance_cents, or check "
        f"saddle_setback_mm, gauge and core of string {worst.string}."
    )
