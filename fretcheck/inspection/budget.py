"""The uncertainty budget of one note (GUM, JCGM 100:2008), rebuilt from what the document of an inspection holds.

A fretted note's deviation is d = p − o(t): its pitch p against that of its string's open note at that moment, o(t), interpolated
in time between open plucks. Contributions, all in cents:

- fit of the pitch, of each pluck by itself: √Σu²/n (type A, many samples);
- the open note it is judged from: common to all plucks of the note, so not divided by √n;
- the hand: scatter between repeats of the string, s/√n, with the degrees of freedom of the repeats (type A; 4.2.4);
- the tuning between open plucks: the open pitch went from one value to the next on a path not seen, taken as evenly likely within
  half the step about the line, so half/√3 (type B; 4.3.7);
- the gauge: its repeatability, where a gauge study gave one, as it is in the verdict.

Conventions
-----------
The document gives of each reading u² = u_fit² + u_open²; the two are parted here. An unknown contribution is left out and named.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from fretcheck.diagnosis.uncertainty import Budget, Component, rectangular
from fretcheck.inspection.document import InspectionDocument, ReadingPart

COVERAGE = 0.95


@dataclass(frozen=True, kw_only=True)
class NoteBudget:
    """A note, its budget, and what could not be put into it."""

    string: int
    fret: int
    deviation_cents: float
    plucks: int
    budget: Budget
    u_in_verdict_cents: float | None
    """The uncertainty that the verdict went by; it comes of the hand's scatter as the diagnosis estimates it."""
    left_out: tuple[str, ...]

    @property
    def expanded_cents(self) -> float:
        """U for a coverage of 95 %."""
        return self.budget.expanded(coverage=COVERAGE)

    @property
    def coverage_factor(self) -> float:
        """U / u."""
        return self.expanded_cents / self.budget.u


@dataclass(frozen=True, kw_only=True)
class _OpenPoint:
    """Open plucks with no fretted one between them."""

    start_s: float
    cents: float
    u_cents: float


def note_budget(document: InspectionDocument, *, string: int, fret: int) -> NoteBudget | None:
    """Budget of one note; None where it was not heard, or nothing of its uncertainty is known."""
    result = next((one for one in document.frets if (one.string, one.fret) == (string, fret)), None)
    own = [one for one in document.readings if one.string == string and one.used and one.press is None]
    plucks = [one for one in own if one.fret == fret and one.u_cents is not None]
    if result is None or result.deviation_cents is None or not plucks:
        return None
    points = _open_points(own) if fret > 0 else []
    components: list[Component] = []
    left_out: list[str] = []
    u_open = [_at(points, one.start_s) for one in plucks]
    fits = [math.sqrt(max((one.u_cents or 0.0) ** 2 - u**2, 0.0)) for one, u in zip(plucks, u_open, strict=True)]
    components.append(Component(name="fit of the pitch, each pluck", u=math.hypot(*fits) / len(fits)))
    if fret > 0:
        if points:
            components.append(Component(name="open note it is judged from", u=sum(u_open) / len(u_open)))
        else:
            left_out.append("open note: no usable open pluck in the document")
        scatter = document.conditions.hand_scatter_cents.get(string)
        freedom = _repeats(own)
        if scatter is not None and freedom > 0:
            components.append(Component(name="hand, from the repeats", u=scatter / math.sqrt(len(plucks)), freedom=freedom))
        elif scatter is not None:
            components.append(Component(name="hand, assumed: no repeats", u=scatter / math.sqrt(len(plucks))))
        else:
            left_out.append("hand: no note was plucked twice, and none was assumed")
        if len(points) > 1:
            half = 0.5 * max(_step(points, one.start_s) for one in plucks)
            components.append(Component(name="tuning between open plucks", u=rectangular(half)))
        else:
            left_out.append("tuning: one open pluck only, so no drift can be seen")
    if document.conditions.gauge_repeatability_cents:
        components.append(Component(name="gauge, from its study", u=document.conditions.gauge_repeatability_cents))
    budget = Budget(components=tuple(components))
    if budget.u == 0.0:
        return None
    return NoteBudget(
        string=string,
        fret=fret,
        deviation_cents=result.deviation_cents,
        plucks=len(plucks),
        budget=budget,
        u_in_verdict_cents=result.u_cents,
        left_out=tuple(left_out),
    )


def _open_points(own: Sequence[ReadingPart]) -> list[_OpenPoint]:
    """References as the readings were judged from: see `fretcheck.session.deviation.OpenReference`."""
    points: list[_OpenPoint] = []
    group: list[ReadingPart] = []
    for one in [*sorted(own, key=lambda reading: reading.start_s), None]:
        if one is not None and one.fret == 0:
            group.append(one)
        elif group:
            cents = [reading.deviation_cents or 0.0 for reading in group]
            u = [reading.u_cents or 0.0 for reading in group]
            points.append(
                _OpenPoint(
                    start_s=sum(reading.start_s for reading in group) / len(group),
                    cents=sum(cents) / len(group),
                    u_cents=math.hypot(*u) / len(group),
                )
            )
            group = []
    return points


def _around(points: Sequence[_OpenPoint], start_s: float) -> tuple[_OpenPoint, _OpenPoint]:
    before = [one for one in points if one.start_s <= start_s]
    after = [one for one in points if one.start_s > start_s]
    return (before or after)[-1 if before else 0], (after or before)[0 if after else -1]


def _at(points: Sequence[_OpenPoint], start_s: float) -> float:
    """Uncertainty of the open pitch at a moment, as it was interpolated."""
    if not points:
        return 0.0
    first, second = _around(points, start_s)
    if second.start_s == first.start_s:
        return first.u_cents
    share = (start_s - first.start_s) / (second.start_s - first.start_s)
    return first.u_cents + share * (second.u_cents - first.u_cents)


def _step(points: Sequence[_OpenPoint], start_s: float) -> float:
    first, second = _around(points, start_s)
    return abs(second.cents - first.cents)


def _repeats(own: Sequence[ReadingPart]) -> int:
    """Degrees of freedom of the string's pooled scatter: plucks beyond the first of every fretted note."""
    count: dict[int, int] = defaultdict(int)
    for one in own:
        if one.fret > 0:
            count[one.fret] += 1
    return sum(number - 1 for number in count.values())
