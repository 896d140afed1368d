"""A sound neck of a world: parts a little out by chance, strings on, saddle set, and the hand that plays it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fretcheck.neck.description import Neck
from tests.worlds.body import Body
from tests.worlds.built import Built, Hand
from tests.worlds.fretting import Reals
from tests.worlds.instruments import Instrument
from tests.worlds.kinds import World
from tests.worlds.strung import strung

ACTION_SD_MM = 0.1
FALL_FRETS = 2.0
"""What is larger at the low frets falls by e over this many: gone after three or four."""
WORN_FRETS = 5
LOWERED = 0.2
"""Height that a crown loses for each mm that its witness point moves."""


def falling(frets: int) -> Reals:
    """1 at fret 1, falling."""
    return np.exp(-np.arange(frets) / FALL_FRETS)


def saddle_z(built: Built, action_mm: float | Reals) -> Reals:
    """Saddle heights at which the open strings stand `action_mm` over the octave's crown; a short string's is the others'."""
    ends, index = built.ends, built.neck.octave_fret - 1
    share = ((ends.crown_x[:, index] - ends.nut_x[:, 0]) / (ends.saddle_x - ends.nut_x)[:, 0]).clip(0.1)
    heights = built.nut_z + (action_mm + ends.crown_z[:, index] - built.nut_z) / share
    full = built.first[:, 0] == 0
    return np.where(full, heights, heights[full].mean())


def best_saddles(built: Built, hand: Hand) -> Reals:
    """Setbacks at which each string's frets are nearest to equal temperament (least squares), as a good workshop sets them.

    It has the real strings on, and does not see what is chance in them.
    """
    at = built.saddle_mm
    for _ in range(3):
        here = built.stopped(hand)
        slope = (replace(built, saddle_mm=at + 0.5).stopped(hand) - here) / 0.5
        at = at - np.nansum(here * slope, axis=1) / np.nansum(slope**2, axis=1)
        built = replace(built, saddle_mm=at)
    return at


def body(rng: np.random.Generator, built: Built, strongest_cents: float) -> Body | None:
    """A few modes between the lowest open string and 700 Hz (above are many small ones), scaled to the strongest pull."""
    if strongest_cents == 0.0:
        return None
    low = float(built.open_hz().min())
    count = int(rng.integers(4, 8))
    modes = Body(
        hz=np.exp(rng.uniform(np.log(1.05 * low), np.log(max(700.0, 4.0 * low)), count)),
        quality=rng.uniform(12.0, 35.0, count),
        strength=rng.lognormal(0.0, 0.6, count),
    )
    steps = np.concatenate([np.zeros((built.shape[0], 1)), np.nan_to_num(built.semitones)], axis=1)
    f1 = built.open_hz() * np.exp2(steps / 12.0)
    pulls = modes.reading_cents(f1, np.broadcast_to(built.matter.impedance[:, None], f1.shape))
    return replace(modes, scale=strongest_cents / float(np.max(np.abs(pulls))))


def wear(rng: np.random.Generator, built: Built, worst_mm: float) -> Reals:
    """Witness points of crowns worn under the plain strings at frets 1 to 5, half as much under the next string.

    A flat crown lets the string go at its bridge side; now and then one was filed to the other.
    """
    strings, frets = built.shape
    plain = np.array([one.construction == "plain" for one in built.neck.strings], dtype=float)
    plain = plain if plain.any() and not plain.all() else (np.arange(strings) < max(1, strings // 3)).astype(float)
    beside = np.maximum(np.roll(plain, 1), np.roll(plain, -1)) * (1.0 - plain) * 0.5
    low = np.arange(1, frets + 1) <= WORN_FRETS
    share = (plain + beside)[:, None] * low * rng.uniform(0.6, 1.0, frets) * rng.uniform(0.85, 1.0, (strings, frets))
    side = 1.0 if rng.random() < 0.75 else -1.0
    return side * worst_mm * share / share.max()


def played(rng: np.random.Generator, built: Built, world: World) -> Hand:
    """This player on this neck."""
    strings, frets = built.shape
    stops = np.concatenate([np.broadcast_to(built.ends.nut_x, (strings, 1)), built.ends.crown_x], axis=1)
    behind = np.clip(world.behind_share * np.diff(stops, axis=1), 0.5, world.behind_most_mm)
    k = np.arange(frets)
    smooth = np.linalg.cholesky(np.exp(-0.5 * ((k[:, None] - k) / world.wander_frets) ** 2) + 1e-6 * np.eye(frets))
    common, own = smooth @ rng.standard_normal(frets), (smooth @ rng.standard_normal((frets, strings))).T
    wander = world.depth_wander_mm * (np.sqrt(0.5) * common + np.sqrt(0.5) * own)
    usual = world.depth_mm * np.exp(0.2 * rng.standard_normal())
    depth = np.maximum(usual + wander, 0.01)
    hand = Hand(behind_mm=behind, depth_mm=depth, bend_rms_mm=np.full((strings, frets), world.bend_mm))
    wanted = float(rng.uniform(*world.excess_cents))
    if wanted == 0.0:
        return hand
    shape = falling(frets) * np.exp(world.excess_by_string * rng.standard_normal((strings, 1)))
    without = built.stopped(hand)
    low, high = 0.0, 3.0  # mm; bisected to a thousandth
    while high - low > 1e-3:
        middle = 0.5 * (low + high)
        more = float(np.nanmean((built.stopped(hand.pressed(middle * shape)) - without)[:, 0]))
        low, high = (middle, high) if more < wanted else (low, middle)
    return hand.pressed(low * shape)


def sound_neck(rng: np.random.Generator, instrument: Instrument, world: World) -> tuple[Built, Hand]:
    """A neck without a fault, and the hand. Its `neck` is the design, with the setbacks that its maker set."""
    neck = instrument.neck
    strings, frets = len(neck.strings), neck.frets
    for_strings, for_heights, for_parts, for_wear, for_body, for_hand = rng.spawn(6)  # worlds that share a seed share the rest
    matter = strung(for_strings, neck, world)
    flat = np.zeros((strings, frets))
    design = Built(
        neck=neck,
        fret_mm=np.zeros(frets),
        tilt_mm=np.zeros(frets),
        wear_mm=flat,
        crown_mm=flat,
        crown_height_mm=flat,
        scale_mm=0.0,
        nut_mm=np.zeros(strings),
        nut_z=np.full(strings, instrument.nut_height_mm),
        saddle_mm=np.array([one.saddle_setback_mm or 0.0 for one in neck.strings]),
        saddle_z=np.zeros(strings),
        relief_mm=float(for_heights.uniform(*world.relief_mm)),
        matter=matter,
    )
    action = (
        instrument.action_mm if world.action_mm is None else instrument.action_mm / 2.0 * for_heights.uniform(*world.action_mm)
    )
    slope = for_heights.uniform(-0.25, 0.25) if world.action_mm is not None else 0.0  # treble lower than bass, or the other way
    actions = action - slope * np.linspace(1.0, -1.0, strings)
    design = replace(design, saddle_z=saddle_z(design, actions))
    light = played(for_hand, design, replace(world, excess_cents=(0.0, 0.0), depth_wander_mm=0.0))
    described = np.round(best_saddles(design, light), 1)
    design = replace(design, saddle_mm=described, neck=_with_setbacks(design, described))
    saddles = described + world.saddle_mm * for_parts.standard_normal(strings)
    if world.straight_saddle:
        y = np.linspace(1.0, -1.0, strings)
        saddles = np.polyval(np.polyfit(y, described, 1), y) + 0.3 * (saddles - described)
    built = replace(
        design,
        fret_mm=world.fret_mm * for_parts.standard_normal(frets),
        tilt_mm=world.tilt_mm * for_parts.standard_normal(frets),
        crown_mm=world.crown_mm * for_parts.standard_normal((strings, frets)),
        crown_height_mm=world.high_fret_mm * np.abs(for_parts.standard_normal((1, frets))) + flat,
        scale_mm=world.scale_mm * float(for_parts.standard_normal()),
        nut_mm=world.nut_mm * for_parts.standard_normal()
        + world.nut_skew_mm * for_parts.standard_normal() * np.linspace(1.0, -1.0, strings),
        nut_z=design.nut_z + world.nut_height_mm * (for_parts.standard_normal() + for_parts.standard_normal(strings)),
        saddle_mm=saddles,
        straight=world.straight_saddle,
        saddle_z=design.saddle_z + 2.0 * ACTION_SD_MM * for_parts.standard_normal(),
    )
    if for_wear.random() < world.worn_share:
        worn = wear(for_wear, built, float(for_wear.uniform(*world.wear_mm)))
        built = replace(built, wear_mm=worn, crown_height_mm=built.crown_height_mm - LOWERED * np.abs(worn))
    built = replace(built, body=body(for_body, built, float(for_body.uniform(*world.pull_cents))))
    return built, played(for_hand, built, world)


def _with_setbacks(built: Built, setbacks: Reals) -> Neck:
    pairs = zip(built.neck.strings, setbacks, strict=True)
    return replace(built.neck, strings=tuple(replace(one, saddle_setback_mm=float(mm)) for one, mm in pairs))
