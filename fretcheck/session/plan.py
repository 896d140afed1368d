"""What will be asked for: which string, which fret, in which order, how often.

Conventions: String 1 is the highest-sounding, fret 0 the open string. A string is played through before the next is begun: its
open note first, then the frets upward, with the open note asked for again between and at the end, so that drift is seen and
taken out. A string that starts later on the neck (`first_fret`) is asked for only at the frets it has.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, get_args

import numpy as np

from fretcheck.errors import UsageError
from fretcheck.neck.description import Neck

Press = Literal["light", "firm"]
Order = Literal["low-first", "high-first", "fret"]

WORK_PLAN = "work"  # The plan of a session that asks for no notes of its own: work on one place
DECIDING, SPOT = "deciding", "spot"
INTAKE_FRETS = (1, 3, 5, 7, 9, 12, 15)  # and the last one
SPOT_FRETS = (1, 5, 12)
PRESS_FRETS = (1, 5)
PLUCKS_BETWEEN_OPEN_CHECKS = 8  # At most so many fretted plucks before the open string is asked for again
MOST_REPEATS = 20
# A hand of 0.8 cents plucking twice tells 0.15 mm of a fret from nothing; a fret 1 mm out needs no instrument
LEAST_LOOK_FOR_MM, MOST_LOOK_FOR_MM = 0.15, 1.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Ask:
    """One pluck that is asked for."""

    string: int
    fret: int
    press: Press | None = None  # How hard to press, in the press test only
    check: bool = False  # True when the open string is asked for again, to see whether it has drifted


@dataclass(frozen=True, kw_only=True)
class Growth:
    """How a plan goes on after its first round, until all is decided."""

    judged: tuple[tuple[int, int], ...]  # (string, fret): the notes that the verdict is about, heard or not
    look_for_mm: float | None  # None to stop at the verdict, whatever causes are open
    most_plucks: int  # Open ones included
    every_note: bool = False  # Once decided, it goes on until every note is heard


@dataclass(frozen=True, kw_only=True)
class Plan:
    """All plucks of a session, in the order in which they are asked for."""

    name: str
    asks: tuple[Ask, ...]
    growth: Growth | None = None

    @property
    def strings(self) -> tuple[int, ...]:
        """Strings in the order in which they are played."""
        return tuple(dict.fromkeys(ask.string for ask in self.asks))

    @property
    def notes(self) -> tuple[tuple[int, int], ...]:
        """Every (string, fret) asked for, once, press-test notes left out."""
        return tuple(dict.fromkeys((ask.string, ask.fret) for ask in self.asks if ask.press is None))

    def grown(self, asks: Iterable[Ask]) -> Plan:
        """The plan with more to ask after all it asks already."""
        return replace(self, asks=(*self.asks, *asks))


def make_plan(
    neck: Neck,
    *,
    name: str = "full",
    frets: Sequence[int] | None = None,
    strings: Sequence[int] | None = None,
    repeats: int = 1,
    order: str = "low-first",
    one_of_each_pair: bool = False,
) -> Plan:
    """The plan for a neck.

    `neck`: what is played. `name`: ``full`` (every fret), ``intake`` (open, 1, 3, 5, 7, 9, 12, 15, last), ``spot`` (open, 1, 5,
    12), ``press`` (one string, lightly and firmly, at 1 and 5). Two joined by ``+`` follow each other, as in ``full+press``.
    `frets`, `strings`: frets and strings of the user's own; frets replace those of the plan (which is then called ``own``).
    `repeats`: plucks of each fretted note in a row, 1 to 20; the first open note gets as many. `order`: ``low-first``: from the
    lowest-sounding string to the highest; ``high-first``: the reverse; ``fret``: all strings at a fret, then the next fret.
    `one_of_each_pair`: of strings that share a course, only the first is asked for.
    Raises UsageError: unknown plan or order, a string or fret that the neck does not have, or repeats out of range.
    """
    if order not in get_args(Order):
        raise UsageError(f"order = {order!r} is unknown; choose low-first, high-first or fret")
    if not 1 <= repeats <= MOST_REPEATS:
        raise UsageError(f"repeats = {repeats} is out of range; choose 1 to {MOST_REPEATS}")
    all_strings = range(1, len(neck.strings) + 1)
    for what, numbers, known in (("string", strings, all_strings), ("fret", frets, range(neck.frets + 1))):
        if wrong := [number for number in numbers or () if number not in known]:
            raise UsageError(f"{what} {wrong[0]} is not on this neck; it has {known.start} to {known.stop - 1}")
    if frets is not None:
        if name not in ("full", "own"):
            raise UsageError(f"frets of your own and the plan {name!r} do not go together; leave one out")
        name = "own"
    chosen = dict.fromkeys(all_strings if strings is None else strings)
    if one_of_each_pair:
        if all(string.course is None for string in neck.strings):
            raise UsageError("--one-of-each-pair is for strings in pairs, and the description names no course")
        chosen = dict.fromkeys(min(s for s in chosen if _course(neck, s) == _course(neck, string)) for string in chosen)
    asks: list[Ask] = []
    for part in name.split("+"):
        if part == "press":
            asks += _press_asks(neck, strings, repeats)
        else:
            in_order = sorted(chosen, reverse=order != "high-first")
            asks += _in_order([_string_asks(one, _frets_of(neck, one, part, frets), repeats) for one in in_order], order)
    return Plan(name=name, asks=tuple(asks))


# At least so many are heard at every fret; on necks of more than six strings a third of them, which a verdict needs
FIRST_STRINGS = 2


def first_round(neck: Neck, strings: Collection[int]) -> frozenset[tuple[int, int]]:
    """The fretted notes of a balanced first round: every fret on two strings that lie half a neck apart.

    Each string is heard all along the neck, and each fret on a high and a low string.
    """
    notes: set[tuple[int, int]] = set()
    for fret in range(1, neck.frets + 1):
        there = [string for string in sorted(strings) if fret in neck.frets_of(string)]
        count = min(len(there), max(FIRST_STRINGS, -(-len(there) // 3)))
        notes.update((there[(fret + n * len(there) // count) % len(there)], fret) for n in range(count))
    return frozenset(notes)


def deciding_plan(
    neck: Neck,
    *,
    look_for_mm: float,
    most_plucks: int,
    strings: Sequence[int] | None = None,
    order: str = "low-first",
    one_of_each_pair: bool = False,
    every_note: bool = False,
) -> Plan:
    """The plan that asks only what decides: its first round, and how it goes on; parameters as in `make_plan`.

    Raises UsageError as `make_plan`, and for a size or a number of plucks out of range.
    """
    if not LEAST_LOOK_FOR_MM <= look_for_mm <= MOST_LOOK_FOR_MM:
        raise UsageError(f"look-for = {look_for_mm:g} mm is out of range: {LEAST_LOOK_FOR_MM:g} to {MOST_LOOK_FOR_MM:g}")
    whole = make_plan(neck, strings=strings, order=order, one_of_each_pair=one_of_each_pair)
    begun = first_round(neck, whole.strings)
    by_string = [_string_asks(string, sorted(fret for own, fret in begun if own == string), 1) for string in whole.strings]
    asks = _in_order(by_string, order)
    if most_plucks < len(asks):
        raise UsageError(f"most-plucks = {most_plucks} is out of range: the first round alone takes {len(asks)}")
    judged = tuple(place for place in whole.notes if place[1] > 0)
    growth = Growth(judged=judged, look_for_mm=look_for_mm, most_plucks=most_plucks, every_note=every_note)
    return Plan(name=DECIDING, asks=tuple(asks), growth=growth)


def until_the_verdict(plan: Plan, *, most_plucks: int) -> Plan:
    """The plan, and then its notes again as long as the verdict on them is open."""
    judged = tuple(place for place in plan.notes if place[1] > 0)
    return replace(plan, growth=Growth(judged=judged, look_for_mm=None, most_plucks=most_plucks))


def batch_asks(notes: Iterable[tuple[int, int]], strings: Sequence[int]) -> tuple[Ask, ...]:
    """A batch of fretted notes in the order of `strings`, each string's begun with its open note."""
    wanted = sorted(notes)
    return tuple(
        ask
        for string in strings
        if (frets := [fret for own, fret in wanted if own == string])
        for ask in (Ask(string=string, fret=0, check=True), *(Ask(string=string, fret=fret) for fret in frets))
    )


def plan_of_notes(
    plucks: Mapping[tuple[int, int], int], *, order: str = "low-first", name: str = "more", growth: Growth | None = None
) -> Plan:
    """A plan of single notes, each with how often it is plucked; every string begins and ends with its open note.

    Raises UsageError for an order that goes fret by fret.
    """
    if order not in ("low-first", "high-first"):
        raise UsageError(f"order = {order!r} is none for single notes; choose low-first or high-first")
    by_string: dict[int, list[int]] = {string: [] for string in sorted({s for s, _ in plucks}, reverse=order == "low-first")}
    for (string, fret), count in sorted(plucks.items()):
        by_string[string] += [fret] * count if fret > 0 else []
    asks = tuple(ask for string, frets in by_string.items() for ask in _string_asks(string, frets, 1))
    return Plan(name=name, asks=asks, growth=growth)


def parse_numbers(text: str, *, what: str) -> tuple[int, ...]:
    """Numbers from a list such as ``1-5,7,12``, ascending, each once.

    Raises UsageError when a part is neither a number nor a range of two.
    """
    numbers: set[int] = set()
    for part in text.replace(" ", "").split(","):
        match = re.fullmatch(r"([0-9]{1,3})(?:-([0-9]{1,3}))?", part)  # strings and frets never come to a thousand
        if match is None:
            raise UsageError(f"{what} = {text[:40]!r} is no list of numbers that a neck may have; write it like 1-5,7,12")
        first, stop = int(match[1]), int(match[2] or match[1])
        if stop < first:
            raise UsageError(f"{what} = {text!r}: the range {part} runs backward; write {stop}-{first}")
        numbers.update(range(first, stop + 1))
    return tuple(sorted(numbers))


def _frets_of(neck: Neck, string: int, name: str, own: Sequence[int] | None) -> list[int]:
    playable = neck.frets_of(string)
    wanted: dict[str, Iterable[int]] = {
        "own": own or (),
        "full": playable,
        "intake": (*_at_semitones(neck, INTAKE_FRETS), neck.frets),
        "spot": _at_semitones(neck, SPOT_FRETS),
    }
    if name not in wanted:
        raise UsageError(f"plan {name!r} is unknown; choose full, intake, spot or press")
    return sorted({fret for fret in wanted[name] if fret in playable})


def _at_semitones(neck: Neck, semitones: Iterable[int]) -> list[int]:
    """The frets nearest to so many semitones above the nut: on most necks the frets of these numbers."""
    if neck.semitones:
        return list(semitones)
    frets = range(1, neck.frets + 1)
    return [min(frets, key=lambda fret: abs(neck.fret_cents[fret] - 100.0 * one)) for one in semitones]


def _string_asks(string: int, frets: Sequence[int], repeats: int) -> list[Ask]:
    asks = [Ask(string=string, fret=0)] * repeats
    plucks = [Ask(string=string, fret=fret) for fret in frets for _ in range(repeats)]
    stretches = -(-len(plucks) // PLUCKS_BETWEEN_OPEN_CHECKS)
    for stretch in np.array_split(np.arange(len(plucks)), stretches) if plucks else ():
        asks += [plucks[i] for i in stretch]
        asks.append(Ask(string=string, fret=0, check=True))
    return asks


def _in_order(by_string: Sequence[Sequence[Ask]], order: str) -> list[Ask]:
    """String by string, or all strings' at a fret before the next fret; each open check comes after the frets it came after."""
    if order != "fret":
        return [ask for own in by_string for ask in own]
    keyed = [
        ((max(one.fret for one in own[: index + 1]), ask.check, row, index), ask)
        for row, own in enumerate(by_string)
        for index, ask in enumerate(own)
    ]
    return [ask for _, ask in sorted(keyed, key=lambda one: one[0])]


def _course(neck: Neck, string: int) -> tuple[str, int]:
    course = neck.string(string).course
    return ("string", string) if course is None else ("course", course)


def _press_asks(neck: Neck, strings: Sequence[int] | None, repeats: int) -> list[Ask]:
    string = press_string(neck) if not strings else strings[0]
    frets = [fret for fret in _at_semitones(neck, PRESS_FRETS) if fret in neck.frets_of(string)]
    if not frets:
        raise UsageError(f"the press test needs fret {PRESS_FRETS[0]} or {PRESS_FRETS[1]}, and string {string} has neither")
    presses: tuple[Press, ...] = ("light", "firm")
    asks = [Ask(string=string, fret=0)] * repeats
    asks += [Ask(string=string, fret=fret, press=press) for fret in frets for press in presses for _ in range(repeats)]
    return [*asks, Ask(string=string, fret=0, check=True)]


def press_string(neck: Neck) -> int:
    """The string that shows finger pressure most: the lowest-sounding plain one, or the lowest of all.

    A plain string's cents per unit of stretch, κ = E/(density·(2Lf)²), is largest for the lowest note; in a wound string
    only the core carries.
    """
    plain = [number for number, string in enumerate(neck.strings, start=1) if string.construction == "plain"]
    return max(plain, default=len(neck.strings))
