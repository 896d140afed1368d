"""The uncertainty budget of one note (GUM, JCGM 100:2008), from what its inspection's document holds.

A fretted note's deviation is d = p − o(t): its pitch p against that of its string's open note at that moment, o(t), interpolated
in time between open plucks. Contributions to the mean of its plucks, all in cents and all as the diagnosis took them:

- fit of the pitch, of each pluck by itself: √Σu²/n (type A, many samples);
- the open note it is judged from, its scatter and drift: common to all plucks of the string, so not divided by √n;
- the open strings' being plucked harder than the stopped ones, alike on all (type B, as the diagnosis assumes it);
- the hand: scatter of a pluck s/√n, with the degrees of freedom of the repeats (type A; 4.2.4);
- the gauge: its repeatability, where a gauge study gave one.

The combined standard uncertainty is their root sum of squares (5.1.2), its effective degrees of freedom follow Welch and
Satterthwaite (G.4.1), and the expanded uncertainty is u times Student's t for the coverage asked for (G.3).

What the neck's other notes tell of this one is not in the lines: the verdict goes by the note's posterior, whose uncertainty
stands beside the budget.
"""

import math
from collections import Counter
from dataclasses import dataclass

from scipy.special import ndtri, stdtrit

from fretcheck.diagnosis.infer.inference import OPENS
from fretcheck.diagnosis.infer.scatter import wider_at
from fretcheck.inspection.document import FretPart, InspectionDocument

COVERAGE = 0.95


@dataclass(frozen=True, kw_only=True)
class Component:
    """One line of a budget."""

    name: str
    u: float  # Standard uncertainty that it adds to the result, in the result's unit
    freedom: float = math.inf  # Infinite for a figure taken as exactly known


@dataclass(frozen=True, kw_only=True)
class Budget:
    """A combined uncertainty and the lines it is made of."""

    components: tuple[Component, ...]

    @property
    def u(self) -> float:
        """Combined standard uncertainty."""
        return math.hypot(*(component.u for component in self.components))

    @property
    def freedom(self) -> float:
        """Effective degrees of freedom, Welch–Satterthwaite: u⁴ / Σ(u_i⁴/ν_i)."""
        below = sum(component.u**4 / component.freedom for component in self.components)
        return self.u**4 / below if below else math.inf

    def expanded(self, *, coverage: float = COVERAGE) -> float:
        """Expanded uncertainty U = t(coverage, ν)·u, ν truncated to the next lower integer (G.4.1, note 1)."""
        freedom = self.freedom
        tail = 0.5 + coverage / 2.0
        factor = float(ndtri(tail)) if math.isinf(freedom) else float(stdtrit(max(1, math.floor(freedom)), tail))
        return factor * self.u


@dataclass(frozen=True, kw_only=True)
class NoteBudget:
    """A note, the budget of its plucks' mean, and what could not be put into it."""

    string: int
    fret: int
    plucked_cents: float
    plucks: int
    budget: Budget
    deviation_cents: float | None
    # The posterior of the note, which the verdict went by: its plucks together with all the others
    u_in_verdict_cents: float | None
    left_out: tuple[str, ...]

    @property
    def expanded_cents(self) -> float:
        """U for a coverage of 95 %."""
        return self.budget.expanded()

    @property
    def coverage_factor(self) -> float:
        """U / u."""
        return self.expanded_cents / self.budget.u


def plucked_u_cents(document: InspectionDocument, note: FretPart) -> float | None:
    """Standard uncertainty of the mean of a note's plucks: the hand's and its string's open reference; the gauge's left out.

    Of a document of version 0.1, the one it gives. None for a note that was not heard.
    """
    how = document.conditions
    if note.plucked_cents is None or not note.plucks:
        return None
    if note.string not in how.hand_scatter_cents or not how.open_u_cents:
        if note.u_cents is None or how.gauge_repeatability_cents is None:
            return note.u_cents
        return math.sqrt(max(note.u_cents**2 - how.gauge_repeatability_cents**2, 0.0))
    hand = how.hand_scatter_cents[note.string] * wider_at(note.fret, how.hand_wider_low)
    return math.hypot(hand / math.sqrt(note.plucks), how.open_u_cents.get(note.string, 0.0))


def note_budget(document: InspectionDocument, *, string: int, fret: int) -> NoteBudget | None:
    """Budget of one note; None where it was not heard, or nothing of its uncertainty is known."""
    result = next((one for one in document.frets if (one.string, one.fret) == (string, fret)), None)
    own = [one for one in document.readings if one.string == string and one.used and one.press is None]
    fits = [one.u_cents for one in own if one.fret == fret and one.u_cents is not None]
    if result is None or result.plucked_cents is None or not fits:
        return None
    how, root = document.conditions, math.sqrt(len(fits))
    components = [Component(name="fit of the pitch, each pluck", u=math.hypot(*fits) / len(fits))]
    left_out: list[str] = []
    if string in how.open_u_cents:
        components.append(Component(name="open note, its scatter and drift", u=how.open_u_cents[string]))
    elif fret > 0:
        left_out.append("open note: the document does not tell")
    if fret > 0:
        components.append(Component(name="strings plucked harder open than stopped", u=_open_level_u()))
    if fret > 0 and string in how.hand_scatter_cents:
        scatter = how.hand_scatter_cents[string] * wider_at(fret, how.hand_wider_low)
        freedom = sum(count - 1 for place, count in Counter(one.fret for one in own).items() if place > 0)
        name = "hand, from the repeats" if freedom else "hand, from the neck's smoothness"
        components.append(Component(name=name, u=scatter / root, freedom=freedom or math.inf))
    elif fret > 0:
        left_out.append("hand: the document does not tell")
    if how.gauge_repeatability_cents:
        components.append(Component(name="gauge, from its study", u=how.gauge_repeatability_cents))
    budget = Budget(components=tuple(components))
    if budget.u == 0.0:
        return None
    return NoteBudget(
        string=string,
        fret=fret,
        plucked_cents=result.plucked_cents,
        plucks=len(fits),
        budget=budget,
        deviation_cents=result.deviation_cents,
        u_in_verdict_cents=result.u_cents,
        left_out=tuple(left_out),
    )


def _open_level_u() -> float:
    """Of how much sharper open strings read than stopped ones, as the diagnosis takes it: standard deviation of its mixture."""
    mean = sum(share * level for (level, _), share in OPENS)
    return math.sqrt(sum(share * (u**2 + (level - mean) ** 2) for (level, u), share in OPENS))
