"""The neck on the repairer's bench: what is believed of it, what moving its parts would do, and the best moves.

The moves of nut and saddles are found together by linear programming: least worst deviation (minimax), each string's own worst
as a second aim.

Conventions
-----------
θ as in `parameters`; cents, mm. A direction is a change of θ for one mm of move. Notes at frets that are to be moved do not
steer.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fretcheck.diagnosis.forward import ForwardModel
from fretcheck.diagnosis.parameters import CROWN_MM
from fretcheck.diagnosis.posterior import Posterior
from fretcheck.diagnosis.result import Predicted, StepPrediction
from fretcheck.diagnosis.settings import SaddleStyle
from fretcheck.diagnosis.stopped_string import CENTS_PER_NEPER

Reals = NDArray[np.float64]

DRAWS = 200
"""From the posterior, with a fixed seed, for the worst note to expect."""


class Bench:
    """The neck on the bench: θ as it is believed to be, changed move by move."""

    def __init__(self, posterior: Posterior, *, limit_cents: float, bad_frets: frozenset[int]) -> None:
        self.limit_cents = limit_cents
        self.posterior = posterior
        self.theta = posterior.mean.copy()
        self.model: ForwardModel = posterior.model
        read = {(cell.string, cell.fret) for cell in posterior.combined.cells}
        cells = posterior.design.cells
        self.judged = np.array([cell.press is None and (cell.string, cell.fret) in read for cell in cells])
        self.steering = self.judged & np.array([cell.fret not in bad_frets for cell in cells])
        if not self.steering.any():
            self.steering = self.judged
        self.strings = sorted({cell.string for cell, judged in zip(cells, self.judged, strict=True) if judged})

        jacobian = self.model.jacobian(self.theta)[self.judged]
        values, vectors = np.linalg.eigh(posterior.covariance)
        root = jacobian @ (vectors * np.sqrt(np.maximum(values, 0.0)))
        crowns = CENTS_PER_NEPER * CROWN_MM / posterior.design.speaking_mm[self.judged]
        chance = np.random.default_rng(DRAWS)
        self.doubt = root @ chance.standard_normal((len(values), DRAWS)) + crowns[:, None] * chance.standard_normal(
            (len(root), DRAWS)
        )

    def worst(self, theta: Reals) -> float:
        """Worst steering note, by the posterior mean."""
        return float(np.max(np.abs(self.model.cents(theta)[self.steering])))

    def predicted(self) -> Predicted:
        """Worst of all judged notes as the neck now is, over what they may truly be."""
        cents = self.model.cents(self.theta)[self.judged]
        worst = np.max(np.abs(cents[:, None] + self.doubt), axis=0)
        low, high = np.quantile(worst, (0.05, 0.95))
        return Predicted(
            worst_cents=float(np.mean(worst)),
            worst_90=(float(low), float(high)),
            probability_within=float(np.mean(worst <= self.limit_cents)),
        )

    def step(self) -> StepPrediction:
        """The same for one step."""
        predicted = self.predicted()
        return StepPrediction(worst_cents=predicted.worst_cents, probability_within=predicted.probability_within)

    def column(self, kind: str, string: int | None = None) -> int | None:
        """Where a parameter stands in θ."""
        return self.posterior.parameters.column(kind, string=string)

    def alone(self, column: int) -> Reals:
        """Direction of one parameter."""
        direction = np.zeros(len(self.theta))
        direction[column] = 1.0
        return direction

    def saddle_directions(self, style: SaddleStyle) -> list[Reals]:
        """Directions in θ in which the saddles can be moved."""
        bridge, slant = self.column("bridge"), self.column("saddle_slant")
        if style == "per_string":
            own = [self.column("saddle", number) for number in self.strings]
            directions = [self.alone(column) for column in own if column is not None]
            if directions:
                return directions
        assert bridge is not None
        directions = [self.alone(bridge)]
        if style == "slanted" and slant is not None:
            directions.append(self.alone(slant))
        return directions

    def least_worst(self, directions: Sequence[Reals]) -> Reals:
        """θ after the moves along `directions` that make the worst steering note least, two tangent steps."""
        from scipy.optimize import linprog

        theta = self.theta.copy()
        cells = np.flatnonzero(self.steering)
        strings = self.posterior.design.string[cells]
        _, group = np.unique(strings, return_inverse=True)
        groups, moves = int(group.max()) + 1, len(directions)
        for _ in range(2):
            slope = self.model.jacobian(theta)[cells] @ np.array(directions).T
            now = self.model.cents(theta)[cells]
            own = np.zeros((len(cells), groups))
            own[np.arange(len(cells)), group] = -1.0
            none = np.zeros((len(cells), 1))
            within = np.block([[slope, own, none], [-slope, own, none]])
            below_worst = np.concatenate([np.zeros((groups, moves)), np.eye(groups), -np.ones((groups, 1))], axis=1)
            cost = np.concatenate([np.zeros(moves), np.full(groups, 0.1 / groups), [1.0]])
            solution = linprog(
                cost,
                A_ub=np.concatenate([within, below_worst]),
                b_ub=np.concatenate([-now, now, np.zeros(groups)]),
                bounds=[(None, None)] * (moves + groups + 1),
                method="highs",
            )
            theta = theta + np.array(directions).T @ solution.x[:moves]
        return theta

    def saddle_at(self, theta: Reals, string: int) -> float:
        """A saddle's place: bridge, slant and the string's own part."""
        value = 0.0
        side = float(self.posterior.design.side[string - 1])
        for kind, number, factor in (("bridge", None, 1.0), ("saddle_slant", None, side), ("saddle", string, 1.0)):
            column = self.column(kind, number)
            if column is not None:
                value += factor * float(theta[column])
        return value

    def saddle_move_u(self, string: int) -> float:
        """Standard uncertainty of the move a saddle needs, known far better than its absolute place.

        The spread of the best move (least worst note of that string) over what the notes may truly be, by ternary search.
        """
        here = self.steering & (self.posterior.design.string == string - 1)
        column = self.column("bridge")
        assert column is not None
        slope = self.model.jacobian(self.theta)[here, column][:, None]
        notes = self.model.cents(self.theta)[here][:, None] + self.doubt[here[self.judged]]
        low, high = np.full(DRAWS, -10.0), np.full(DRAWS, 10.0)
        for _ in range(30):
            third = (high - low) / 3.0
            left = np.max(np.abs(notes + slope * (low + third)), axis=0)
            right = np.max(np.abs(notes + slope * (high - third)), axis=0)
            low, high = np.where(left > right, low + third, low), np.where(left > right, high, high - third)
        return float(np.std(0.5 * (low + high)))
