"""Where on the neck a pluck was played, when it may not be where it was asked for.

On the string that was asked for, plucks are placed together, as those of a recording are (`placing`): a string that has slipped
shifts all its notes alike, a finger on a wrong fret only one. One pitch is found at several places of a neck, so elsewhere the
place is told by what is likely at a bench: a neighbouring fret of the same string, the same fret of a neighbouring string, an
open string brushed by accident. Where the open notes of both strings have been heard, the inharmonicity helps: B of a stopped
string grows as 2^(k/6) along the frets (H. Fletcher, J. Acoust. Soc. Am. 36, 203 (1964), from memory).

Conventions: Cents are heard minus expected. A place is expected at equal temperament above its string's own open note as last
heard, or above the nominal one while that is unknown.
"""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from fretcheck.neck.description import SAME_FRET_CENTS, Neck
from fretcheck.neck.temperament import cents_between
from fretcheck.pitch.reading import NoteReading
from fretcheck.session.placement import CERTAIN, heard_pitch, places_of
from fretcheck.session.placing import place_pitches
from fretcheck.session.plan import Ask

Place = tuple[int, int]

OPEN_TUNING_CENTS = SAME_FRET_CENTS  # How far from nominal an open string may be before it is called out of tune rather than open

# How unlikely a slip is, in units of a log-likelihood: judged, not measured (common practice, no source).
_COST_OTHER_FRET, _COST_PER_FRET_FURTHER = 0.7, 0.3
_COST_OPEN_OF_SAME = 0.8
_COST_PER_STRING = 1.0
_COST_OPEN_OF_OTHER = 0.5
_COST_BOTH_WRONG = 1.0
_COST_UNKNOWN_B = 0.5
_MOST_COST = 6.0
_AMBIGUOUS_WITHIN = 0.8
_AS_ASKED = 0.9  # Share of plucks that are what was asked for. Judged.
_LOOK_BACK = 16  # So many plucks of the string are placed together with the new one: two stretches between open checks
_PITCH_SCALE_CENTS = 20.0
_B_SCALE_LOG = 0.4  # Spread of ln B about 2^(k/6) along real strings; wound ones follow it loosely
_B_TELLS_LOG = math.log(1.6)


@dataclass(frozen=True)
class OpenHeard:
    """The open note of a string as last heard."""

    f1_hz: float
    inharmonicity: float | None


@dataclass(frozen=True)
class Match:
    """Whether a pluck answers what was asked.

    `as_asked` is True when it does. Otherwise `places` holds where it was probably played, the likeliest first and several only
    when they can't be told apart; empty when it belongs nowhere on the neck.
    """

    as_asked: bool
    cents: float  # From what was asked for
    places: tuple[Place, ...] = ()
    right_pitch: bool = False  # The pitch is what was asked for, and only the inharmonicity speaks for another string
    # The notes before it say, or leave it possible, that the string's tuning has moved rather than the finger
    slipped: bool = False


def expected_hz(neck: Neck, string: int, fret: int, opens: Mapping[int, OpenHeard]) -> float:
    """Equal-tempered pitch of a place above its string's open note as heard; the open note itself at its nominal pitch."""
    nominal = neck.open_hz(string)
    if fret == 0:
        return nominal
    base = opens[string].f1_hz if string in opens else nominal
    return float(base * 2.0 ** (neck.cents_above_open(string, fret) / 1200.0))


def match(
    neck: Neck, ask: Ask, note: NoteReading, opens: Mapping[int, OpenHeard], earlier: Sequence[tuple[Ask, NoteReading]] = ()
) -> Match:
    """Lay a usable reading against what was asked.

    `note`: with a pitch. `opens`: open notes heard so far, by string. `earlier` (Ask, NoteReading): what was asked and heard of
    this string before, taken or not, in the order in which it was played.
    """
    if note.f1_hz is None:
        raise ValueError("a note without a pitch can't be placed")
    cents = cents_between(note.f1_hz, expected_hz(neck, ask.string, ask.fret, opens))
    within = OPEN_TUNING_CENTS if ask.fret == 0 else neck.reach_cents(ask.string, ask.fret)
    costs = place_costs(neck, note, opens, slip=partial(_slip_cost, ask))
    certain = ask.fret == 0 or _probability_as_asked(neck, ask, note, earlier) >= CERTAIN  # the open note is the anchor
    if abs(cents) <= within:
        elsewhere = _same_pitch_elsewhere(neck, ask, note, opens, costs)
        if elsewhere is not None:
            return Match(as_asked=False, cents=cents, places=(elsewhere,), right_pitch=certain)
        return Match(as_asked=certain, cents=cents, slipped=not certain)
    costs.pop((ask.string, ask.fret), None)
    return Match(as_asked=False, cents=cents, places=_likeliest(costs), slipped=certain and ask.fret > 0)


def _probability_as_asked(neck: Neck, ask: Ask, note: NoteReading, earlier: Sequence[tuple[Ask, NoteReading]]) -> float:
    """Posterior probability that a pluck was what was asked for, at whatever tuning the string now has."""
    frets = places_of(neck, ask.string)
    together = [*earlier[-_LOOK_BACK:], (ask, note)]
    pitches = [heard_pitch(neck, ask.string, heard) for _, heard in together]
    asked = np.array([[math.exp(-_slip_cost(wanted, ask.string, fret)) for fret in frets] for wanted, _ in together])
    at = [frets.index(wanted.fret) for wanted, _ in together]
    rows = np.arange(len(together))
    asked[rows, at] = 0.0
    asked *= (1.0 - _AS_ASKED) / asked.sum(axis=1, keepdims=True)
    asked[rows, at] = _AS_ASKED
    targets = [neck.cents_above_open(ask.string, fret) for fret in frets]
    return float(place_pitches(pitches, targets, asked=asked).probability[-1, at[-1]])


def place_costs(
    neck: Neck, note: NoteReading, opens: Mapping[int, OpenHeard], *, slip: Callable[[int, int], float]
) -> dict[Place, float]:
    """Every place that sounds within 50 cents of the note, with how unlikely it is (a negative log-likelihood).

    `slip` is how unlikely a string and fret are before anything was heard.
    """
    assert note.f1_hz is not None
    costs: dict[Place, float] = {}
    for string in range(1, len(neck.strings) + 1):
        for fret in (0, *neck.frets_of(string)):
            misfit = cents_between(note.f1_hz, expected_hz(neck, string, fret, opens))
            if abs(misfit) > SAME_FRET_CENTS or abs(misfit) > neck.reach_cents(string, fret):  # the latter takes its time
                continue
            cost = slip(string, fret) + 0.5 * (misfit / _PITCH_SCALE_CENTS) ** 2
            log_ratio = _log_inharmonicity_ratio(neck, string, fret, note, opens)
            cost += _COST_UNKNOWN_B if log_ratio is None else min(4.0, 0.5 * (log_ratio / _B_SCALE_LOG) ** 2)
            costs[string, fret] = cost
    return costs


def _likeliest(costs: Mapping[Place, float]) -> tuple[Place, ...]:
    ranked = sorted(costs, key=lambda place: costs[place])
    if not ranked or costs[ranked[0]] > _MOST_COST:
        return ()
    return tuple(place for place in ranked if costs[place] <= costs[ranked[0]] + _AMBIGUOUS_WITHIN)


def _slip_cost(ask: Ask, string: int, fret: int) -> float:
    frets = abs(fret - ask.fret)
    other_fret = 0.0 if frets == 0 else _COST_OTHER_FRET + _COST_PER_FRET_FURTHER * (frets - 1)
    if string == ask.string:
        return min(other_fret, _COST_OPEN_OF_SAME) if fret == 0 else other_fret
    cost = _COST_PER_STRING * abs(string - ask.string)
    if fret == 0 and ask.fret > 0:
        return cost + _COST_OPEN_OF_OTHER
    return cost + (_COST_BOTH_WRONG + other_fret if frets else 0.0)


def _log_inharmonicity_ratio(
    neck: Neck, string: int, fret: int, note: NoteReading, opens: Mapping[int, OpenHeard]
) -> float | None:
    """ln of heard B over what the place leads to expect; None where either is unknown."""
    own = opens.get(string)
    if own is None or not own.inharmonicity or not note.inharmonicity or own.inharmonicity < 0 or note.inharmonicity < 0:
        return None
    if note.u_inharmonicity is not None and note.u_inharmonicity > 0.2 * note.inharmonicity:
        return None
    return math.log(note.inharmonicity / own.inharmonicity) - neck.cents_above_open(string, fret) / 600.0 * math.log(2.0)


def _same_pitch_elsewhere(
    neck: Neck, ask: Ask, note: NoteReading, opens: Mapping[int, OpenHeard], places: Iterable[Place]
) -> Place | None:
    """A place on another string that fits far better: right pitch, wrong string. Only the inharmonicity can tell."""
    here = _log_inharmonicity_ratio(neck, ask.string, ask.fret, note, opens)
    if here is None or abs(here) < _B_TELLS_LOG:
        return None
    for string, fret in places:
        if string == ask.string or neck.string(string).course == neck.string(ask.string).course is not None:
            continue
        there = _log_inharmonicity_ratio(neck, string, fret, note, opens)
        if there is not None and abs(there) < 0.5 * abs(here) and abs(there) < _B_TELLS_LOG / 2:
            return string, fret
    return None
