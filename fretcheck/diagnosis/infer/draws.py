"""The posterior of all notes together, as draws: what the verdict, every note's value and the corrections are read off.

A note reads part(θ) + remainder: what the neck's parts, its strings and the finger make of it by the model, and the rest
(`note_field`). Draws take a component of the mixture by its weight, θ = mean + L·z + root·z′ L·Lᵀ the sound covariance,
and the remainder from its normal distribution given what is left of the readings, y − tangent·θ: mean K·S⁻¹·(y − tangent·θ),
covariance K − K·S⁻¹·Kᵀ, with K the field's covariance between all cells and those heard, and S that of those heard, the readings'
uncertainty added.

Conventions: Cents; cells are those of the posterior's design. The `open_note` parameters are errors of the reading (of the open
pluck that a string's notes were counted from), so they are in the readings and not in the notes.
"""

from dataclasses import dataclass

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.diagnosis.infer.posterior import Posterior

DRAWS = 2000  # A probability of 0.05 is then told to ±0.005


@dataclass(frozen=True, kw_only=True)
class JointDraws:
    """Draws from the posterior of one neck."""

    theta: Reals  # Shape (draws, parameters)
    notes: Reals  # True deviation of every cell, shape (draws, cells)
    # The mean of that part of the remainder which each cell has by itself; the rest is the finger's and the body's
    unexplained: Reals


def joint_draws(posterior: Posterior, *, draws: int = DRAWS) -> JointDraws:
    """Draw all notes of a neck together; the same posterior gives the same draws."""
    chance = np.random.default_rng(draws)
    theta = _theta(posterior, chance, draws)
    mean = posterior.mean
    jacobian, cents = posterior.slopes, posterior.model.cents(mean)
    references = posterior.parameters.columns("open_note")
    field, heard = posterior.field, posterior.heard
    readings = field[np.ix_(heard, heard)] + np.diag(posterior.combined.u_cents**2)
    gain = np.linalg.solve(readings, field[heard]).T
    root = _root(field - gain @ field[heard])
    moved, left = theta - mean, posterior.combined.cents - cents[heard]
    slopes = jacobian - gain @ jacobian[heard]
    slopes[:, references] -= jacobian[:, references]
    notes = moved @ slopes.T
    notes += cents + gain @ left - jacobian[:, references] @ mean[references]
    notes += chance.standard_normal(notes.shape) @ root.T
    alone = np.zeros(len(field))
    alone[heard] = posterior.own[heard] * np.linalg.solve(readings, left - jacobian[heard] @ np.mean(moved, axis=0))
    return JointDraws(theta=theta, notes=notes, unexplained=alone)


def _theta(posterior: Posterior, chance: np.random.Generator, draws: int) -> Reals:
    which = np.sort(chance.choice(len(posterior.components), size=draws, p=posterior.weights))
    normal = chance.standard_normal((draws, len(posterior.mean)))
    theta = posterior.means[which]
    roots = {id(sound): _root(sound.covariance).T for sound, _ in posterior.sounds}
    for number in np.unique(which).tolist():
        here, one = slice(*np.searchsorted(which, [number, number + 1])), posterior.components[number]
        theta[here] += normal[here] @ roots[id(one.sound)]
        theta[here] += chance.standard_normal((len(theta[here]), one.root.shape[1])) @ one.root.T
    return np.asarray(theta)


def _root(covariance: Reals) -> Reals:
    """The symmetric one, which does not turn with rounding where eigenvalues nearly coincide."""
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray((vectors * np.sqrt(np.maximum(values, 0.0))) @ vectors.T)
