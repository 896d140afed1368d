"""The measurements by hand that a neck description may carry, each explained in one place.

Every one narrows the diagnosis: sound alone leaves some causes hard to tell apart. The error texts, the written neck.toml and
the documentation take their wording from here.

Conventions: lengths in mm. Distances along the neck start at the front edge of the nut (or the crown of the zero fret) and end
at the middle of a fret's crown, or at the edge of the saddle where the string leaves it. `u_mm` is a standard uncertainty;
where none is given it follows from the tool, but no part is better defined than `least_u_mm`. Ranges, and what tools and parts
allow, are common practice, no source. Outside what is usual a length is questioned when it fits the other unit better.
"""

from dataclasses import dataclass
from typing import Literal

from fretcheck.neck.lengths import Length, length

Need = Literal["required", "optional", "no"]
Tool = Literal["rule", "calliper", "feeler"]
# About half the smallest division that can be read with confidence: 0.5 mm or 1/64 in, 0.05 mm, leaves 0.05 mm apart
TOOL_U_MM: dict[Tool, float] = {"rule": 0.15, "calliper": 0.05, "feeler": 0.03}


@dataclass(frozen=True, kw_only=True)
class MeasurementKind:
    """One kind of measurement: what it is, what must be told with it, and its plausible range."""

    what: str
    meaning: str
    fret: Need = "no"
    string: Need = "no"
    limits: Length
    least_u_mm: float  # How well the ends of this length are defined, whatever the tool
    tool: Tool  # The usual one, taken where none is named

    def u_mm(self, tool: Tool | None = None) -> float:
        """Standard uncertainty by this tool."""
        return max(TOOL_U_MM[tool or self.tool], self.least_u_mm)


_ALL = (
    MeasurementKind(
        what="nut_to_fret", fret="required", string="optional", tool="rule",
        limits=length(5.0, 1400.0, 20.0, 1000.0), least_u_mm=0.05,
        meaning="from the nut to the crown of `fret` along `string` (if short, its own nut), or mid-neck if none is named",
    ),
    MeasurementKind(
        what="fret_to_fret", fret="required", string="optional", tool="calliper",
        limits=length(2.0, 90.0, 4.0, 90.0), least_u_mm=0.05,
        meaning="from the crown of the fret before `fret` to the crown of `fret`",
    ),
    MeasurementKind(
        what="nut_to_saddle", string="required", tool="rule", limits=length(200.0, 1540.0), least_u_mm=0.3,
        meaning="from the nut to the saddle along `string`, compensation included",
    ),
    MeasurementKind(
        what="first_fret_clearance", string="optional", tool="feeler", limits=length(0.0, 3.0, 0.05, 1.5), least_u_mm=0.03,
        meaning="gap between the crown of fret 1 and the underside of the open `string` (all strings if none is named)",
    ),
    MeasurementKind(
        what="action_12", string="optional", tool="rule", limits=length(0.2, 10.0, 0.5, 5.0), least_u_mm=0.05,
        meaning="gap between the crown of fret 12 and the underside of the open `string` (all strings if none is named)",
    ),
    MeasurementKind(
        what="relief", string="optional", tool="feeler", limits=length(-1.0, 2.0, 0.03, 1.0), least_u_mm=0.03,
        meaning="hollow of the neck at mid-length, string held down at the first and last fret; negative where it bulges",
    ),
    MeasurementKind(
        what="capo", tool="rule", limits=length(0.0, 30.0, 1.0, 20.0), least_u_mm=1.0,
        meaning="every note was stopped with a capo instead of a finger: distance of its pad's middle behind the fret",
    ),
)  # fmt: skip
MEASUREMENT_KINDS: dict[str, MeasurementKind] = {kind.what: kind for kind in _ALL}  # By `what`, as written in neck.toml
