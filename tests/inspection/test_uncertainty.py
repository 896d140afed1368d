"""The uncertainty code against the worked examples of the GUM (JCGM 100:2008), kept in reference/gum_examples.json."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest

from fretcheck.inspection.budget import Budget, Component

GUM = json.loads((Path(__file__).parents[1] / "reference" / "gum_examples.json").read_text(encoding="utf-8"))


def end_gauge() -> Budget:
    """GUM H.1, end-gauge calibration; lengths in nm."""
    given = GUM["gum_h1"]["inputs"]
    parts = Budget(
        components=tuple(
            Component(name=f"part {index}", u=u, freedom=freedom)
            for index, (u, freedom) in enumerate(zip(given["u_d_parts"], given["nu_d_parts"], strict=True))
        )
    )
    difference = Component(name="difference", u=parts.u, freedom=parts.freedom)
    return Budget(
        components=(
            Component(name="standard", u=given["u_lS"], freedom=given["nu_lS"]),
            difference,
            Component(
                name="difference of expansion",
                u=given["dalpha_halfwidth"] / math.sqrt(3.0) * abs(given["l_S_nm"] * given["theta"]),
                freedom=given["nu_dalpha"],
            ),
            Component(
                name="difference of temperature",
                u=given["dtheta_halfwidth"] / math.sqrt(3.0) * abs(given["l_S_nm"] * given["alpha_S"]),
                freedom=given["nu_dtheta"],
            ),
        )
    )


def test_gum_h1() -> None:
    # source and status: JCGM 100:2008 H.1; inputs and 32 nm, ν 16, u(d), ν(d) READ at second hand; t99, U99 MEMORY, recomputed
    expected = GUM["gum_h1"]["out"]
    budget = end_gauge()
    assert [one.u for one in budget.components] == pytest.approx(expected["contrib_nm"], abs=0.05)
    assert budget.components[1].freedom == pytest.approx(25.6, abs=0.2)  # the GUM goes on from u(d) rounded to 9.7
    assert budget.u == pytest.approx(expected["uc"], abs=0.01)
    assert budget.freedom == pytest.approx(expected["nu_eff"], abs=0.05)
    assert budget.expanded(coverage=0.99) == pytest.approx(expected["U99"], abs=1.0)  # printed to the nm


def test_known_uncertainties_leave_the_normal_factor() -> None:
    budget = Budget(components=(Component(name="a", u=3.0), Component(name="b", u=4.0)))
    assert budget.u == pytest.approx(5.0)
    assert math.isinf(budget.freedom)
    assert budget.expanded(coverage=0.95) == pytest.approx(1.959964 * 5.0, abs=1e-4)  # normal quantile, tables
