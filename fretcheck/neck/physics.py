"""The constants of a string that decide how it stretches and how stiff it is.

Symbols follow M. B. Anderson & R. G. Beausoleil, "Classical guitar intonation and compensation: The well-tempered guitar",
J. Acoust. Soc. Am. 156(1), 683 (2024): κ = E·A/T0 (only the core carries in a wound string), β0 = √(E·I/(T0·L0²)).
Inharmonicity B = π²β0² after H. Fletcher (1964). For a solid round string κ = E/(ρ·(2·L0·f)²) and β0 = √κ·d/(4·L0).

Conventions: mm, N, g/m; `u_…` are absolute standard uncertainties, `u_rel` relative ones (the standard deviation of the
logarithm). What the description cannot tell is None with a reason in `reason`; beside it always stands a prior, wide where
little is known.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple

from fretcheck.neck.description import Neck, String
from fretcheck.neck.materials import MATERIALS, Material, default_core

U_GAUGE_MM = 0.004  # makers' gauges: common practice, no source
U_GIVEN_REL = 0.02  # tension or mass copied from a data sheet: common practice, no source
U_USUAL_CORE_REL = 0.20  # of `usual_core_mm`: common practice, no source
PACKING, U_PACKING_REL = math.pi / 4.0, 0.05  # round wire, turn against turn
U_WOUND_STIFFNESS_REL = 0.15  # what the winding adds to the core's bending stiffness, as a share of β0
# Prior only. κ of measured nylon strings: 46–59 in Anderson & Beausoleil's table (READ), 70–85 from EI, T and mass per length of
# trebles in J. Woodhouse, Acta Acustica u. w. Acustica 90, 945 (2004), Table I, at 1140 kg/m³ (READ at second hand, CALC).
POLYMER_KAPPA, U_POLYMER_KAPPA_REL = 60.0, 0.40
U_POLYMER_BENDING_REL = 0.25  # a polymer bends stiffer at audio rates than it stretches: 1.2 to 1.5 times published values
U_POLYMER_CORE_REL = 0.50  # on β0: strands under a winding bend more easily than one solid core

LOWEST_TENSION_N, HIGHEST_TENSION_N = 15.0, 300.0
GIVEN_AGAINST_COMPUTED = 1.35  # A given tension this many times over or under the one computed from mass or gauge is doubted


@dataclass(frozen=True, kw_only=True)
class Prior:
    """A positive quantity known to a factor: log-normal with this median and standard deviation of the logarithm."""

    median: float
    u_rel: float


@dataclass(frozen=True, kw_only=True)
class StringConstants:
    """What the design says about one string's tension, stretch and stiffness."""

    open_length_mm: float  # Speaking length of the open string, compensation included
    mass_per_length_g_m: float
    tension_n: float
    u_tension_n: float
    kappa: float | None  # κ = EA/T0, no unit
    u_kappa: float | None
    inharmonicity: float | None  # B = π²β0² of the open string
    u_inharmonicity: float | None
    kappa_prior: Prior  # Also where `kappa` is None
    beta0_prior: Prior
    reason: str | None  # Why `kappa` or `inharmonicity` is None, and what would tell it; None where both are known


class _Inputs(NamedTuple):
    """The uncertain quantities from which the rest follows, SI units, as values or as relative uncertainties; NaN: not known."""

    gauge: float
    core: float
    density: float
    winding_density: float
    modulus: float
    mass: float
    tension: float
    packing: float = PACKING


def string_constants(
    neck: Neck, number: int, *, inharmonicity: float | None = None, u_inharmonicity: float | None = None
) -> StringConstants:
    """Constants of one string from its description and, if there is one, the measured inharmonicity of its open note.

    `neck`, `number`: the string's number. A given tension or mass per length is preferred to one computed from gauge and
    density. `inharmonicity`, `u_inharmonicity`: measured B of the open string and its standard uncertainty; they go together.
    """
    string = neck.string(number)
    winding = MATERIALS[string.material]
    wound = string.construction == "wound"
    core = core_of(string)
    length_m = neck.open_length_mm(number) / 1000.0
    speed = 2.0 * length_m * neck.open_hz(number)
    inputs, u_rel = _inputs(string, core=core, winding=winding)

    def mass(at: _Inputs) -> float:
        return at.mass if string.mass_per_length_g_m is not None else _mass_kg_m(at, wound=wound)

    def tension(at: _Inputs) -> float:
        return at.tension if string.tension_n is not None else mass(at) * speed**2

    def kappa(at: _Inputs) -> float:
        return at.modulus * math.pi * at.core**2 / 4.0 / tension(at)

    def beta0(at: _Inputs) -> float:
        return math.sqrt(at.modulus * math.pi * at.core**4 / 64.0 / tension(at)) / length_m

    tension_prior = _prior(tension, inputs, u_rel)
    if core.is_polymer:
        kappa_prior = Prior(median=POLYMER_KAPPA, u_rel=U_POLYMER_KAPPA_REL)
        beta0_prior = Prior(
            median=math.sqrt(POLYMER_KAPPA) * string.gauge_mm / 4000.0 / length_m,
            u_rel=U_POLYMER_CORE_REL if wound else U_POLYMER_KAPPA_REL / 2.0,
        )
    else:
        kappa_prior, beta0_prior = _prior(kappa, inputs, u_rel), _prior(beta0, inputs, u_rel)
        if wound:
            beta0_prior = replace(beta0_prior, u_rel=math.hypot(beta0_prior.u_rel, U_WOUND_STIFFNESS_REL))
    reason = _reason(string, core)
    kappa_known = beta0_known = reason is None
    if inharmonicity is not None and u_inharmonicity is not None:
        beta0_prior = Prior(median=math.sqrt(inharmonicity) / math.pi, u_rel=u_inharmonicity / inharmonicity / 2.0)
        beta0_known = True
        if not wound and core.is_polymer:  # a solid round string: κ follows from β0
            kappa_prior = Prior(
                median=(4000.0 * length_m * beta0_prior.median / string.gauge_mm) ** 2,
                u_rel=math.hypot(2.0 * beta0_prior.u_rel, 2.0 * U_GAUGE_MM / string.gauge_mm, U_POLYMER_BENDING_REL),
            )
            kappa_known, reason = True, None
    return StringConstants(
        open_length_mm=length_m * 1000.0,
        mass_per_length_g_m=mass(inputs) * 1000.0,
        tension_n=tension_prior.median,
        u_tension_n=tension_prior.median * tension_prior.u_rel,
        kappa=kappa_prior.median if kappa_known else None,
        u_kappa=kappa_prior.median * kappa_prior.u_rel if kappa_known else None,
        inharmonicity=(math.pi * beta0_prior.median) ** 2 if beta0_known else None,
        u_inharmonicity=2.0 * beta0_prior.u_rel * (math.pi * beta0_prior.median) ** 2 if beta0_known else None,
        kappa_prior=kappa_prior,
        beta0_prior=beta0_prior,
        reason=reason,
    )


def core_of(string: String) -> Material:
    """What carries the string's tension: the string itself, or a wound one's core."""
    usual = default_core(string.material) if string.construction == "wound" else string.material
    return MATERIALS[string.core_material or usual]


def usual_core_mm(gauge_mm: float) -> float:
    """Core of a wound string where it is not given: thicker strings have thicker cores, but a smaller share of the whole.

    Common practice, no source; good to about `U_USUAL_CORE_REL`.
    """
    return min(0.22 + 0.17 * gauge_mm, 0.7 * gauge_mm)


def _reason(string: String, core: Material) -> str | None:
    if core.is_polymer:
        part = "core" if string.construction == "wound" else "string"
        return f"the stiffness of a {core.name} {part} varies twofold with stress: only its measured inharmonicity tells it"
    if string.construction == "wound" and string.core_mm is None:
        return "core_mm is not given: only the core carries a wound string's tension"
    return None


def _inputs(string: String, *, core: Material, winding: Material) -> tuple[_Inputs, _Inputs]:
    """Values and relative uncertainties of what the constants are computed from."""
    wound = string.construction == "wound"
    gauge = string.gauge_mm
    core_mm = (string.core_mm or usual_core_mm(gauge)) if wound else gauge
    u_core = U_USUAL_CORE_REL if wound and string.core_mm is None else U_GAUGE_MM / core_mm
    values = _Inputs(
        gauge=gauge / 1000.0,
        core=core_mm / 1000.0,
        density=core.density_kg_m3,
        winding_density=winding.density_kg_m3,
        modulus=(core.modulus_gpa or math.nan) * 1e9,
        mass=(string.mass_per_length_g_m or math.nan) / 1000.0,
        tension=string.tension_n or math.nan,
    )
    u_rel = _Inputs(
        gauge=U_GAUGE_MM / gauge if wound else 0.0,  # a plain string's gauge is its core
        core=u_core,
        density=core.u_density_rel,
        winding_density=winding.u_density_rel,
        modulus=core.u_modulus_rel or math.nan,
        mass=U_GIVEN_REL,
        tension=U_GIVEN_REL,
        packing=U_PACKING_REL,
    )
    return values, u_rel


def _mass_kg_m(at: _Inputs, *, wound: bool) -> float:
    """Mass per length: the solid core, and the ring of round wire about it."""
    core = at.density * math.pi * at.core**2 / 4.0
    ring = at.winding_density * at.packing * math.pi * (at.gauge**2 - at.core**2) / 4.0 if wound else 0.0
    return core + ring


def _prior(quantity: Callable[[_Inputs], float], at: _Inputs, u_rel: _Inputs) -> Prior:
    """Value of `quantity` and its relative uncertainty to first order, derivatives taken numerically (GUM, 5.1)."""
    value, variance, step = quantity(at), 0.0, 1e-4
    for name, one, u in zip(_Inputs._fields, at, u_rel, strict=True):
        if not math.isnan(one):  # of what is not known nothing is computed
            high, low = (quantity(at._replace(**{name: one * (1.0 + change)})) for change in (step, -step))
            variance += ((high - low) / (2.0 * step * value) * u) ** 2
    return Prior(median=value, u_rel=math.sqrt(variance))


def constants_of(neck: Neck) -> tuple[StringConstants, ...]:
    return tuple(string_constants(neck, number) for number in range(1, len(neck.strings) + 1))


def doubts(neck: Neck) -> tuple[str, ...]:
    """What is allowed about `neck` but unusual: the user is told. Limits are common practice, no source."""
    found: list[str] = []
    unknown: dict[str, list[str]] = {}
    for number, (string, constants) in enumerate(zip(neck.strings, constants_of(neck), strict=True), start=1):
        tension = constants.tension_n
        if not LOWEST_TENSION_N <= tension <= HIGHEST_TENSION_N:
            found.append(
                f"String {number}: {string.note} would pull {tension:.0f} N; usual are {LOWEST_TENSION_N:g} to "
                f"{HIGHEST_TENSION_N:g} N. Check note, gauge, material and scale length before tuning up."
            )
        if string.tension_n is not None:
            speed = 2.0e-3 * constants.open_length_mm * neck.open_hz(number)
            computed = constants.mass_per_length_g_m * 1e-3 * speed**2
            if not 1.0 / GIVEN_AGAINST_COMPUTED <= tension / computed <= GIVEN_AGAINST_COMPUTED:
                found.append(
                    f"String {number}: tension_n = {tension:g} is given, but its mass and note make {computed:.0f} N. "
                    "Was it given for another scale length or tuning?"
                )
        if constants.reason is not None:
            unknown.setdefault(constants.reason, []).append(str(number))
    for reason, numbers in unknown.items():
        which = f"String {numbers[0]}" if len(numbers) == 1 else f"Strings {', '.join(numbers)}"
        found.append(f"{which}: stretch and stiffness are only roughly known: {reason}.")
    return tuple(found)
