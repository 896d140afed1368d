"""From plucks to the posterior of everything that may be out: Gauss–Newton around the forward model, sums over sets of faults.

At each step the forward model is replaced by its tangent, the linear problem solved in closed form for the sound neck
(`linear_gaussian`), and the sets of faults weighed (`fault_sets`). How much this workshop and this hand scatter is not known
either: a few common factors on the narrow spreads are weighed together with the faults.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag
from scipy.special import softmax

from fretcheck.arrays import Reals
from fretcheck.diagnosis.infer.fault_sets import FaultSets, Ways, evidences, weigh
from fretcheck.diagnosis.infer.linear_gaussian import LinearGaussian
from fretcheck.diagnosis.infer.posterior import Component, Posterior
from fretcheck.diagnosis.infer.scatter import Combined, combine, hand_scatter, open_uncertainty
from fretcheck.diagnosis.model.as_designed import AsDesigned, Cell, as_designed
from fretcheck.diagnosis.model.by_hand import ByHand, by_hand
from fretcheck.diagnosis.model.forward import ForwardModel
from fretcheck.diagnosis.model.layout_rules import RULES, LayoutRule
from fretcheck.diagnosis.model.note_field import NoteField, Roughness, note_field
from fretcheck.diagnosis.model.parameters import Parameters, parameters_of
from fretcheck.diagnosis.model.string_priors import constants_of
from fretcheck.diagnosis.observation import Observation
from fretcheck.diagnosis.result import LayoutHypothesis
from fretcheck.neck.description import Neck

# Workshops and hands differ as a whole, and the priors are wide enough for all: a factor on what scatters on a sound neck, with
# prior weights (common practice, no source). Sound careful necks exactly 1 cent inside (hand 0.8 cent, two plucks; 16 and 12 of
# two seeds): P of passing .920 to .935, .916 to .937, undecided 75 to 56, 50 to 50 %, notes within 2u 98 % still. Factors on the
# frets alone in its place told nothing.
WIDTHS = ((0.25, 1.0 / 3.0), (0.5, 1.0 / 3.0), (1.0, 1.0 / 3.0))
# How much sharper than stopped ones open strings read (cents: mean, standard deviation), with prior weights: plucked about as
# hard, and by one player in twenty (common practice, no source) harder, or on strings that sink long. Recorded notes read 0.04
# cent sharper for a pluck 3 dB harder and 0.07 for 6 dB (medians of 136 and 129; means 0.19 and 0.29), the means of 15
# instruments -0.3 to +1.2, u 0.3 (`tests.benchmarks.harder_plucks`). One normal of ±0.22 left 7 points more necks undecided.
OPENS = (((0.05, 0.12), 0.95), ((0.5, 0.3), 0.05))
# How rough the field of the notes may be (cents, mm; the finger's as a factor), with prior weights; common practice, no source.
# They reach down to a neck without any: with 0.15 cent and 0.7 the least, u was half as large again as the errors there. Four
# levels of the notes' own and of the finger's told nothing more (7 necks of three worlds) and took a quarter more time. With
# the heaviest finger 9 of 20 sound `hard` necks got a finding, not 12, and none a nut's height, not 2 (both sure).
PULLS = ((0.05, 0.2), (0.2, 0.3), (0.6, 0.3), (1.8, 0.2))
OWNS = ((0.01, 0.3), (0.05, 0.5), (0.2, 0.2))
FINGERS = ((0.2, 0.45), (1.2, 0.45), (2.5, 0.1))
MOST_STEPS = 5
MOST_COMPONENTS, LEAST_SHARE = 200, 1e-4  # Of the mixture: what is left out holds a hundredth at most
SETTLED_CENTS = 0.1  # Gauss–Newton steps end when no note moves by more
SMOOTH = Roughness(finger=0.7, pull_cents=0.15, own_mm=0.03)
ROUGH = Roughness(finger=1.8, pull_cents=1.8, own_mm=0.08)
FAULTS_BETWEEN, SETS_BETWEEN = 2, 6
RULES_LOOKED_INTO = 3
STRINGS_FOR_A_RULE, FRETS_FOR_A_RULE = 3, 8
# Variance of the field on an instrument beyond the model (`Roughness.beyond_the_model`), as a multiple of what its readings tell.
# Of 120 sound `hard` necks so 18 of 100 got a finding, 4 a sure one, and frets 0.40 mm out were named first in 79, saddles 2.5 mm
# off in 95, a high nut with a clearance in 95. With 2 it were 21, 4, 81, 95, 95; without it 28 and 12, with 4 7 and 3 (60 each)
BEYOND_THE_MODEL = 2.5
# A rule of layout less probable than the first is only listed; the causes are then told against the design. Of 3,400 necks of all
# foreign worlds that the model was made for none gave any rule over 0.54, real steps of 0.25 mm gave 0.94. Beyond it the second
# counts: one of 140 sound `hard` necks gave steps that add up 0.92, a real rule of 18 gives 1
SURE_OF_RULE, SURE_OF_RULE_WHEN_ROUGH = 0.9, 0.99


@dataclass(frozen=True, kw_only=True)
class _Readings:
    """Values with what the linear problem needs beside them."""

    combined: Combined
    index: NDArray[np.intp]  # Of each value's cell in the design
    field: Reals  # Covariance of what the notes have beside θ, over all cells of the design
    own: Reals  # Variance of that part of it which each cell has by itself

    @cached_property
    def noise(self) -> Reals:
        """Covariance of the values about θ's: the field and the hand."""
        return self.field[np.ix_(self.index, self.index)] + np.diag(self.combined.u_cents**2)


def infer(neck: Neck, observations: Sequence[Observation]) -> Posterior:
    """Posterior of all parameters of `neck`."""
    scatter = hand_scatter(observations)
    combined = combine(observations, scatter)
    pressed = [cell for cell in combined.cells if cell.press is not None]
    design = as_designed(neck, constants=constants_of(neck, observations), extra=pressed)
    parameters = parameters_of(design, open_u_cents=open_uncertainty(observations, len(neck.strings)))
    start = ForwardModel(design=design, parameters=parameters).depth_slope(parameters.prior_mean)
    field = note_field(design, depth_slope=start)
    readings = _placed(design, combined, field.covariance(Roughness()), field.own(Roughness()))
    search = _Search(design=design, parameters=parameters, ways=Ways.of(parameters.faults))
    rough, parameters = search.roughness(readings, field)
    doubt = BEYOND_THE_MODEL if rough.beyond_the_model else 1.0
    readings = replace(readings, field=doubt * field.covariance(rough), own=doubt * field.own(rough))
    search = replace(search, parameters=parameters)
    rule, layout = search.layout(readings, sure=SURE_OF_RULE_WHEN_ROUGH if rough.beyond_the_model else SURE_OF_RULE)
    model, parameters_of_rule = _under(design, parameters, rule)
    ways = search.ways
    hand = by_hand(design, parameters, neck.measured, shift_mm=model.fret_shift_mm)
    theta = parameters.prior_mean
    for _ in range(MOST_STEPS):
        sets = weigh(_linear(model, readings, hand, theta, parameters_of_rule), ways, most=FAULTS_BETWEEN)
        before, theta = model.cents(theta), sets.best.mean
        if np.max(np.abs(model.cents(theta) - before)) < SETTLED_CENTS:
            break
    slopes = model.jacobian(theta)
    expected = _expected(model, theta, slopes, sets, np.diag(readings.field))
    readings = _placed(design, combine(observations, scatter, expected=expected), readings.field, readings.own)
    weighed = []
    for (width, share), (opened, open_share) in product(WIDTHS, OPENS):
        narrowed = replace(model, parameters=parameters.with_opens(*opened).narrowed(width))
        problem = _linear(narrowed, readings, hand, theta, parameters_of_rule, slopes=slopes)
        weighed.append((share * open_share, weigh(problem, ways)))
    return Posterior(
        model=model,
        components=_components(weighed),
        combined=readings.combined,
        hand=hand,
        layout=layout,
        rule=rule,
        field=readings.field,
        own=readings.own,
        scatter=scatter,
        heard=readings.index,
        rough=rough,
    )


def _placed(design: AsDesigned, combined: Combined, field: Reals, own: Reals) -> _Readings:
    places = {cell: number for number, cell in enumerate(design.cells)}
    index = np.array([places[cell] for cell in combined.cells], dtype=np.intp)
    field, own = field.copy(), own.copy()
    field[index, index] += combined.odd_cents**2
    own[index] += combined.odd_cents**2
    return _Readings(combined=combined, index=index, field=field, own=own)


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
    *,
    slopes: Reals | None = None,
) -> LinearGaussian:
    """The tangent problem of the sound neck at θ; `slopes` is the model's derivative where it is already known."""
    jacobian = (model.jacobian(theta) if slopes is None else slopes)[readings.index]
    y = readings.combined.cents - model.cents(theta)[readings.index] + jacobian @ theta
    parameters = model.parameters
    root = parameters.mixing * np.array(parameters.spreads)
    covariance = root @ root.T
    return LinearGaussian(
        y=np.concatenate([y, hand.values]),
        design=np.concatenate([jacobian, hand.rows]),
        noise=block_diag(readings.noise, hand.covariance),
        prior_mean=parameters.prior_mean,
        prior_covariance=covariance if extra is None else covariance + extra,
    )


@dataclass(frozen=True, kw_only=True)
class _Search:
    """What is settled at the neck as designed, before the causes are: how rough the notes' field is, and the rule of layout."""

    design: AsDesigned
    parameters: Parameters
    ways: Ways

    @cached_property
    def slopes(self) -> Reals:
        """The derivatives of the neck as designed, which serve for every rule."""
        return ForwardModel(design=self.design, parameters=self.parameters).jacobian(self.parameters.prior_mean)

    def problem(self, readings: _Readings, rule: LayoutRule) -> LinearGaussian:
        """The linear problem under a rule."""
        model, extra = _under(self.design, self.parameters, rule)
        hand = by_hand(self.design, self.parameters, self.design.neck.measured, shift_mm=model.fret_shift_mm)
        return _linear(model, readings, hand, self.parameters.prior_mean, extra, slopes=self.slopes)

    def roughness(self, readings: _Readings, parts: NoteField) -> tuple[Roughness, Parameters]:
        """How rough the field is, and θ's priors for a finger so uneven: mean squares by the evidence of these readings.

        Each roughness is weighed with the sets of faults that are likely under a smooth field or under a rough one.
        """
        scattered = replace(readings, field=np.zeros_like(readings.field))
        problem = self.problem(scattered, RULES[0])
        index, there = readings.index, np.ix_(readings.index, readings.index)
        heard = NoteField(finger=parts.finger[there], pull=parts.pull[there], own_of_mm=parts.own_of_mm[index])
        more = (0, len(problem.y) - len(index))  # Measurements by hand have nothing of the field
        sets: set[tuple[int, ...]] = set()
        for rough in (SMOOTH, ROUGH):
            rougher = problem.with_noise(problem.noise + np.pad(heard.covariance(rough), more))
            sets.update(weigh(rougher, self.ways, most=FAULTS_BETWEEN).kept[:SETS_BETWEEN])
        sets.discard(())
        of_player = {
            finger: replace(self, parameters=self.parameters.with_finger((finger, 1.0))).problem(scattered, RULES[0])
            for finger, _ in FINGERS
        }
        problems, shares, kinds = [], [], []
        for (pull, pull_share), (own, own_share), (finger, finger_share) in product(PULLS, OWNS, FINGERS):
            rough = Roughness(finger=finger, pull_cents=pull, own_mm=own)
            problems.append(of_player[finger].with_noise(problem.noise + np.pad(heard.covariance(rough), more)))
            shares.append(pull_share * own_share * finger_share)
            kinds.append((pull, own, finger))
        logs = evidences(problems, self.ways, sorted(sets)) + np.log(shares)
        weights = softmax(logs)
        pull, own, finger = np.sqrt(weights @ np.square(kinds))
        levels = [(kind[2], float(weight)) for kind, weight in zip(kinds, weights, strict=True)]
        return Roughness(finger=finger, pull_cents=pull, own_mm=own), self.parameters.with_finger(*levels)

    def _shows_a_rule(self, readings: _Readings, problem: LinearGaussian) -> bool:
        """Whether these readings can carry a rule of layout."""
        frets = np.bincount(self.design.string[readings.index])
        likeliest = weigh(problem, self.ways, most=FAULTS_BETWEEN).best
        retuned = any(self.parameters.faults[number].cause == "tuning_drift" for number in likeliest.faults)
        return int(np.sum(frets >= FRETS_FOR_A_RULE)) >= STRINGS_FOR_A_RULE and not retuned

    def layout(self, readings: _Readings, *, sure: float) -> tuple[LayoutRule, tuple[LayoutHypothesis, ...]]:
        """Weigh the rules of layout; the one to go by, and all with their probabilities.

        A rule shows over all frets: it is gone by only with enough strings and frets read, and with no string retuned meanwhile.
        """
        problems = [self.problem(readings, rule) for rule in RULES]
        shares = np.log([rule.share for rule in RULES])
        logs = np.array([weigh(problem, self.ways, most=1).log_evidence for problem in problems])
        order = np.argsort(-(logs + shares))
        for number in {0, *order[:RULES_LOOKED_INTO].tolist()}:  # several faults at once must not pass for a mistake of layout
            logs[number] = weigh(problems[number], self.ways).log_evidence
        probability = softmax(logs + shares)
        hypotheses = [
            LayoutHypothesis(name=rule.name, probability=float(share), text=rule.text)
            for rule, share in zip(RULES, probability, strict=True)
        ]
        best = int(np.argmax(probability))
        shown = best > 0 and probability[best] >= sure and self._shows_a_rule(readings, problems[best])
        chosen = RULES[best if shown else 0]
        return chosen, tuple(sorted(hypotheses, key=lambda one: -one.probability))


def _expected(model: ForwardModel, theta: Reals, slopes: Reals, sets: FaultSets, field: Reals) -> dict[Cell, tuple[float, float]]:
    """Cents of every cell by the most probable faults, and their standard uncertainty, the field's variance included."""
    variance = np.sum(slopes @ sets.sound.covariance * slopes, axis=1) + np.sum((slopes @ sets.best.root) ** 2, axis=1)
    cents, u = model.cents(theta), np.sqrt(np.maximum(variance, 0.0) + field)
    return {cell: (float(value), float(spread)) for cell, value, spread in zip(model.design.cells, cents, u, strict=True)}


def _components(weighed: Sequence[tuple[float, FaultSets]]) -> tuple[Component, ...]:
    """All fault sets of all workshops in one mixture; what is negligible dropped."""
    logs = np.concatenate([math.log(share) + sets.log_evidence + np.array(sets.log_weights) for share, sets in weighed])
    weights = np.exp(logs - np.max(logs))
    weights[weights < max(LEAST_SHARE * np.sum(weights), np.sort(weights)[-MOST_COMPONENTS:][0])] = 0.0
    weights /= np.sum(weights)
    components = []
    ends = np.cumsum([len(sets.kept) for _, sets in weighed])
    for (_, sets), own in zip(weighed, np.split(weights, ends[:-1]), strict=True):
        numbers = np.flatnonzero(own).tolist()
        components += [
            Component(weight=float(own[number]), mean=one.mean, sound=sets.sound, root=one.root, faults=one.faults)
            for number, one in zip(numbers, sets.posteriors(numbers), strict=True)
        ]
    return tuple(sorted(components, key=lambda one: -one.weight))
