"""The measurements by hand that a neck description may carry, each explained in one place.

Every one narrows the diagnosis: sound alone leaves some causes hard to tell apart. The error texts, the written neck.toml and
the documentation take their wording from here.

Conventions: lengths in mm. Distances along the neck start at the front edge of the nut (or the crown of the zero fret) and end
at the middle of a fret's crown, or at the edge of the saddle where the string leaves it. `u_mm` is a standard uncertainty;
where none is given it follows from the tool, but no part is better defined than `least_u_mm`. Ranges, and what tools and parts
allow, are common practice, no source. Outside `usual_mm` a length is questioned when it fits the other unit better.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Need = Literal["required", "optional", "no"]
Tool = Literal["rule", "calliper", "feeler"]
# About half the smallest division that can be read with confidence: 0.5 mm or 1/64 in, 0.05 mm, leaves 0.05 mm apart
TOOL_U_MM: dict[Tool, float] = {"rule": 0.15, "calliper": 0.05, "feeler": 0.03}


@dataclass(frozen=True, kw_only=True)
class MeasurementKind:
    """One kind of measurement: what it is, what must be told with it, and its plausible range."""

    what: str
    meaning: str
    fret: Need
    string: Need
    low_mm: float
    high_mm: float
    usual_mm: tuple[float, float]
    least_u_mm: float  # How well the ends of this length are defined, whatever the tool
    tool: Tool  # The usual one, taken where none is named

    def u_mm(self, tool: Tool | None = None) -> float:
        """Standard uncertainty by this tool."""
        return max(TOOL_U_MM[tool or self.tool], self.least_u_mm)


# By `what`, as written in neck.toml
MEASUREMENT_KINDS: dict[str, MeasurementKind] = {
    kind.what: kind
    for kind in (
        MeasurementKind(
            what="nut_to_fret",
            meaning="from the nut to the crown of `fret` along `string` (if short, its own nut), or mid-neck if none is named",
            fret="required",
            string="optional",
            low_mm=5.0,
            high_mm=1400.0,
            usual_mm=(20.0, 1000.0),
            least_u_mm=0.05,
            tool="rule",
        ),
        MeasurementKind(
            what="fret_to_fret",
            meaning="from the crown of the fret before `fret` to the crown of `fret`",
            fret="required",
            string="optional",
            low_mm=2.0,
            high_mm=90.0,
            usual_mm=(4.0, 90.0),
            least_u_mm=0.05,
            tool="calliper",
        ),
        MeasurementKind(
            what="nut_to_saddle",
            meaning="from the nut to the saddle along `string`, compensation included",
            fret="no",
            string="required",
            low_mm=200.0,
            high_mm=1540.0,
            usual_mm=(200.0, 1540.0),
            least_u_mm=0.3,
            tool="rule",
        ),
        MeasurementKind(
            what="first_fret_clearance",
            meaning="gap between the crown of fret 1 and the underside of the open `string` (all strings if none is named)",
            fret="no",
            string="optional",
            low_mm=0.0,
            high_mm=3.0,
            usual_mm=(0.05, 1.5),
            least_u_mm=0.03,
            tool="feeler",
        ),
        MeasurementKind(
            what="action_12",
            meaning="gap between the crown of fret 12 and the underside of the open `string` (all strings if none is named)",
            fret="no",
            string="optional",
            low_mm=0.2,
            high_mm=10.0,
            usual_mm=(0.5, 5.0),
            least_u_mm=0.05,
            tool="rule",
        ),
        MeasurementKind(
            what="relief",
            meaning="hollow of the neck at mid-length, string held down at the first and last fret; negative where it bulges",
            fret="no",
            string="optional",
            low_mm=-1.0,
            high_mm=2.0,
            usual_mm=(0.03, 1.0),
            least_u_mm=0.03,
            tool="feeler",
        ),
        MeasurementKind(
            what="capo",
            meaning="every note was stopped with a capo instead of a finger: distance of its pad's middle behind the fret",
            fret="no",
            string="no",
            low_mm=0.0,
            high_mm=30.0,
            usual_mm=(1.0, 20.0),
            least_u_mm=1.0,
            tool="rule",
        ),
    )
}
