"""The kinds of measurement by hand that a neck description may carry; each is told in ``tables/measurements.toml``.

Every one narrows the diagnosis: sound alone leaves some causes hard to tell apart.

Conventions: lengths in mm. `u_mm` is a standard uncertainty; where none is given it follows from the tool, but no part is better
defined than `least_u_mm`. What tools allow is common practice, no source.
"""

from dataclasses import dataclass
from typing import Literal

from fretcheck.neck.lengths import Length, length
from fretcheck.neck.tables import table

Need = Literal["required", "optional", "no"]
# About half the smallest division that can be read with confidence: 0.5 mm or 1/64 in, 0.05 mm, leaves 0.05 mm apart
TOOL_U_MM: dict[str, float] = {"rule": 0.15, "calliper": 0.05, "feeler": 0.03}


@dataclass(frozen=True, kw_only=True)
class MeasurementKind:
    """One kind of measurement: what it is, what must be told with it, and its plausible range."""

    what: str
    meaning: str
    fret: Need = "no"
    string: Need = "no"
    limits: Length
    least_u_mm: float
    tool: str

    def u_mm(self, tool: str | None = None) -> float:
        """Standard uncertainty by this tool."""
        return max(TOOL_U_MM[tool or self.tool], self.least_u_mm)


MEASUREMENT_KINDS = {  # By `what`, as written in neck.toml
    what: MeasurementKind(what=what, limits=length(*row.pop("limits_mm")), **row) for what, row in table("measurements").items()
}
