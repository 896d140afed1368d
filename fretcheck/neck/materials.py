"""What strings are made of: density and, where it is a constant at all, Young's modulus.

Conventions: density in kg/m³, modulus in GPa; `u_…_rel` are relative standard uncertainties that cover the spread between
alloys and makers. A polymer has no modulus here on purpose: it varies twofold with stress and rate, so its stiffness must come
from a measured inharmonicity. Source status of each row is in `source`: READ, MEMORY (handbook values from memory) or CALC.
"""

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Material:
    """One row of the table."""

    name: str
    density_kg_m3: float
    u_density_rel: float
    modulus_gpa: float | None
    u_modulus_rel: float | None
    source: str

    @property
    def is_polymer(self) -> bool:
        """True where the modulus is no constant of the material."""
        return self.modulus_gpa is None


def _metal(name: str, density: float, u_density: float, modulus: float, u_modulus: float, source: str) -> Material:
    return Material(
        name=name, density_kg_m3=density, u_density_rel=u_density, modulus_gpa=modulus, u_modulus_rel=u_modulus, source=source
    )


def _polymer(name: str, density: float, u_density: float, source: str) -> Material:
    return Material(
        name=name, density_kg_m3=density, u_density_rel=u_density, modulus_gpa=None, u_modulus_rel=None, source=source
    )


# By name, as written in neck.toml
MATERIALS: dict[str, Material] = {
    row.name: row
    for row in (
        _metal("steel", 7850.0, 0.01, 200.0, 0.05, "MEMORY: drawn carbon steel wire, 195–210 GPa"),
        _metal("stainless_steel", 7900.0, 0.01, 190.0, 0.05, "MEMORY: austenitic stainless wire"),
        _metal("nickel_plated_steel", 7950.0, 0.02, 200.0, 0.05, "MEMORY: steel with a few percent of nickel"),
        _metal("nickel", 8500.0, 0.05, 200.0, 0.07, "MEMORY: between plated steel (7950) and pure nickel (8900)"),
        _metal("bronze", 8750.0, 0.02, 110.0, 0.07, "MEMORY: tin, phosphor and 80/20 bronzes, 8500–8900 kg/m³"),
        _metal("phosphor_bronze", 8850.0, 0.01, 110.0, 0.07, "MEMORY: copper with 5–8 % tin"),
        _metal("brass", 8500.0, 0.015, 105.0, 0.07, "MEMORY: 70/30 to 85/15 brass"),
        _metal("copper", 8950.0, 0.01, 120.0, 0.07, "MEMORY: drawn copper"),
        _metal("silver_plated_copper", 8980.0, 0.015, 120.0, 0.07, "MEMORY: copper with a thin coat of silver"),
        _metal("silver", 10450.0, 0.01, 80.0, 0.07, "MEMORY: silver"),
        _metal("titanium", 4500.0, 0.015, 110.0, 0.07, "MEMORY: titanium"),
        _polymer("nylon", 1140.0, 0.04, "MEMORY: polyamide monofilament, 1070–1150 kg/m³"),
        _polymer("fluorocarbon", 1780.0, 0.02, "MEMORY: polyvinylidene fluoride monofilament"),
        _polymer("gut", 1300.0, 0.05, "MEMORY: twisted gut, varies with moisture"),
        _polymer("polyester", 1380.0, 0.03, "MEMORY: polyethylene terephthalate monofilament"),
    )
}


def default_core(winding: str) -> str:
    """Core material when none is given: common practice, no source.

    Silvered copper and silver are wound on strands of nylon, all else on steel.
    """
    return "nylon" if winding in ("silver_plated_copper", "silver") or MATERIALS[winding].is_polymer else "steel"
