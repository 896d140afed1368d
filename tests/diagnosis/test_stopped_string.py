"""The fretting model against the values of its paper, and its derivatives against numerical ones.

[AB] = M. B. Anderson & R. G. Beausoleil, J. Acoust. Soc. Am. 156(1), 683 (2024). READ: values printed there; CALC: computed
from its equations outside this project.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import ArrayLike, NDArray

from fretcheck.diagnosis.model.stopped_string import LOCALS, Stop, lengths, partials, sharpness_cents, stiffness_factor

FRETS = np.arange(1, 13)


def stop(
    *, frets: ArrayLike = FRETS, scale: float = 650.0, b: float = 1.0, c: float = 4.0, d: float = 0.0, saddle: float = 0.0,
    nut_setback: float = 0.0, kappa: float = 51.0, beta: float = 0.00236, end: float = 1.0,
) -> Stop:  # fmt: skip
    def full(value: float) -> NDArray[np.float64]:
        return np.full(np.shape(frets), value)

    return Stop(
        scale=full(scale), ratio=2.0 ** (np.asarray(frets) / 12.0), fret=full(0.0), nut=full(-nut_setback), saddle=full(saddle),
        nut_height=full(b), saddle_height=full(b + c), finger=full(d), relief=full(0.0), log_kappa=full(math.log(kappa)),
        log_beta=full(math.log(beta)), end=full(end), depth=full(0.0), cents=full(0.0),
    )  # fmt: skip


def best_setbacks(*, kappa: float, beta: float) -> tuple[float, float, float]:
    """Saddle and nut setback of least rms deviation over frets 1–12, and that rms ([AB] minimise the same)."""
    saddle = nut = 0.0
    for _ in range(6):
        here = stop(saddle=saddle, nut_setback=nut, kappa=kappa, beta=beta)
        slopes = partials(here)
        matrix = np.column_stack([slopes["saddle"], -slopes["nut"]])
        step, *_ = np.linalg.lstsq(matrix, -sharpness_cents(here), rcond=None)
        saddle, nut = saddle + step[0], nut + step[1]
    rest = sharpness_cents(stop(saddle=saddle, nut_setback=nut, kappa=kappa, beta=beta))
    return saddle, nut, float(np.sqrt(np.mean(rest**2)))


def test_stretch_at_the_first_fret() -> None:
    # [AB] READ: Q1 = 47e-6 at d = 10 mm with both setbacks; printed to two digits.
    *_, q = lengths(stop(frets=[1], d=10.0, saddle=1.9, nut_setback=-0.37))
    assert q[0] == pytest.approx(47e-6, abs=0.5e-6)


def test_resonant_length_term_at_fret_12() -> None:
    # [AB] READ: −0.17 c, printed to two digits; without tension's and stiffness's terms only 600·log2(1+Q) stands beside it.
    slack = stop(frets=[12], kappa=1e-12, beta=1e-12)
    assert sharpness_cents(slack) - 600.0 * np.log2(1.0 + lengths(slack)[2]) == pytest.approx(-0.17, abs=0.005)


def test_undisturbed_nylon_string() -> None:
    # CALC from the equations of [AB], ΔS = ΔN = d = 0, frets 1–12; half a unit of the last printed digit.
    published = [1.727, 1.609, 1.817, 2.124, 2.483, 2.883, 3.316, 3.782, 4.280, 4.810, 5.375, 5.975]
    assert sharpness_cents(stop()) == pytest.approx(published, abs=6e-4)


@pytest.mark.parametrize(
    ("kappa", "beta", "saddle", "nut", "rms"),
    [
        (48.2, 0.00190, 1.48, -0.36, 0.15), (48.7, 0.00220, 1.69, -0.36, 0.15), (58.6, 0.00301, 2.33, -0.43, 0.19),
        (46.0, 0.00192, 1.48, -0.34, 0.14), (48.7, 0.00239, 1.82, -0.36, 0.15), (58.2, 0.00321, 2.46, -0.43, 0.19),
    ],
)  # fmt: skip
def test_setbacks_of_a_nylon_set(kappa: float, beta: float, saddle: float, nut: float, rms: float) -> None:
    # [AB] READ: E4 to E2, X0 650, b 1, c 4, d 0; 0.06 mm, 0.01 mm and 0.02 c cover the printed rounding of κ and β0.
    found = best_setbacks(kappa=kappa, beta=beta)
    assert found[0] == pytest.approx(saddle, abs=0.06)
    assert found[1] == pytest.approx(nut, abs=0.0101)
    assert found[2] == pytest.approx(rms, abs=0.02)


@pytest.mark.parametrize(("d", "published"), [(0.0, -0.51), (10.0, -0.57)])
def test_simple_setbacks(d: float, published: float) -> None:
    # [AB] READ: ΔS = β0·X0 = 1.54 mm and ΔN = −κ·X0·mean(Q)/2 over frets 1–12; printed to two digits, β0 to three.
    here = partials(stop(frets=[12], b=0.0, c=0.0, beta=1e-6))  # small enough to be first order; no stretch
    assert -0.00236 / 1e-6 * here["log_beta"][0] / here["saddle"][0] == pytest.approx(1.54, abs=0.0101)
    assert -51.0 * 650.0 * np.mean(lengths(stop(d=d))[2]) / 2.0 == pytest.approx(published, abs=0.006)


@pytest.mark.parametrize(
    ("tension", "ei", "inharmonicity"),
    [
        (70.3, 130, 4.32e-5),
        (53.4, 160, 7.00e-5),
        (58.3, 310, 1.24e-4),
        (71.2, 51, 1.67e-5),
        (73.9, 40, 1.26e-5),
        (71.6, 57, 1.86e-5),
    ],
)
def test_inharmonicity_is_pi_squared_beta_squared(tension: float, ei: float, inharmonicity: float) -> None:
    # J. Woodhouse, Acta Acustica u. w. Acustica 90, 945 (2004), Table I (READ at second hand); B by CALC, three digits. The
    # square of a pinned–pinned string's stiffness factor is 1 + B.
    beta = np.array([math.sqrt(ei * 1e-6 / (tension * 0.65**2))])
    assert stiffness_factor(beta, np.zeros(1))[0] ** 2 - 1.0 == pytest.approx(inharmonicity, rel=4e-3)


def test_mean_stretch_over_twelve_frets() -> None:
    # [AB] READ, d = 0: 24·X0²·mean(Q) = 77.9 b² + 35.6 bc + 5.82 c²; printed to three digits.
    def quadratic(b: float, c: float) -> float:
        return float(24.0 * 650.0**2 * np.mean(lengths(stop(b=b, c=c))[2]))

    bb, cc = quadratic(1.0, 0.0), quadratic(0.0, 1.0)
    assert bb == pytest.approx(77.9, abs=0.06)
    assert cc == pytest.approx(5.82, abs=0.006)
    assert quadratic(1.0, 1.0) - bb - cc == pytest.approx(35.6, abs=0.06)


@pytest.mark.parametrize(("end", "agrees"), [(1.0, True), (2.0, False)])
def test_measured_guitar_decides_how_the_ends_hold(end: float, agrees: bool) -> None:
    # [AB] READ: b 1.4, c 5.5, d 10, X0 652, ΔS −3.5: fret 12 reads 18.5–19.5 c (strings 3, 6), 15.75–17.5 c (others) and
    # fret 1 4.5–5.75 c.
    # The constants of their set are printed to three digits; 0.25 c is the step of their reading. Clamped ends must fail it.
    set_of_strings = [(48.2, 0.00190), (48.7, 0.00220), (58.6, 0.00301), (46.0, 0.00192), (48.7, 0.00239), (58.2, 0.00321)]
    within = []
    for number, (kappa, beta) in enumerate(set_of_strings, start=1):
        first, twelfth = sharpness_cents(
            stop(frets=[1, 12], scale=652.0, b=1.4, c=5.5, d=10.0, saddle=-3.5, kappa=kappa, beta=beta, end=end)
        )
        low, high = (18.5, 19.5) if number in (3, 6) else (15.75, 17.5)
        within.append(low - 0.25 <= twelfth <= high + 0.25 and 4.25 <= first <= 6.0)
    assert all(within) is agrees


def test_clamped_ends_are_the_two_published_forms() -> None:
    # [AB] READ: 1 + β + (1 + π²/2)β² pinned–clamped, 1 + 2β + (4 + π²/2)β² clamped–clamped, √(1 + π²β²) pinned–pinned.
    beta = np.array([0.001, 0.004])
    half = 0.5 * math.pi**2
    assert stiffness_factor(beta, np.ones(2)) == pytest.approx(1 + beta + (1 + half) * beta**2, rel=1e-14)
    assert stiffness_factor(beta, np.full(2, 2.0)) == pytest.approx(1 + 2 * beta + (4 + half) * beta**2, rel=1e-14)
    assert stiffness_factor(beta, np.zeros(2)) == pytest.approx(np.sqrt(1 + math.pi**2 * beta**2), abs=1e-8)


@pytest.mark.parametrize("name", LOCALS)
def test_derivatives_against_central_differences(name: str) -> None:
    # Fourth-order differences are good to about 1e-6 relative; the complex step to rounding.
    here = replace(stop(d=9.0, saddle=1.5, nut_setback=-0.3, kappa=140.0), depth=np.full(12, 0.3))
    size = {"log_kappa": 1e-2, "log_beta": 1e-2}.get(name, 5e-2)

    def at(offset: float) -> NDArray[np.float64]:
        return sharpness_cents(replace(here, **{name: getattr(here, name) + offset}))

    numerical = (8 * (at(size) - at(-size)) - (at(2 * size) - at(-2 * size))) / (12 * size)
    assert partials(here)[name] == pytest.approx(numerical, rel=2e-5, abs=1e-7)
