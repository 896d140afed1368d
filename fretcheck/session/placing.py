"""Which frets the plucks of one string were, all told together: the likeliest sequence of open and fretted notes.

A hidden Markov model (L. R. Rabiner, Proc. IEEE 77, 257 (1989), from memory). What is hidden is the fret of each pluck and how
far the string is off its nominal tuning at that moment; what is heard is the pitch. The tuning is the same from pluck to pluck,
or creeps a little, or, seldom, jumps because the string was retuned or slipped. The frets follow an order: a recording's own, or
what was asked for. So a pluck in doubt still helps to place the others, and the string's being shifted by a whole fret is one
more sequence, to be weighed against the rest.

Conventions: pitches and tunings in cents from the string's nominal open note. Columns of the probabilities are the string's
places: the open note, then its frets upward. What is missing from a row's sum to 1 is the probability that the pluck was at no
place of this string, or that its pitch was misread by an octave or a partial.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fretcheck.arrays import Reals

REACH_CENTS = 55.0  # A pluck further from a place than this (50 cents and half a step of the tunings) was not there
_TUNINGS = np.arange(-200.0, 200.1, 10.0)
# Strings are tuned before they are recorded, most of them so well. Judged, no source; the rest may be anywhere.
_TUNED_SHARE, _TUNED_CENTS = 0.9, 15.0
# Chance per pluck that the tuning moves by one step of the grid, up or down, and that it jumps anywhere. Judged.
_CREEP, _RETUNED = 0.02, 0.002
# Notes about equal temperament: a sound neck's and a faulty one's. Wide against a faulty fret (10 cents), narrow against 100.
_NEAR_CENTS, _FAR_CENTS, _FAR_SHARE = 10.0, 30.0, 0.1
_MISREAD_CENTS = (-2400.0, -1901.955, -1200.0, 1200.0, 1901.955, 2400.0)
# One of 279 real notes was misread by an octave or a partial; of those that the reader doubts, say a third
_MISREAD, _MISREAD_IN_DOUBT = 0.003, 0.3
_STRAY, _STRAY_CENTS = 0.01, 9600.0  # Share of plucks that are at no place of this string; their pitch may be anywhere
# A recording begins and ends with the open note; where the first pluck is lost, it begins with the first fret
_BEGINS_OPEN, _BEGINS_AT_FIRST = 0.9, 0.05
# A player who goes along the neck: to the open string, the same fret again, one up, one down, anywhere. Judged.
_OPEN_SHARE, _SAME, _UP, _DOWN, _ANY = 0.1, 0.15, 0.5, 0.1, 0.15


@dataclass(frozen=True, kw_only=True)
class HeardPitch:
    """The pitch of a pluck for placing; `cents` None where nothing was read."""

    cents: float | None
    u_cents: float = 0.0
    in_doubt: bool = False  # The reader itself doubts octave or string


@dataclass(frozen=True)
class Places:
    """What the pitches say, shapes ``(plucks, places)`` and ``(plucks,)``."""

    probability: Reals
    tuning_cents: Reals  # Posterior mean of the tuning at each pluck
    misread: Reals  # Probability that the pluck was at a place of this string, and its pitch misread


def place_pitches(pitches: Sequence[HeardPitch], places_cents: Sequence[float], *, asked: Reals | None = None) -> Places:
    """Posterior probability of every place for each pluck of one string, in the order in which they were played.

    `pitches`: at least one. `places_cents`: target of each place above the open note, the open note (0) first. `asked` (shape
    (plucks, places)): probability of each place before anything was heard, where notes were asked for. Else the order is the
    recording's own: along the neck, or any; whichever the pitches speak for.
    """
    emission, right = _emissions(pitches, np.asarray(places_cents, dtype=np.float64))
    places = len(places_cents)
    if asked is not None:
        prior = np.column_stack([asked * (1.0 - _STRAY), np.full(len(pitches), _STRAY)])
        free = np.ones((places + 1, places + 1))
        return _posterior([_forward_backward(emission * prior[:, None, :], free, free[0], free[0])], right)
    begins = np.full(places + 1, (1.0 - _BEGINS_OPEN - _BEGINS_AT_FIRST) / (places + 1))
    begins[0] += _BEGINS_OPEN
    begins[1] += _BEGINS_AT_FIRST
    ends = np.full(places + 1, (1.0 - _BEGINS_OPEN) / (places + 1))
    ends[0] += _BEGINS_OPEN
    return _posterior([_forward_backward(emission, walk, begins, ends) for walk in _walks(places)], right)


def _emissions(pitches: Sequence[HeardPitch], places_cents: Reals) -> tuple[Reals, Reals]:
    """Likelihood of each pitch by tuning and place, the stray place last; and the share of it that is read right."""
    emission = np.ones((len(pitches), len(_TUNINGS), len(places_cents) + 1))
    right = np.ones((len(pitches), len(_TUNINGS), len(places_cents)))
    for index, pitch in enumerate(pitches):
        if pitch.cents is None:
            continue
        off = pitch.cents - _TUNINGS[:, None] - places_cents[None, :]
        misread = _MISREAD_IN_DOUBT if pitch.in_doubt else _MISREAD
        near, far = (np.hypot(width, pitch.u_cents) for width in (_NEAR_CENTS, _FAR_CENTS))
        here = (1.0 - misread) * ((1.0 - _FAR_SHARE) * _normal(off, near) + _FAR_SHARE * _normal(off, far))
        here *= np.abs(off) <= REACH_CENTS
        elsewhere = sum((_normal(off - by, _NEAR_CENTS) for by in _MISREAD_CENTS), np.zeros_like(off))
        both = here + misread / len(_MISREAD_CENTS) * elsewhere
        emission[index, :, :-1] = both
        emission[index, :, -1] = 1.0 / _STRAY_CENTS
        right[index] = here / np.maximum(both, 1e-300)
    return emission, right


def _normal(off: Reals, width: float) -> Reals:
    return np.asarray(np.exp(-0.5 * (off / width) ** 2) / (width * np.sqrt(2.0 * np.pi)))


def _walks(places: int) -> list[Reals]:
    """From which place to which, shape ``(places + 1, places + 1)``: along the neck, and in any order."""
    anywhere = np.full((places + 1, places + 1), (1.0 - _STRAY) / places)
    anywhere[:, -1] = _STRAY
    along = _ANY * anywhere
    along[:, 0] += _OPEN_SHARE
    for place in range(places):
        along[place, place] += _SAME
        along[place, min(place + 1, places - 1)] += _UP
        along[place, max(place - 1, 0)] += _DOWN
    along[0] = along[-1] = anywhere[0]  # from the open string, and after a stray, one goes on anywhere
    along[0, 1] += _UP
    return [along / along.sum(axis=1, keepdims=True), anywhere]


@dataclass(frozen=True)
class _Run:
    joint: Reals  # Posterior over tunings and places, shape ``(plucks, tunings, places + 1)``
    log_evidence: float


def _forward_backward(emission: Reals, walk: Reals, begins: Reals, ends: Reals) -> _Run:
    count, tunings = len(emission), len(_TUNINGS)
    tuned = _TUNED_SHARE * _normal(_TUNINGS, _TUNED_CENTS) * (_TUNINGS[1] - _TUNINGS[0]) + (1.0 - _TUNED_SHARE) / tunings
    moves = np.eye(tunings) * (1.0 - 2.0 * _CREEP - _RETUNED) + _CREEP * (np.eye(tunings, k=1) + np.eye(tunings, k=-1))
    moves += _RETUNED / tunings
    forward, backward = np.empty_like(emission), np.empty_like(emission)
    log_evidence = 0.0
    state = tuned[:, None] * begins[None, :]
    for index in range(count):
        state = state * emission[index]
        if index == count - 1:
            state = state * ends[None, :]
        total = float(state.sum())
        log_evidence += np.log(total)
        forward[index] = state / total
        state = moves.T @ forward[index] @ walk
    later = np.ones_like(emission[0])
    for index in range(count - 1, -1, -1):
        backward[index] = later
        since = later * emission[index] * (ends[None, :] if index == count - 1 else 1.0)
        later = moves @ since @ walk.T
        later /= later.max()
    joint = forward * backward
    return _Run(joint / joint.sum(axis=(1, 2), keepdims=True), float(log_evidence))


def _posterior(runs: Sequence[_Run], right: Reals) -> Places:
    weight = np.exp(np.array([run.log_evidence for run in runs]) - max(run.log_evidence for run in runs))
    joint = np.asarray(sum(share * run.joint for share, run in zip(weight / weight.sum(), runs, strict=True)))
    placed = joint[:, :, :-1]
    return Places(
        probability=np.sum(placed * right, axis=1),
        tuning_cents=np.sum(joint, axis=2) @ _TUNINGS,
        misread=np.sum(placed * (1.0 - right), axis=(1, 2)),
    )
