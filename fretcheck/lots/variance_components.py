"""Variance components of a linear mixed model by restricted maximum likelihood (REML), crossed factors allowed.

y = X·β + Σ_k Z_k·b_k + e, with b_k ~ N(0, σ_k²) for the levels of each random factor k (a factor may have a pattern, which
multiplies its level's value row by row) and e ~ N(0, σ² + u²), where u is the known
standard uncertainty of each value (0 when unknown). What is told to fall into blocks is factorised block by block, so a
thousand necks take seconds.

Sources: H. D. Patterson & R. Thompson, Biometrika 58, 545 (1971) for the criterion; D. Bates et al., J. Stat. Softw.
67(1) (2015) for the penalised least-squares form.

Conventions
-----------
`criterion` is −2·log of the restricted likelihood, constants included. A component whose best value is zero is returned
as exactly 0.0 and its name is in `at_boundary`: the data show no such scatter.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf, log, pi
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fretcheck.errors import DiagnosisRefusedError, UsageError

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]
RESIDUAL = "residual"
_SMALL, _NEGLIGIBLE = 1e-3, 1e-7
"""Of the total variance: components below the first are tried at zero, below the second they are zero."""


@dataclass(frozen=True, kw_only=True)
class ComponentFit:
    """What a REML fit gives: `variances` by factor with "residual" last, in squared units of y."""

    variances: dict[str, float]
    at_boundary: tuple[str, ...]
    fixed: Floats
    fixed_covariance: Floats
    predicted: dict[str, Floats]
    """For each random factor its predicted levels (best linear unbiased), in the order of the levels' codes."""
    criterion: float

    def scatter(self, name: str) -> float:
        """Standard deviation of a component."""
        return float(self.variances[name] ** 0.5)


def fit_components(
    y: Floats,
    *,
    fixed: Floats,
    factors: Mapping[str, Codes],
    patterns: Mapping[str, Floats] | None = None,
    known_u: Floats | None = None,
    blocks: Codes | None = None,
    start: Mapping[str, float] | None = None,
) -> ComponentFit:
    """Fit by REML.

    Parameters
    ----------
    y : ndarray, shape (n,)
        Finite values.
    fixed : ndarray, shape (n, p)
        Design of the fixed effects, full column rank.
    factors : mapping of name to ndarray of int, shape (n,)
        For each random factor the level of each value, 0 … q−1, each level used.
    patterns : mapping of name to ndarray, shape (n,), optional
        For a factor named here, what each row gets of its level's value; 1 for the others.
    known_u : ndarray, shape (n,), optional
        Known standard uncertainty of each value, in the unit of y.
    blocks : ndarray of int, shape (n,), optional
        Rows of different blocks share no level of a random factor, as when all factors lie within the neck; saves time.
    start : mapping of name to variance, optional
        Where to begin, such as the outcome of a similar fit.

    Raises
    ------
    DiagnosisRefusedError
        With fewer values than would leave the scatter to be seen, or a fixed design that is not of full rank.
    """
    from scipy.optimize import minimize

    model = _Model(y, fixed, factors, patterns or {}, known_u, blocks)
    names = [*factors, RESIDUAL]
    total = model.total_variance
    floor = 0.0 if known_u is not None and bool(np.all(known_u > 0)) else 1e-9
    bounds = [(0.0, None)] * len(factors) + [(floor, None)]

    def criterion(scaled: Floats) -> float:
        return model.solve(np.asarray(scaled) * total).criterion

    def search(guess: Floats) -> Any:
        return minimize(criterion, guess, jac="3-point", method="L-BFGS-B", bounds=bounds, options={"ftol": 1e-13, "gtol": 1e-7})

    if start is not None:
        best = search(np.maximum([start[name] / total for name in names], 0.01))
    else:
        best = search(np.full(len(names), 1.0 / len(names)))
    if start is None and (
        not best.success or np.any(best.x < _SMALL)
    ):  # a second start, lest a flat corner be taken for the best
        best = min(best, search(np.full(len(names), 0.05)), key=lambda found: float(found.fun))
    scaled = np.array(best.x)
    value = float(best.fun)
    for index, (low, _) in enumerate(bounds):
        trial = scaled.copy()
        trial[index] = low
        if scaled[index] - low < _SMALL and (at_zero := criterion(trial)) <= value + 1e-8:
            scaled, value = trial, at_zero
    solution = model.solve(scaled * total)
    variances = {name: float(v) for name, v in zip(names, scaled * total, strict=True)}
    at_boundary = tuple(n for n, s, (low, _) in zip(names, scaled, bounds, strict=True) if s - low <= _NEGLIGIBLE)
    for name in at_boundary:
        variances[name] = 0.0
    return ComponentFit(
        variances=variances,
        at_boundary=at_boundary,
        fixed=solution.fixed,
        fixed_covariance=solution.covariance,
        predicted=model.split(solution.random),
        criterion=solution.criterion,
    )


@dataclass(frozen=True, kw_only=True)
class _Solution:
    criterion: float
    fixed: Floats
    covariance: Floats
    random: Floats


class _Model:
    """The penalised least-squares problem at given variances, block by block.

    Blocks are padded to one size, so that all of them are factorised in one call; padding has no weight.
    """

    def __init__(
        self,
        y: Floats,
        fixed: Floats,
        factors: Mapping[str, Codes],
        patterns: Mapping[str, Floats],
        known_u: Floats | None,
        blocks: Codes | None,
    ) -> None:
        y, x = np.asarray(y, dtype=float), np.asarray(fixed, dtype=float)
        rows, columns = x.shape
        if rows <= columns:
            raise DiagnosisRefusedError(
                f"{rows} values for {columns} fixed effects leave no scatter to be seen: measure more necks"
            )
        if np.linalg.matrix_rank(x.T @ x) < columns:
            raise DiagnosisRefusedError("the fixed effects cannot be told apart: some fret was never read")
        residual = y - x @ np.linalg.lstsq(x, y, rcond=None)[0]
        self.freedom = rows - columns
        self.total_variance = float(residual @ residual) / self.freedom
        if self.total_variance == 0:
            raise DiagnosisRefusedError("all values agree exactly with the fixed effects: there is no scatter to split")
        block = np.zeros(rows, dtype=np.intp) if blocks is None else np.unique(blocks, return_inverse=True)[1]
        row, count = _places(block)
        self.names = list(factors)
        self.levels = [int(codes.max()) + 1 for codes in factors.values()]
        shape = (int(block.max()) + 1, count)
        self.filled = np.zeros(shape, dtype=bool)
        self.filled[block, row] = True
        self.known_variance = np.zeros(shape)
        if known_u is not None:
            self.known_variance[block, row] = np.asarray(known_u, dtype=float) ** 2
        self.both = np.zeros((*shape, columns + 1))
        self.both[block, row] = np.column_stack([x, y])
        self._place_levels(block, row, factors, patterns)

    def _place_levels(self, block: Codes, row: Codes, factors: Mapping[str, Codes], patterns: Mapping[str, Floats]) -> None:
        """Fill the random part: `z` (block, row, level of the block), `factor_of` and `level_of` its columns (−1: padding)."""
        starts = np.cumsum([0, *self.levels])[:-1]
        stacked = np.concatenate([codes + start for codes, start in zip(factors.values(), starts, strict=True)])
        block_of_level = np.zeros(sum(self.levels), dtype=np.intp)
        block_of_level[stacked] = np.tile(block, len(factors))
        if np.any(block_of_level[stacked] != np.tile(block, len(factors))):
            raise UsageError("a level of a random factor lies in two blocks: fit without blocks")
        column, columns = _places(block_of_level)
        blocks, rows = self.filled.shape
        self.z = np.zeros((blocks, rows, columns))
        for codes, start, name in zip(factors.values(), starts, self.names, strict=True):
            self.z[block, row, column[codes + start]] = patterns.get(name, 1.0)
        self.factor_of = np.full((blocks, columns), -1)
        self.factor_of[block_of_level, column] = np.repeat(np.arange(len(factors)), self.levels)
        self.place_of_level = (block_of_level, column)

    def solve(self, variances: Floats) -> _Solution:
        columns = self.both.shape[2] - 1
        spread = np.where(self.filled, variances[-1] + self.known_variance, 1.0)
        if np.any(spread <= 0):
            levels = sum(self.levels)
            return _Solution(criterion=inf, fixed=np.zeros(columns), covariance=np.eye(columns), random=np.zeros(levels))
        weight = self.filled / spread
        scale = np.append(np.sqrt(variances[:-1]), 0.0)[self.factor_of]
        z = self.z * scale[:, None, :]
        weighted = np.swapaxes(z * weight[:, :, None], 1, 2)
        root = np.linalg.cholesky(weighted @ z + np.eye(z.shape[2]))
        half = np.linalg.solve(root, weighted @ self.both)
        flat = self.both.reshape(-1, columns + 1)
        flat_half = half.reshape(-1, columns + 1)
        moments = flat.T @ (weight.reshape(-1, 1) * flat) - flat_half.T @ flat_half
        information = moments[:columns, :columns]
        covariance = np.linalg.inv(information)
        fixed = covariance @ moments[:columns, -1]
        quadratic = moments[-1, -1] - moments[:columns, -1] @ fixed
        log_determinants = (
            np.sum(np.log(spread)) + 2 * np.sum(np.log(np.diagonal(root, axis1=1, axis2=2))) + np.linalg.slogdet(information)[1]
        )
        criterion = float(log_determinants + quadratic) + self.freedom * log(2 * pi)
        left = half[:, :, -1] - half[:, :, :columns] @ fixed
        random = scale * np.linalg.solve(np.swapaxes(root, 1, 2), left[:, :, None])[:, :, 0]
        return _Solution(criterion=criterion, fixed=fixed, covariance=covariance, random=random[self.place_of_level])

    def split(self, random: Floats) -> dict[str, Floats]:
        """Stacked random effects by factor."""
        return dict(zip(self.names, np.split(random, np.cumsum(self.levels)[:-1]), strict=True))


def _places(group: Codes) -> tuple[Codes, int]:
    """For each element its number within its group, and the size of the largest group."""
    order = np.argsort(group, kind="stable")
    counts = np.bincount(group)
    place = np.empty(len(group), dtype=np.intp)
    place[order] = np.arange(len(group)) - np.repeat(np.cumsum(counts) - counts, counts)
    return place, int(counts.max())
