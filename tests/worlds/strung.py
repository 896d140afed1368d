"""The strings a neck really wears: wire from its density and modulus, polymers from published stretch.

A solid round string: κ = E/(ρ(2 L f)²), β0 = √κ·d/(4 L). A wound one: its core carries, T = μ(2 L f)² with the winding's ring.
Polymers: κ about 50 (nylon sets 46–59: M. B. Anderson & R. G. Beausoleil, JASA 156, 683 (2024)).

Conventions
-----------
SI inside; mm outside.
"""

from __future__ import annotations

import numpy as np

from fretcheck.neck.description import Neck, String
from tests.synth.nominal import note_frequency_hz
from tests.worlds.built import GRID, StringMatter
from tests.worlds.fretting import Reals, uneven_mass_cents
from tests.worlds.kinds import World

STEEL_GPA, STEEL_KG_M3 = 200.0, 7850.0  # drawn wire, from memory
KG_M3 = {"steel": 7850.0, "phosphor_bronze": 8850.0, "nickel_plated_steel": 7950.0, "silver_plated_copper": 8980.0}
POLYMER_KG_M3 = {"nylon": 1140.0, "fluorocarbon": 1780.0}
POLYMER_KAPPA, POLYMER_KAPPA_REL = 51.0, 0.10
WINDING_FILL = np.pi / 4.0
WINDING_STIFFNESS = 1.05
"""Of β0: turns touch and resist bending a little (common practice, no source)."""
LUMP_MM = 90.0
"""Length over which a string's mass is of a piece: wire is drawn and wound by the metre, wear sits between frets."""


def core_mm(string: String) -> float:
    """Core of a wound string: given, or a round wire of about 0.4 of the whole, more where it is thin (common practice)."""
    if string.construction == "plain":
        return string.gauge_mm
    return string.core_mm or min(0.2 + 0.18 * string.gauge_mm, 0.7 * string.gauge_mm)


def constants(
    string: String, *, reference_hz: float, core: float, gauge: float, modulus: float = 1.0
) -> tuple[float, float, float]:
    """κ, β0 and √(Tμ) in kg/s; `core`, `gauge`, `modulus` are factors on what is usual."""
    length = (string.scale_length_mm * 2.0 ** (-string.first_fret / 12.0) + (string.saddle_setback_mm or 0.0)) / 1000.0
    wave = 2.0 * length * note_frequency_hz(string.note, reference_hz=reference_hz)
    outer = string.gauge_mm * gauge / 1000.0
    polymer = string.material in POLYMER_KG_M3 or string.material == "silver_plated_copper"
    if string.construction == "plain":
        density = POLYMER_KG_M3.get(string.material, STEEL_KG_M3)
        kappa = POLYMER_KAPPA * modulus if polymer else modulus * STEEL_GPA * 1e9 / density / wave**2
        mass = density * np.pi * outer**2 / 4.0
        return kappa, np.sqrt(kappa) * outer / 4.0 / length, mass * wave
    inner = min(core_mm(string) * core * gauge / 1000.0, 0.9 * outer)
    density = POLYMER_KG_M3["nylon"] if polymer else STEEL_KG_M3
    mass = np.pi / 4.0 * (density * inner**2 + KG_M3[string.material] * WINDING_FILL * (outer**2 - inner**2))
    if polymer:
        kappa = POLYMER_KAPPA * modulus
        return kappa, np.sqrt(kappa) * outer / 4.0 / length, mass * wave  # as in [AB]'s table for their wound strings
    tension = mass * wave**2
    kappa = modulus * STEEL_GPA * 1e9 * np.pi * inner**2 / 4.0 / tension
    beta0 = WINDING_STIFFNESS * np.sqrt(modulus * STEEL_GPA * 1e9 * np.pi * inner**4 / 64.0 / tension) / length
    return kappa, beta0, mass * wave


def uneven(rng: np.random.Generator, string: String, worst_cents: float, *, frets: int) -> Reals:
    """Excess of mass at `GRID`, laid so that the worst fretted note is off by `worst_cents` against the open one."""
    at = GRID * string.scale_length_mm
    smooth = np.exp(-0.5 * ((at[:, None] - at) / LUMP_MM) ** 2)
    extra = 1e-3 * np.linalg.cholesky(smooth + 1e-6 * np.eye(len(at))) @ rng.standard_normal(len(at))
    stops = string.scale_length_mm * (1.0 - np.exp2(-np.arange(string.first_fret, frets + 1) / 12.0))
    cents = uneven_mass_cents(extra, at, stops, string.scale_length_mm)
    return extra * worst_cents / np.max(np.abs(cents[1:] - cents[0]))


def strung(rng: np.random.Generator, neck: Neck, world: World) -> StringMatter:
    """What the neck wears."""
    rows, extras = [], []
    for string in neck.strings:
        core = float(np.exp(world.core_rel * rng.standard_normal()))
        gauge = float(np.exp(world.gauge_rel * rng.standard_normal()))
        polymer = string.material in POLYMER_KG_M3 or string.material == "silver_plated_copper"
        modulus = float(np.exp((POLYMER_KAPPA_REL if polymer else world.modulus_rel) * rng.standard_normal()))
        row = constants(string, reference_hz=neck.reference_hz, core=core, gauge=gauge, modulus=modulus)
        ratio = float(rng.uniform(*world.polymer_ratio))
        rows.append((row[0], row[1] * np.sqrt(ratio) if polymer else row[1], row[2]))
        extras.append(uneven(rng, string, world.string_cents * float(rng.standard_normal()), frets=neck.frets))
    kappa, beta0, impedance = np.array(rows).T
    clamp = float(rng.uniform(*world.clamp))
    return StringMatter(kappa=kappa, beta0=beta0, impedance=impedance, extra=np.array(extras), clamp=clamp)
