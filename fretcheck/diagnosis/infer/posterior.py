"""What is believed of a neck once its readings are in: a mixture of normal distributions over θ.

Conventions: θ as in `parameters`. Rows are linear functions of θ, shape (functions, parameters).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from fretcheck.arrays import Reals
from fretcheck.diagnosis.infer.linear_gaussian import LinearGaussian
from fretcheck.diagnosis.infer.scatter import Combined, Hand
from fretcheck.diagnosis.model.as_designed import AsDesigned
from fretcheck.diagnosis.model.by_hand import ByHand
from fretcheck.diagnosis.model.forward import ForwardModel
from fretcheck.diagnosis.model.layout_rules import LayoutRule
from fretcheck.diagnosis.model.note_field import Roughness
from fretcheck.diagnosis.model.parameters import Parameters
from fretcheck.diagnosis.result import LayoutHypothesis


@dataclass(frozen=True, kw_only=True)
class Component:
    """One normal part of the posterior."""

    weight: float
    mean: Reals
    sound: LinearGaussian
    root: Reals
    faults: tuple[int, ...]


@dataclass(frozen=True, kw_only=True)
class Posterior:
    """What is believed of a neck once its readings are in: a mixture of normal distributions over θ."""

    model: ForwardModel
    components: tuple[Component, ...]
    combined: Combined
    hand: ByHand
    layout: tuple[LayoutHypothesis, ...]
    rule: LayoutRule
    # Covariance in cents of what the notes have beside θ (`note_field`), over all cells; the hand's scatter is not in it
    field: Reals
    own: Reals  # Variance of the field's part that each cell has by itself, and that no part of the model explains
    scatter: Hand
    heard: NDArray[np.intp]  # Of each combined reading's cell in the design
    rough: Roughness  # How rough the field is, by the evidence of these readings

    @property
    def design(self) -> AsDesigned:
        """The neck's cells."""
        return self.model.design

    @property
    def parameters(self) -> Parameters:
        return self.model.parameters

    @cached_property
    def weights(self) -> Reals:
        return np.array([one.weight for one in self.components])

    @cached_property
    def means(self) -> Reals:
        """Of θ in every component, shape (components, parameters)."""
        return np.array([one.mean for one in self.components])

    @cached_property
    def mean(self) -> Reals:
        return np.asarray(self.weights @ self.means)

    @cached_property
    def slopes(self) -> Reals:
        """Derivative of every cell's cents by every parameter at the mean, shape (cells, parameters)."""
        return self.model.jacobian(self.mean)

    @cached_property
    def covariance(self) -> Reals:
        """Of θ, the differences between components included."""
        roots, starts = self._roots
        beside = roots * np.sqrt(np.repeat(self.weights, np.diff(starts, append=roots.shape[1])))
        between = (self.means - self.mean).T * np.sqrt(self.weights)
        sound = sum(weight * sound.covariance for sound, weight in self.sounds)
        return np.asarray(sound + beside @ beside.T + between @ between.T)

    @cached_property
    def _roots(self) -> tuple[Reals, NDArray[np.intp]]:
        """Those of all components side by side, a column of nothing before each, and where each begins."""
        nothing = np.zeros((len(self.mean), 1))
        widths = [1 + one.root.shape[1] for one in self.components]
        beside = [part for one in self.components for part in (nothing, one.root)]
        return np.concatenate(beside, axis=1), np.cumsum([0, *widths[:-1]])

    @cached_property
    def sounds(self) -> list[tuple[LinearGaussian, float]]:
        """Each sound neck under the components, and the weight of these."""
        sounds: dict[int, tuple[LinearGaussian, float]] = {}
        for one in self.components:
            sounds[id(one.sound)] = (one.sound, sounds.get(id(one.sound), (one.sound, 0.0))[1] + one.weight)
        return list(sounds.values())

    def fault_probability(self, number: int) -> float:
        """That the fault of this number in the table is there."""
        return float(sum(one.weight for one in self.components if number in one.faults))

    def of(self, rows: Reals, *, given: int | None = None) -> Marginals:
        """Distribution of linear functions of θ, one a row; `given` that the fault of this number is there."""
        base = {id(sound): np.sum(rows @ sound.covariance * rows, axis=1) for sound, _ in self.sounds}
        roots, starts = self._roots
        beside = np.add.reduceat((rows @ roots) ** 2, starts, axis=1).T
        variances = np.array([base[id(one.sound)] for one in self.components]) + beside
        weights = self.weights
        if given is not None and self.fault_probability(given) > 0.0:
            weights = weights * np.array([given in one.faults for one in self.components])
        return Marginals(
            weights=weights / np.sum(weights), means=self.means @ rows.T, spreads=np.sqrt(np.maximum(variances, 1e-18))
        )


@dataclass(frozen=True, kw_only=True)
class Marginals:
    """Mixtures of normal distributions of scalars, shape (components, scalars)."""

    weights: Reals
    means: Reals
    spreads: Reals

    @cached_property
    def mean(self) -> Reals:
        return np.asarray(self.weights @ self.means)

    @cached_property
    def u(self) -> Reals:
        """Standard deviations."""
        return np.sqrt(self.weights @ (self.spreads**2 + (self.means - self.mean) ** 2))

    def below(self, limits: Reals) -> Reals:
        """Probability that each lies below its limit."""
        return np.asarray(self.weights @ ndtr((limits - self.means) / self.spreads))

    def quantile(self, share: float) -> Reals:
        """By Newton's method, to a ten-millionth of the standard deviation; between the components' quantiles, halved where it
        would leave them."""
        own = self.means + ndtri(share) * self.spreads
        low, high, at = np.min(own, axis=0), np.max(own, axis=0), self.weights @ own
        for _ in range(60):  # 4 to 7 do; halves alone would come as near
            scaled = (at - self.means) / self.spreads
            over = self.weights @ ndtr(scaled) - share
            low, high = np.where(over < 0.0, at, low), np.where(over < 0.0, high, at)
            density = self.weights @ (np.exp(-0.5 * scaled**2) / self.spreads) / math.sqrt(2.0 * math.pi)
            before, at = at, at - over / np.maximum(density, 1e-300)
            at = np.where((low <= at) & (at <= high), at, 0.5 * (low + high))
            if np.all(np.abs(at - before) <= 1e-7 * self.u):
                break
        return np.asarray(at)
