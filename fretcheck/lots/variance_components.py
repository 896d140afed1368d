"""Variance components of a linear mixed model by restricted maximum likelihood (REML), crossed factors allowed.

y = X·β + Σ_k Z_k·b_k + e, with b_k ~ N(0, σ_k²) for each random factor k and e ~ N(0, σ² + u²), where u is the known
standard uncertainty of each value (0 when unknown). With sparse factors the likelihood costs one sparse factorisation of
the order of the number of random levels, so a thousand necks take seconds.

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

from fretcheck.errors import DiagnosisRefusedError

Floats = NDArray[np.float64]
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
    y: Floats, *, fixed: Floats, factors: Mapping[str, NDArray[np.intp]], known_u: Floats | None = None
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
    known_u : ndarray, shape (n,), optional
        Known standard uncertainty of each value, in the unit of y.

    Raises
    ------
    DiagnosisRefusedError
        With fewer values than would leave the scatter to be seen, or a fixed design that is not of full rank.
    """
    from scipy.optimize import minimize

    model = _Model(y, fixed, factors, known_u)
    names = [*factors, RESIDUAL]
    total = model.total_variance
    floor = 0.0 if known_u is not None and bool(np.all(known_u > 0)) else 1e-9
    bounds = [(0.0, None)] * len(factors) + [(floor, None)]

    def criterion(scaled: Floats) -> float:
        return model.solve(np.asarray(scaled) * total).criterion

    def search(start: float) -> Any:
        guess = np.full(len(names), start)
        return minimize(criterion, guess, jac="3-point", method="L-BFGS-B", bounds=bounds, options={"ftol": 1e-13, "gtol": 1e-7})

    best = search(1.0 / len(names))
    if not best.success or np.any(best.x < _SMALL):  # a second start, lest a flat corner be taken for the best
        best = min(best, search(0.05), key=lambda found: float(found.fun))
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
    """The penalised least-squares problem at given variances."""

    def __init__(self, y: Floats, fixed: Floats, factors: Mapping[str, NDArray[np.intp]], known_u: Floats | None) -> None:
        from scipy import sparse

        self.y = np.asarray(y, dtype=float)
        self.x = np.asarray(fixed, dtype=float)
        rows, columns = self.x.shape
        if rows <= columns:
            raise DiagnosisRefusedError(
                f"{rows} values for {columns} fixed effects leave no scatter to be seen: measure more necks"
            )
        if np.linalg.matrix_rank(self.x.T @ self.x) < columns:
            raise DiagnosisRefusedError("the fixed effects cannot be told apart: some fret was never read")
        self.known_variance = np.zeros(rows) if known_u is None else np.asarray(known_u, dtype=float) ** 2
        self.names = list(factors)
        self.levels = [int(codes.max()) + 1 for codes in factors.values()]
        blocks = [
            sparse.csr_matrix((np.ones(rows), (np.arange(rows), codes)), shape=(rows, levels))
            for codes, levels in zip(factors.values(), self.levels, strict=True)
        ]
        self.z: Any = sparse.hstack(blocks, format="csr")
        residual = self.y - self.x @ np.linalg.lstsq(self.x, self.y, rcond=None)[0]
        self.total_variance = float(residual @ residual) / (rows - columns)
        if self.total_variance == 0:
            raise DiagnosisRefusedError("all values agree exactly with the fixed effects: there is no scatter to split")

    def solve(self, variances: Floats) -> _Solution:
        from scipy import sparse
        from scipy.sparse.linalg import splu

        spread = variances[-1] + self.known_variance
        rows, columns = self.x.shape
        if np.any(spread <= 0):
            return _Solution(
                criterion=inf, fixed=np.zeros(columns), covariance=np.eye(columns), random=np.zeros(sum(self.levels))
            )
        weight = 1.0 / spread
        scale = np.repeat(np.sqrt(variances[:-1]), self.levels)
        z = self.z @ sparse.diags(scale)
        weighted = sparse.diags(weight) @ z
        factor = splu(
            (z.T @ weighted + sparse.identity(z.shape[1])).tocsc(),
            permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True},
        )  # fmt: skip
        both = np.column_stack([self.x, self.y])
        right = weighted.T @ both
        inside = factor.solve(right)
        moments = both.T @ (weight[:, None] * both) - right.T @ inside
        information = moments[:columns, :columns]
        covariance = np.linalg.inv(information)
        fixed = covariance @ moments[:columns, -1]
        quadratic = moments[-1, -1] - moments[:columns, -1] @ fixed
        log_determinants = (
            np.sum(np.log(spread)) + np.sum(np.log(np.abs(factor.U.diagonal()))) + np.linalg.slogdet(information)[1]
        )
        criterion = float(log_determinants + quadratic) + (rows - columns) * log(2 * pi)
        random = scale * (inside[:, -1] - inside[:, :columns] @ fixed)
        return _Solution(criterion=criterion, fixed=fixed, covariance=covariance, random=random)

    def split(self, random: Floats) -> dict[str, Floats]:
        """Stacked random effects by factor."""
        ends = np.cumsum(self.levels)[:-1]
        return dict(zip(self.names, np.split(random, ends), strict=True))
