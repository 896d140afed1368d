"""From plucks to the posterior of everything that may be out: Gauss–Newton around the forward model, sums over sets of faults.

At each step the forward model is replaced by its tangent, the linear problem solved in closed form for the sound neck
(`linear_gaussian`), and the sets of faults weighed (`fault_sets`). How well the workshop cuts frets is not known either: a few
factors on the narrow spreads of frets and tilts are weighed together with the faults.

Conventions
-----------
θ as in `parameters`, cells as in `as_designed`, cents and mm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fretcheck.diagnosis.as_designed import AsDesigned, Cell, as_designed
from fretcheck.diagnosis.by_hand import ByHand, by_hand
from fretcheck.diagnosis.fault_sets import MOST_FAULTS, FaultSets, weigh
from fretcheck.diagnosis.forward import ForwardModel
from fretcheck.diagnosis.layout_rules import RULES, LayoutRule
from fretcheck.diagnosis.linear_gaussian import LinearGaussian
from fretcheck.diagnosis.observation import Observation
from fretcheck.diagnosis.parameters import CROWN_MM, Parameters, parameters_of
from fretcheck.diagnosis.posterior import Component, Posterior
from fretcheck.diagnosis.result import LayoutHypothesis
from fretcheck.diagnosis.scatter import Combined, combine, hand_scatter, open_uncertainty
from fretcheck.diagnosis.stopped_string import CENTS_PER_NEPER
from fretcheck.diagnosis.string_priors import constants_of
from fretcheck.neck.description import Neck

Reals = NDArray[np.float64]

CRAFT = ((0.6, 0.25), (1.0, 0.5), (1.8, 0.25))
"""Factors on the narrow spreads of frets and tilts, with their prior weights: a careful, a usual, a hasty workshop."""
MOST_STEPS = 5
SETTLED_CENTS = 0.1
"""Gauss–Newton steps end when no note moves by more."""
REMAINDER_CENTS = 0.15
"""What a note has to itself: common practice, no source."""
FAULTS_BETWEEN = 2
RULES_LOOKED_INTO = 3
SURE_OF_RULE = 0.9
"""A rule of layout less probable than this is only listed; the causes are then told against the design."""


@dataclass(frozen=True, kw_only=True)
class _Readings:
    """Values with what the linear problem needs beside them."""

    combined: Combined
    index: NDArray[np.intp]
    """Of each value's cell in the design."""
    own_cents: Reals
    """Standard deviation of what each cell of the design has to itself: a crown's own error and a remainder."""


def infer(neck: Neck, observations: Sequence[Observation]) -> Posterior:
    """Posterior of all parameters of `neck`."""
    scatter = hand_scatter(observations)
    combined = combine(observations, scatter)
    pressed = [cell for cell in combined.cells if cell.press is not None]
    design = as_designed(neck, constants=constants_of(neck, observations), extra=pressed)
    parameters = parameters_of(design, open_u_cents=open_uncertainty(observations, len(neck.strings)))
    readings = _placed(design, combined)
    rule, layout = _layout(design, parameters, readings)
    model, parameters_of_rule = _under(design, parameters, rule)
    hand = by_hand(design, parameters, neck.measured, shift_mm=model.fret_shift_mm)
    theta = np.array(parameters.means)
    for _ in range(MOST_STEPS):
        sets = weigh(_linear(model, readings, hand, theta, parameters_of_rule, 1.0), parameters.faults, most=FAULTS_BETWEEN)
        before, theta = model.cents(theta), sets.best.mean
        if np.max(np.abs(model.cents(theta) - before)) < SETTLED_CENTS:
            break
    expected = _expected(model, theta, sets)
    expected = {
        cell: (cents, math.hypot(u, own)) for (cell, (cents, u)), own in zip(expected.items(), readings.own_cents, strict=True)
    }
    readings = _placed(design, combine(observations, scatter, expected=expected))
    tangent = _Tangent(model=model, theta=theta)
    weighed = [
        (weight, weigh(_linear(model, readings, hand, theta, parameters_of_rule, craft, tangent=tangent), parameters.faults))
        for craft, weight in CRAFT
    ]
    return Posterior(
        model=model,
        components=_components(weighed),
        combined=readings.combined,
        hand=hand,
        layout=layout,
        rule=rule,
        scatter=scatter,
        heard=readings.index,
        own_cents=readings.own_cents,
    )


@dataclass(frozen=True, kw_only=True)
class _Tangent:
    """The forward model and its derivative at one θ."""

    model: ForwardModel
    theta: Reals

    @cached_property
    def cents(self) -> Reals:
        return self.model.cents(self.theta)

    @cached_property
    def jacobian(self) -> Reals:
        return self.model.jacobian(self.theta)


def _placed(design: AsDesigned, combined: Combined) -> _Readings:
    places = {cell: number for number, cell in enumerate(design.cells)}
    index = np.array([places[cell] for cell in combined.cells], dtype=np.intp)
    own = np.hypot(CENTS_PER_NEPER * CROWN_MM / design.speaking_mm, REMAINDER_CENTS)
    own[index] = np.hypot(own[index], combined.odd_cents)
    return _Readings(combined=combined, index=index, own_cents=own)


def _under(design: AsDesigned, parameters: Parameters, rule: LayoutRule) -> tuple[ForwardModel, Reals | None]:
    """The forward model under a layout rule, and the covariance that the rule adds to θ's prior."""
    shift = rule.shift_mm(design) if rule.shift_mm is not None else None
    extra = None
    if rule.extra_covariance is not None:
        columns = parameters.columns("fret_position")
        extra = np.zeros((len(parameters.keys),) * 2)
        x = np.array([design.neck.nut_distance_mm(parameters.keys[column].fret or 0) for column in columns])
        extra[np.ix_(columns, columns)] = rule.extra_covariance(x)
    return ForwardModel(design=design, parameters=parameters, fret_shift_mm=shift), extra


def _linear(
    model: ForwardModel,
    readings: _Readings,
    hand: ByHand,
    theta: Reals,
    extra: Reals | None,
    craft: float,
    *,
    tangent: _Tangent | None = None,
) -> LinearGaussian:
    """The tangent problem of the sound neck at θ."""
    tangent = tangent or _Tangent(model=model, theta=theta)
    jacobian = tangent.jacobian[readings.index]
    y = readings.combined.cents - tangent.cents[readings.index] + jacobian @ theta
    noise = np.hypot(readings.combined.u_cents, readings.own_cents[readings.index])
    parameters = model.parameters
    spread = np.array(parameters.spreads)
    finely = parameters.columns("fret_position") + parameters.columns("fret_tilt")
    spread[finely] *= craft
    covariance = np.diag(spread**2)
    return LinearGaussian(
        y=np.concatenate([y, hand.values]),
        design=np.concatenate([jacobian, hand.rows]),
        noise_variance=np.concatenate([noise, hand.u]) ** 2,
        prior_mean=np.array(parameters.means),
        prior_covariance=covariance if extra is None else covariance + extra,
    )


def _layout(design: AsDesigned, parameters: Parameters, readings: _Readings) -> tuple[LayoutRule, tuple[LayoutHypothesis, ...]]:
    """Weigh the rules of layout; the one to go by, and all with their probabilities."""
    theta = np.array(parameters.means)

    def evidence(rule: LayoutRule, most: int) -> float:
        model, extra = _under(design, parameters, rule)
        hand = by_hand(design, parameters, design.neck.measured, shift_mm=model.fret_shift_mm)
        return weigh(_linear(model, readings, hand, theta, extra, 1.0), parameters.faults, most=most).log_evidence

    shares = np.log([rule.share for rule in RULES])
    logs = np.array([evidence(rule, FAULTS_BETWEEN) for rule in RULES])
    order = np.argsort(-(logs + shares))
    for number in {0, *order[:RULES_LOOKED_INTO].tolist()}:  # several faults at once must not pass for a mistake of layout
        logs[number] = evidence(RULES[number], MOST_FAULTS)
    weight = logs + shares
    probability = np.exp(weight - np.max(weight))
    probability /= np.sum(probability)
    hypotheses = [
        LayoutHypothesis(name=rule.name, probability=float(share), log_evidence=float(log), text=rule.text)
        for rule, share, log in zip(RULES, probability, logs, strict=True)
    ]
    best = int(np.argmax(probability))
    chosen = RULES[best if probability[best] >= SURE_OF_RULE else 0]
    return chosen, tuple(sorted(hypotheses, key=lambda one: -one.probability))


def _expected(model: ForwardModel, theta: Reals, sets: FaultSets) -> dict[Cell, tuple[float, float]]:
    """Cents of every cell, and their standard uncertainty, by the most probable faults."""
    rows = model.jacobian(theta)
    variance = np.einsum("ij,jk,ik->i", rows, sets.sound.covariance, rows) + np.sum((rows @ sets.best.root) ** 2, axis=1)
    cents, u = model.cents(theta), np.sqrt(np.maximum(variance, 0.0))
    return {cell: (float(middle), float(spread)) for cell, middle, spread in zip(model.design.cells, cents, u, strict=True)}


def _components(weighed: Sequence[tuple[float, FaultSets]]) -> tuple[Component, ...]:
    """All fault sets of all workshops in one mixture; what is negligible dropped."""
    logs = [math.log(weight) + sets.log_evidence for weight, sets in weighed]
    best = max(logs)
    components = [
        Component(weight=math.exp(log - best + one.log_weight), mean=one.mean, sound=sets.sound, root=one.root, faults=one.faults)
        for log, (_, sets) in zip(logs, weighed, strict=True)
        for one in sets.sets
    ]
    total = sum(one.weight for one in components)
    components = sorted((one for one in components if one.weight > 1e-4 * total), key=lambda one: -one.weight)[:200]
    total = sum(one.weight for one in components)
    return tuple(replace(one, weight=one.weight / total) for one in components)
