"""Template errors against a simulated shop whose truth is known, and against an independent fit."""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pytest

from fretcheck.errors import DiagnosisRefusedError, UsageError
from fretcheck.lots.slot_errors import slot_errors_of
from fretcheck.lots.template_errors import SlotError, template_errors
from fretcheck.lots.trend import trend_shapes
from tests.lots.diagnosed_shop import TEMPLATE_FRET, TEMPLATE_MM, heard_only, shop_lot

FRETS, U_MM = 20, 0.05


def shop(seed: int, *, necks: int = 30, bad: bool = True, neck_scatter: float = 0.03, slot_scatter: float = 0.03):
    """Slot errors of an invented shop: template fret 7 is +0.12 mm; neck N-04 was slotted with a loose stop (0.15 mm scatter)."""
    rng = np.random.default_rng(seed)
    errors = rng.normal(0, neck_scatter, necks)[:, None] + rng.normal(0, slot_scatter, (necks, FRETS))
    errors[:, 6] += 0.12
    if bad:
        errors[4] += rng.normal(0, 0.15, FRETS)
    seen = errors + rng.normal(0, U_MM, errors.shape)
    return [
        SlotError(neck=f"N-{i:02d}", fret=fret + 1, error_mm=float(seen[i, fret]), u_mm=U_MM)
        for i in range(necks)
        for fret in range(FRETS)
    ]


def test_simulated_shop_in_brief():
    """20 shops (the benchmark runs 100): 90 % intervals of all 400 frets, the bad neck, and fret 7."""
    covered = named = blamed = wrongly_named = 0
    for seed in range(20):
        found = template_errors(shop(seed))
        covered += sum(f.interval[0] <= (0.12 if f.fret == 7 else 0.0) <= f.interval[1] for f in found.frets)
        names = [departure.neck for departure in found.departures]
        named += "N-04" in names
        wrongly_named += len(names) - ("N-04" in names)
        blamed += [f.fret for f in found.frets if f.blamed] == [7]
    assert 336 <= covered <= 384  # 360 ± 4 standard errors
    assert named >= 19
    assert wrongly_named <= 1
    assert blamed == 20


def test_words_of_the_trade():
    found = template_errors(shop(3))
    seventh = found.frets[6]
    half = (seventh.interval[1] - seventh.interval[0]) / 2
    assert (
        seventh.text
        == f"fret 7 sits {seventh.error_mm:.2f} ± {half:.2f} mm toward the bridge on every neck: correct the template"
    )
    assert found.frets[12].text.endswith("nothing to correct")
    assert "neck N-04 departs from the template" in found.departures[0].text
    assert "different from neck to neck (random): the neck's trend" in found.effects
    mirrored = template_errors([replace(slot, error_mm=-slot.error_mm) for slot in shop(3)], quantity="tilt")
    assert "its treble end toward the nut on every neck" in mirrored.frets[6].text


def test_one_bad_neck_does_not_speak_for_the_template():
    clean, spoiled = template_errors(shop(8, bad=False)), shop(8, bad=False)
    spoiled = [replace(s, error_mm=s.error_mm + 1.5) if s.neck == "N-04" and s.fret in (3, 9) else s for s in spoiled]
    found = template_errors(spoiled)
    assert [d.neck for d in found.departures] == ["N-04"]
    assert found.departures[0].worst_fret in (3, 9)
    for before, after in zip(clean.frets, found.frets, strict=True):
        assert after.error_mm == pytest.approx(before.error_mm, abs=0.02)  # one neck fewer of 30: far below one u


def test_scatter_is_split_rightly():
    """Mean over 10 clean shops of 40 necks against the truth: 0.03 mm of the slot, nuts out by 0.05 mm (rms over the frets)."""
    even = trend_shapes(range(1, FRETS + 1))[:, 0]
    fits = []
    for seed in range(100, 110):
        nut = np.random.default_rng(seed).normal(0, 0.05, 40)
        slots = shop(seed, necks=40, bad=False, neck_scatter=0.0)
        moved = [replace(s, error_mm=s.error_mm + nut[int(s.neck[2:])] * even[s.fret - 1]) for s in slots]
        fits.append(template_errors(moved))
    # standard error of a scatter from 40 necks, 10 times: 3.5 %
    assert np.mean([f.neck_scatter_mm for f in fits]) == pytest.approx(0.05, abs=0.005)
    assert np.mean([f.slot_scatter_mm for f in fits]) == pytest.approx(0.03, abs=0.003)


def test_what_all_necks_share_along_the_neck_is_trend_not_template():
    """The same hand pressed every neck: +1 cent at every fret, and saddles 0.3 mm out; fret 7 must still stand out alone."""
    gamma = 2.0 ** (np.arange(1, FRETS + 1) / 12)
    pressed = 648 / gamma * 1.0 / 1731.234 + 0.3 * (gamma - 1) / gamma
    found = template_errors([replace(s, error_mm=s.error_mm + pressed[s.fret - 1]) for s in shop(5)])
    assert [f.fret for f in found.frets if f.blamed] == [7]
    assert found.trend_mm == pytest.approx(pressed, abs=0.06)  # 30 necks' own shifts of 0.03 mm and fret 1's ± 0.04
    assert found.frets[6].interval[0] <= 0.12 <= found.frets[6].interval[1]


def test_few_frets_carry_no_trend():
    found = template_errors([s for s in shop(3) if s.fret in (3, 5, 7)])
    assert found.trend_mm is None
    assert "could not be taken out" in found.warnings[-1]


def test_strings_as_a_third_factor_agree_with_an_independent_library():
    """statsmodels' MixedLM with variance components for slot and string within the neck; equal u folded into its residual."""
    rng = np.random.default_rng(6)
    necks, frets, strings = 12, 5, 4
    y = (
        rng.normal(0, 0.05, (necks, 1, 1))
        + rng.normal(0, 0.04, (necks, frets, 1))
        + rng.normal(0, 0.06, (necks, 1, strings))
        + rng.normal(0, 0.05, (necks, frets, strings))
    )
    grid = np.indices(y.shape).reshape(3, -1).T
    slots = [
        SlotError(neck=f"{i:02d}", fret=int(f) + 1, string=int(s) + 1, error_mm=float(y[i, f, s]), u_mm=0.02) for i, f, s in grid
    ]
    found = template_errors(slots)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pandas as pd
        from statsmodels.regression.mixed_linear_model import MixedLM

        warnings.simplefilter("ignore")  # anew: the import brings filters of its own
        frame = pd.DataFrame(grid, columns=["neck", "fret", "string"]).assign(y=y.ravel())
        parts = {"slot": "0 + C(fret)", "string": "0 + C(string)"}
        model = MixedLM.from_formula("y ~ 0 + C(fret)", frame, groups="neck", re_formula="1", vc_formula=parts)
        other = model.fit(reml=True, method="powell")
    assert [f.error_mm for f in found.frets] == pytest.approx(list(other.fe_params), abs=1e-4)
    slot_variance, string_variance = other.vcomp
    assert found.neck_scatter_mm == pytest.approx(float(other.cov_re.iloc[0, 0]) ** 0.5, abs=1e-3)
    assert found.slot_scatter_mm == pytest.approx(slot_variance**0.5, abs=1e-3)
    assert found.string_scatter_mm == pytest.approx(string_variance**0.5, abs=1e-3)
    assert not found.departures


def test_missing_slots_are_allowed():
    slots = [s for i, s in enumerate(shop(12, bad=False)) if i % 7]
    found = template_errors(slots)
    assert len(found.frets) == FRETS
    assert found.frets[6].blamed
    assert found.frets[6].necks < 30


def test_few_necks_are_said_to_be_few():
    found = template_errors(shop(2, necks=4, bad=False))
    assert "none was set aside" in found.warnings[0]
    assert found.necks_used == 4


def test_what_cannot_be_told_is_refused():
    with pytest.raises(DiagnosisRefusedError, match="2 necks cannot tell"):
        template_errors(shop(1, necks=2, bad=False))
    with pytest.raises(UsageError, match="all or none"):
        template_errors([replace(s, string=1) if i else s for i, s in enumerate(shop(1))])
    with pytest.raises(UsageError, match="u_mm must be above 0"):
        template_errors([replace(s, u_mm=0.0) for s in shop(1)])
    with pytest.raises(UsageError, match=r"outside 0\.5 to 1"):
        template_errors(shop(1), confidence=90)


def test_from_diagnosed_necks():
    """12 necks built, played to a perfect listener and diagnosed: fret 7 of the template and the bad neck."""
    found = template_errors([error for document in shop_lot(1, necks=12) for error in slot_errors_of(document)])
    seventh = found.frets[6]
    assert seventh.blamed
    assert abs(seventh.error_mm - TEMPLATE_MM) < 3 * seventh.u_mm
    assert [departure.neck for departure in found.departures] == ["N-04"]


def test_simulated_shop_from_readings_in_brief():
    """10 lots of 30 necks from what a perfect listener hears (the benchmark runs 100)."""
    covered = named = blamed = 0
    for seed in range(10):
        lot = shop_lot(seed, inspect=heard_only)
        found = template_errors([error for document in lot for error in slot_errors_of(document)])
        covered += sum(f.interval[0] <= (TEMPLATE_MM if f.fret == TEMPLATE_FRET else 0) <= f.interval[1] for f in found.frets)
        named += "N-04" in [departure.neck for departure in found.departures]
        blamed += TEMPLATE_FRET in [f.fret for f in found.frets if f.blamed]
    assert covered >= 160  # of 200, 180 expected; the frets of a lot err together through the trend they share
    assert named >= 9
    assert blamed == 10
