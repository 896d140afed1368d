"""What a fit of pairs needs of the frames, as sums over time: from these follow cost, amplitudes and normal equations.

With the two planes m = exp(−αt + iωt) and s = m·exp(−βt + iδt) of unit size, the model of a band is c₀·m + c₂·s; its derivatives
are sums of m, t·m, s and t·s. So the sums of t^k·m*m, t^k·s*s, t^k·m*s, t^k·m*r and t^k·s*r, weighted, say all that the ratio r
can, and a step costs two exponentials of a frame in place of a row of derivatives.

Conventions
-----------
As in `pair_model`: arrays ``(parameters, bands)``, cost is χ² with the priors' share. Sums have the shape ``(powers, bands)``.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fretcheck.pitch.pair_model import COUNT, LEVEL, U_LOG_LEVEL, PairProblem, level_of, off_zero
from fretcheck.pitch.turns import turning_and_power

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]


_GRAM = np.array([[0, 1, 3, 4], [1, 2, 4, 5], [6, 7, 9, 10], [7, 8, 10, 11]])
"""Where the products of m, t·m, s and t·s stand among powers 0, 1, 2 of m*m, m*s, s*m and s*s."""
_MADE, _MADE_BY_LEVEL = np.zeros((2, COUNT, 4), complex)
_MADE[range(6), (0, 0, 1, 1, 2, 2)] = (1.0, 1j, -1.0, 1j, 1.0, 1j)
_MADE_BY_LEVEL[(0, 1, 2, 3, 6, 7), (2, 2, 3, 3, 3, 3)] = (1.0, 1j, -1.0, 1j, 1j, -1.0)
"""The derivatives of c₀·(m + l·s) by its parameters as sums of c₀ times those four: constant parts, and factors of l."""


@dataclass(frozen=True)
class PairMoments:
    """Sums over the frames for given rates of the two planes."""

    mm: Array
    ss: Array
    """Powers 0, 1, 2 of time."""
    ms: Complex
    """Of m*·s, powers 0, 1, 2."""
    mr: Complex
    sr: Complex
    """Powers 0 and 1."""
    energy: Array
    """Σ w·|r|², shape ``(bands,)``."""
    prior_decay: Array

    @classmethod
    def of(cls, problem: PairProblem, state: Array) -> PairMoments:
        """For the rates that `state` says."""
        _, _, decay, turn, _, _, split, extra = state
        return cls.at(problem, -decay + 1j * turn, turning_and_power(-extra + 1j * split, problem.time))

    @classmethod
    def at(cls, problem: PairProblem, rate: Complex, against: tuple[Complex, Array]) -> PairMoments:
        """For complex rates of the first plane, shape ``(bands,)``, and the second against it, by `turning_and_power`."""
        powers = problem.powers
        drawn, power = turning_and_power(rate.conj(), problem.time)
        power *= problem.weight
        drawn *= problem.weighted
        turning, its_power = against
        return cls(
            mm=powers @ power,
            ss=powers @ (power * its_power),
            ms=_summed(powers, power * turning),
            mr=_summed(powers[:2], drawn),
            sr=_summed(powers[:2], drawn * turning.conj()),
            energy=problem.energy,
            prior_decay=problem.prior_decay,
        )

    @cached_property
    def determinant(self) -> Array:
        """Of the two planes' Gram matrix, kept above 0."""
        product = self.mm[0] * self.ss[0]
        return np.asarray(np.maximum(product - np.abs(self.ms[0]) ** 2, 1e-12 * product))

    def amplitudes(self) -> tuple[Complex, Complex]:
        """c₀ and c₂ by linear least squares."""
        aa, bb, ab, ra, rb = self.mm[0], self.ss[0], self.ms[0], self.mr[0], self.sr[0]
        return (bb * ra - ab * rb) / self.determinant, (aa * rb - ab.conj() * ra) / self.determinant

    def cost(self, state: Array) -> Array:
        """χ² of every pair, the priors' share included; `state` must have the moments' rates."""
        c0 = np.exp(state[0] + 1j * state[1])
        c2 = c0 * (state[4] + 1j * state[5])
        log_level = np.log((level_of(state) + 1e-6) / LEVEL) / U_LOG_LEVEL
        return np.asarray(self.misfit(c0, c2) + log_level**2 + self.prior_decay * state[7] ** 2)

    def misfit(self, c0: Complex, c2: Complex) -> Array:
        """χ² alone."""
        crossed = c0.conj() * (c2 * self.ms[0] - self.mr[0]) - c2.conj() * self.sr[0]
        own = np.abs(c0) ** 2 * self.mm[0] + np.abs(c2) ** 2 * self.ss[0]
        return np.asarray(np.maximum(self.energy + own + 2.0 * crossed.real, 0.0))

    def normal_equations(self, state: Array) -> tuple[Array, Array]:
        """Normal matrix and gradient of every pair; `state` must have the moments' rates."""
        real, imaginary, extra = state[4], state[5], state[7]
        c0 = np.exp(state[0] + 1j * state[1])
        level = real + 1j * imaginary
        power = np.abs(c0) ** 2
        # Gram matrix of (c₀m, t·c₀m, c₀s, t·c₀s), and their products with what is left
        sums = np.concatenate((self.mm, self.ms, self.ms.conj(), self.ss)) * power
        gram = sums.T[:, _GRAM]
        drawn = np.concatenate((self.mr, self.sr)) * c0.conj()
        left = drawn.T - gram[:, :, 0] - gram[:, :, 2] * level[:, None]
        # the eight derivatives as sums of those four
        made = _MADE + level[:, None, None] * _MADE_BY_LEVEL
        adjoint = made.conj()
        normal = (adjoint @ gram @ made.transpose(0, 2, 1)).real
        wanted = (adjoint @ left[:, :, None])[:, :, 0].real
        # weak knowledge: the second plane is neither absent nor much stronger, and decays about as fast
        size = np.abs(level) + 1e-6
        log_level = np.log(size / LEVEL) / U_LOG_LEVEL
        gradient = np.stack([real, imaginary]) / size**2 / U_LOG_LEVEL
        normal[:, 4:6, 4:6] += np.einsum("ip,jp->pij", gradient, gradient)
        wanted[:, 4:6] -= (log_level * gradient).T
        normal[:, 7, 7] += self.prior_decay
        wanted[:, 7] -= self.prior_decay * extra
        return normal, wanted


def _summed(powers: Array, values: Complex) -> Complex:
    """The matrix product; real sums of real and imaginary parts take half the time that complex ones would."""
    return np.asarray((powers @ values.view(np.float64)).view(np.complex128))


def with_amplitudes(state: Array, c0: Complex, c2: Complex) -> Array:
    """The state with those complex amplitudes."""
    c0 = off_zero(c0)
    level = c2 / c0
    return np.array([np.log(np.abs(c0)), np.angle(c0), state[2], state[3], level.real, level.imag, state[6], state[7]])
