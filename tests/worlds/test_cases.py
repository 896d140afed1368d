"""The generator's necks, faults, sessions and work: published values, and what must hold by definition."""

from dataclasses import dataclass, replace

import numpy as np
import pytest

from tests.worlds.as_sound import observations_as_sound
from tests.worlds.case import draw
from tests.worlds.faults import FAULTS
from tests.worlds.instruments import INSTRUMENTS
from tests.worlds.kinds import OWN, WORLDS
from tests.worlds.strung import constants

STILL = replace(
    OWN,
    fret_mm=0.0,
    tilt_mm=0.0,
    scale_mm=0.0,
    nut_mm=0.0,
    nut_skew_mm=0.0,
    nut_height_mm=0.0,
    saddle_mm=0.0,
    string_cents=0.0,
    depth_wander_mm=0.0,
    hand_cents=(0.0, 0.0),
    open_scatter_cents=0.0,
    drift_cents_per_minute=0.0,
)
"""Nothing by chance but the strings' stiffness and the height of the action."""


@dataclass(frozen=True, kw_only=True)
class Move:
    """Advice, as a diagnosis words it."""

    part: str
    string: int | None = None
    fret: int | None = None
    end: str | None = None
    move_mm: float | None = None
    to_clearance_mm: float | None = None


@pytest.mark.parametrize(
    ("note", "gauge", "tension", "kappa", "inharmonicity"),
    [("E4", 0.254, 72.6, 139.6, 1.32e-5), ("B3", 0.330, 68.9, 248.7, 3.98e-5), ("G3", 0.432, 74.2, 394.9, 1.08e-4)],
)
def test_plain_steel_strings(note, gauge, tension, kappa, inharmonicity):
    """648 mm, 200 GPa, 7850 kg/m³ (moduli from memory): tension, κ, B computed from f = √(T/μ)/2L and B = π³Ed⁴/(64TL²)."""
    string = replace(INSTRUMENTS["steel"].neck.strings[0], note=note, gauge_mm=gauge, saddle_setback_mm=0.0)
    heard_kappa, beta0, impedance = constants(string, reference_hz=440.0, core=1.0, gauge=1.0)
    mass = 7850.0 * np.pi * (gauge / 1000.0) ** 2 / 4.0
    assert heard_kappa == pytest.approx(kappa, rel=1e-3)
    assert (np.pi * beta0) ** 2 == pytest.approx(inharmonicity, rel=5e-3)  # printed to three figures
    assert impedance**2 / mass == pytest.approx(tension, rel=3e-3)  # gauges were rounded from inches


def test_wound_strings_pull_like_strings():
    """Sets for 648 mm pull 60 to 140 N a string (common practice, no source)."""
    for string in INSTRUMENTS["steel"].neck.strings:
        kappa, beta0, impedance = constants(string, reference_hz=440.0, core=1.0, gauge=1.0)
        wave = (
            2.0 * 0.648 * 440.0 * 2.0 ** (({"E4": 64, "B3": 59, "G3": 55, "D3": 50, "A2": 45, "E2": 40}[string.note] - 69) / 12)
        )
        assert 60.0 < impedance * wave < 140.0
        assert 80.0 < kappa < 450.0
        assert 1e-5 < (np.pi * beta0) ** 2 < 3e-4


@pytest.mark.parametrize(("fret", "published"), [(1, 2.822), (12, 5.327)])
def test_a_millimetre_of_fret(fret, published):
    """1 mm of speaking length at 650 mm (computed, 1731.234·dL/L); within 2 % for setback and stretch."""
    case = draw(STILL, seed=(1,), instrument="nylon")
    places = case.built.fret_mm.copy()
    places[fret - 1] = 0.1
    moved = replace(case.built, fret_mm=places).true_cents(case.hand) - case.true_cents()
    assert moved[:, fret - 1] == pytest.approx([0.1 * published] * 6, rel=0.02)


def test_rule_of_18():
    """Steps of 17/18 make −1.0454 cents a fret, −12.545 at the octave (computed); 1 % for stretch and setback."""
    case, wrong = draw(STILL, seed=(1,)), draw(STILL, ["rule18"], seed=(1,))
    off = wrong.true_cents() - case.true_cents()
    assert off[:, 11] == pytest.approx([-12.545] * 6, rel=0.012)
    assert off[:, 4] == pytest.approx([-5.227] * 6, rel=0.012)


@pytest.mark.parametrize("name", INSTRUMENTS)
def test_sound_necks_are_sound(name):
    """A careful workshop's neck: a few cents at fret 1 by stretch, octaves true, clearances a bench would accept."""
    case = draw("own", seed=(4,), instrument=name)
    cents = case.true_cents()
    assert np.nanmean(np.abs(cents)) < 3.0
    assert abs(np.nanmean(cents[:, 11])) < 1.5
    assert np.all((case.built.clearance_mm() > 0.3) & (case.built.clearance_mm() < 1.0))
    assert np.all(np.abs(case.built.clearance_mm(12) - case.instrument.action_mm) < 0.6)
    assert np.all(case.hand_free_cents()[:, 0][~np.isnan(cents[:, 0])] < cents[:, 0][~np.isnan(cents[:, 0])])


def test_the_stated_sizes_are_there():
    """Worlds say how large each thing is: the finger's excess at fret 1, the strongest pull, the scatter at fret 1."""
    for seed in range(5):
        plain, heavy = draw("finger2", seed=(seed,)), draw("finger4", seed=(seed,))
        assert np.mean((heavy.true_cents() - plain.true_cents())[:, 0]) == pytest.approx(2.0, abs=0.05)
        assert abs(np.mean((heavy.true_cents() - plain.true_cents())[:, 7])) < 0.1  # gone after a few frets
        own, pulled = draw("own", seed=(seed,)), draw("body3", seed=(seed,))
        pulls = pulled.built._pulls()
        assert np.abs(pulls).max() < 6.0  # two readings of at most 3 cents, open and stopped
        assert pulled.true_cents() - own.true_cents() == pytest.approx(pulls, abs=1e-9)


def test_partials_agree_better_the_higher():
    """Admittance acts on partial n by 1/n: what is read is pulled less than partial 1 alone near its resonance."""
    body = draw("body3", seed=(2,)).built.body
    f = np.array([body.hz[np.argmax(body.strength)] * 0.97])
    assert abs(body.reading_cents(f, np.ones(1))[0]) < abs(body.partial_cents(f, np.ones(1), np.ones(1))[0])


def test_what_is_heard_is_the_truth_but_for_chance():
    """Without scatter, drift and reading noise the observations are the true cents; with them their mean is."""
    case = draw(STILL, seed=(3,))
    heard = [one for one in case.observations() if one.fret]
    left = np.array([one.cents - case.true_cents()[one.string - 1, one.fret - 1] for one in heard])
    assert np.std(left) < 0.16  # the reading's 0.1 cent, on the note and on its open string
    case = draw("own", seed=(3,), hand_cents=0.8)
    heard = [one for one in case.observations(plucks=8) if one.fret]
    left = np.array([one.cents - case.true_cents()[one.string - 1, one.fret - 1] for one in heard])
    assert np.std(left) == pytest.approx(np.sqrt(0.8**2 + 0.1**2 + 0.18**2), abs=0.05)  # hand, reading, open; 960 plucks: ±0.02
    assert abs(np.mean(left)) < 0.12  # three standard errors of eighteen open plucks and the hand


def test_scatter_grows_toward_the_nut():
    """2.5 times at fret 1 in world `scatter`."""
    left = []
    for seed in range(12):
        case = draw("scatter", seed=(seed,), hand_cents=0.8)
        heard = [one for one in case.observations(plucks=4) if one.fret in (1, 15)]
        left += [(one.fret, one.cents - case.true_cents()[one.string - 1, one.fret - 1]) for one in heard]
    spread = {fret: np.median(np.abs([x for f, x in left if f == fret])) for fret in (1, 15)}
    assert spread[1] / spread[15] == pytest.approx(2.4, abs=0.6)  # 288 plucks each: ±9 % each; open and reading noise dilute it


def test_same_seed_same_neck_and_a_fault_leaves_the_rest():
    one, two, other = (draw("mild", faults, seed=(9, 1)) for faults in ([], [], ["fret.40"]))
    assert one.observations() == two.observations()
    fault = other.faults[0]
    assert fault.cause == "fret_position"
    assert other.built.fret_mm[fault.fret - 1] == fault.size
    rest = np.delete(other.built.fret_mm - one.built.fret_mm, fault.fret - 1)
    assert not rest.any()
    assert one.observations(session=1) != one.observations()


@pytest.mark.parametrize("world", WORLDS)
def test_every_world_and_fault_can_be_drawn_and_heard(world):
    for name in FAULTS:
        case = draw(world, [name], seed=(7,))
        heard = case.observations(plucks=1, press_test=True)
        assert np.all(np.isfinite([one.cents for one in heard]))
        assert sum(one.press is not None for one in heard) == 8


def test_press_test_tells_light_from_firm():
    """A firm press is sharper; at fret 1 more than at fret 5 (the stretch of a short end)."""
    case = draw(STILL, seed=(3,))
    heard = case.listener().press_test(2)
    mean = {key: np.mean([o.cents for o in heard if (o.fret, o.press) == key]) for key in {(o.fret, o.press) for o in heard}}
    assert mean[1, "firm"] - mean[1, "light"] > mean[5, "firm"] - mean[5, "light"] > 0.0


def test_descriptions():
    case = draw("mild", ["nutheight.4"], seed=(11,))
    assert all(not one.saddle_setback_mm for one in case.neck(setbacks=False).strings)
    gaps = [one.mm for one in case.neck(clearance=True).measured]
    assert gaps == pytest.approx(case.built.clearance_mm().tolist(), abs=0.2)  # four standard deviations
    told = case.neck(heights=True)
    assert told.relief_mm == pytest.approx(case.built.relief_mm, abs=0.25)  # five standard deviations, as the next
    assert told.action_12_mm.bass == pytest.approx(case.built.clearance_mm(12)[-1], abs=0.5)


def test_work_is_done_as_told():
    """Slots filed to ±0.03 mm and never below the least clearance; places to ±0.05 mm; a new string is even."""
    case = draw("own", ["nutheight.4"], seed=(21,))
    filed = case.carry_out([Move(part="nut_height", string=s, to_clearance_mm=0.60) for s in range(1, 7)])
    assert filed.built.clearance_mm() == pytest.approx([0.60] * 6, abs=0.12)  # four standard deviations
    kept = case.carry_out([Move(part="nut_height", string=2, to_clearance_mm=0.30)], least_clearance_mm=0.48)
    assert kept.built.clearance_mm()[1] >= 0.48
    assert np.delete(kept.built.clearance_mm() - case.built.clearance_mm(), 1) == pytest.approx([0.0] * 5, abs=1e-9)
    up = filed.carry_out([Move(part="nut_height", string=2, to_clearance_mm=0.9)])
    assert up.built.clearance_mm()[1] == pytest.approx(filed.built.clearance_mm()[1])  # a file takes away only
    moved = case.carry_out([Move(part="saddle", string=3, move_mm=1.0), Move(part="fret", fret=7, end="treble", move_mm=0.3)])
    assert moved.built.saddle_mm[2] - case.built.saddle_mm[2] == pytest.approx(1.0, abs=0.2)
    shift = (moved.built.crown_x - case.built.crown_x)[:, 6]
    assert shift[0] == pytest.approx(0.3, abs=0.2)
    assert shift[5] == pytest.approx(0.0, abs=0.2)
    false = draw("own", ["string6"], seed=(22,))
    number = false.faults[0].string
    assert np.abs(false.built.unevenness(number)).max() == pytest.approx(6.0, rel=0.1)  # the nut's and saddle's chance beside it
    renewed = false.carry_out([Move(part="string", string=number)])
    assert np.abs(renewed.built.unevenness(number)).max() < 1.0  # five standard deviations


def test_sound_says_what_the_session_says():
    """Without a body every partial tells the same note; ±0.1 cent: noise 50 dB below the pluck."""
    case, notes = draw("own", seed=(4, 1)), {1: [1, 12], 6: [2, 7]}
    told = case.listener().session(plucks=1, notes=notes)
    read = observations_as_sound(case, plucks=1, notes=notes)
    assert [(one.string, one.fret) for one in read] == [(one.string, one.fret) for one in told]
    assert [one.cents for one in read] == pytest.approx([one.cents for one in told], abs=0.1)
