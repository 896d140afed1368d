"""What strings are made of; numbers, units and sources stand in ``tables/materials.toml``."""

from dataclasses import dataclass

from fretcheck.neck.tables import table


@dataclass(frozen=True, kw_only=True)
class Material:
    """One row of the table: kg/m³, GPa, relative standard uncertainties."""

    name: str
    density_kg_m3: float
    u_density_rel: float
    modulus_gpa: float | None = None  # None for a polymer, whose modulus is no constant of the material
    u_modulus_rel: float | None = None

    @property
    def is_polymer(self) -> bool:
        return self.modulus_gpa is None


MATERIALS = {name: Material(name=name, **row) for name, row in table("materials").items()}  # By name, as in neck.toml


def default_core(winding: str) -> str:
    """Core material when none is given: common practice, no source.

    Silvered copper and silver are wound on strands of nylon, all else on steel.
    """
    return "nylon" if winding in ("silver_plated_copper", "silver") or MATERIALS[winding].is_polymer else "steel"
