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
    jacobian = posterior.model.jacobian(mean)
    read = posterior.model.cents(mean) + (theta - mean) @ jacobian.T
    references = posterior.parameters.columns("open_note")
    part = read - theta[:, references] @ jacobian[:, references].T
    field, heard = posterior.field, posterior.heard
    readings = field[np.ix_(heard, heard)] + np.diag(posterior.combined.u_cents**2)
    gain = np.linalg.solve(readings, field[heard]).T
    root = _root(field - gain @ field[heard])
    remainder = (posterior.combined.cents - read[:, heard]) @ gain.T + chance.standard_normal(part.shape) @ root.T
    alone = np.zeros(len(field))
    alone[heard] = posterior.own[heard] * np.linalg.solve(readings, np.mean(posterior.combined.cents - read[:, heard], axis=0))
    return JointDraws(theta=theta, notes=part + remainder, unexplained=alone)


def _theta(posterior: Posterior, chance: np.random.Generator, draws: int) -> Reals:
    size = len(posterior.mean)
    which = np.sort(chance.choice(len(posterior.components), size=draws, p=posterior.weights))
    normal = chance.standard_normal((draws, size))
    theta = np.empty((draws, size))
    roots: dict[int, Reals] = {}
    for number in np.unique(which):
        here, one = which == number, posterior.components[number]
        if id(one.sound) not in roots:
            roots[id(one.sound)] = _root(one.sound.covariance)
        theta[here] = one.mean + normal[here] @ roots[id(one.sound)].T
        theta[here] += chance.standard_normal((int(np.sum(here)), one.root.shape[1])) @ one.root.T
    return theta


def _root(covariance: Reals) -> Reals:
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))
