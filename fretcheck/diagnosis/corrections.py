"""What to do: the moves that bring the worst note lowest, in the order in which a repairer tries them.

A new string first, then the nut's height, the saddles, the nut's place, and single frets last, since a fret once moved or filed
is not put back. A part is moved only when the parts before it do not bring all notes well within the limit and it helps. The
moves of nut and saddles are found together by linear programming: least worst deviation (minimax), each string's own worst as a
second aim.

Conventions
-----------
mm, positive toward the bridge, except heights: positive is up. Moves are chosen by the posterior mean of every note; the worst
note afterwards is the mean over what the notes may truly be, since the worst of many uncertain notes is worse than the worst of
their means. The hand's scatter is left out. Notes at frets that are to be moved do not steer the saddles.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fretcheck.diagnosis.causes import PossibleCause, given_the_fault
from fretcheck.diagnosis.forward import ForwardModel
from fretcheck.diagnosis.inference import Posterior
from fretcheck.diagnosis.parameters import CROWN_MM
from fretcheck.diagnosis.result import Correction
from fretcheck.diagnosis.settings import DiagnosisSettings, SaddleStyle
from fretcheck.diagnosis.stopped_string import CENTS_PER_NEPER
from fretcheck.diagnosis.words import millimetres

Reals = NDArray[np.float64]

HELPS_CENTS = 0.3
"""A move of a nut or saddle that betters the worst note by less is not worth the work."""
WELL_WITHIN = 0.67
"""Share of the limit below which the next part is left alone."""
LEAST_MOVE_MM = 0.1
SURE_ENOUGH_TO_CUT = 0.9
"""A fret less surely out of place is left alone until it has been measured by hand."""
DRAWS = 200
"""From the posterior, with a fixed seed, for the worst note to expect."""
SLACKEN = "Slacken the strings before working at it, and keep the face away from strings under tension."


@dataclass(frozen=True, kw_only=True)
class Plan:
    """Moves in order, with the worst note once all are done."""

    corrections: tuple[Correction, ...]
    worst_after_cents: float | None


class _Bench:
    """The neck on the bench: θ as it is believed to be, changed move by move."""

    def __init__(self, posterior: Posterior, *, bad_frets: frozenset[int]) -> None:
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

    def worst_to_expect(self) -> float:
        """Worst of all judged notes as the neck now is, over what they may truly be."""
        cents = self.model.cents(self.theta)[self.judged]
        return float(np.mean(np.max(np.abs(cents[:, None] + self.doubt), axis=0)))

    def column(self, kind: str, string: int | None = None) -> int | None:
        return self.posterior.parameters.column(kind, string=string)


def plan(
    posterior: Posterior,
    causes: Sequence[PossibleCause],
    *,
    limit_cents: float,
    settings: DiagnosisSettings,
    move_nut: bool = True,
) -> Plan:
    """Moves for a neck with the given found causes; without `move_nut` (too few strings read) the nut stays where it is."""
    bad_frets = {one.estimate.fret: one for one in causes if one.estimate.cause in ("fret_position", "fret_tilt")}
    bench = _Bench(posterior, bad_frets=frozenset(fret for fret in bad_frets if fret is not None))
    enough = WELL_WITHIN * limit_cents
    steps: list[Correction] = []
    steps += _strings(bench, causes)
    steps += _heights(bench, causes)
    steps += _saddles_and_nut(bench, causes, enough=enough, style=settings.saddle, move_nut=move_nut)
    steps += _frets(bench, causes)
    return Plan(corrections=tuple(steps), worst_after_cents=bench.worst_to_expect())


def _strings(bench: _Bench, causes: Sequence[PossibleCause]) -> list[Correction]:
    steps = []
    for one in causes:
        number = one.estimate.string
        if one.estimate.cause == "string":
            bench.theta[list(bench.posterior.parameters.faults[one.fault].columns)] = 0.0
            text = (
                f"Put a new string {number} on, let it settle, and read it again before anything else is touched. "
                "Wear eye protection when a string is cut or comes off under tension."
            )
            steps.append(_step(bench, "string", text, string=number))
    return steps


def _heights(bench: _Bench, causes: Sequence[PossibleCause]) -> list[Correction]:
    steps = []
    for one in causes:
        if one.estimate.cause != "nut_height":
            continue
        estimate = given_the_fault(bench.posterior, one)
        column = bench.posterior.parameters.faults[one.fault].columns[0]
        move = -estimate.value
        bench.theta[column] = 0.0
        which = "all nut slots" if one.estimate.string is None else f"the nut slot of string {one.estimate.string}"
        if move < 0:
            how = f"Lower {which} by {millimetres(move)}, a little at a time: a slot too low buzzes and must be filled again."
        else:
            how = f"Raise {which} by {millimetres(move)} (shim the nut, or fill and recut the slot)."
        if one.judged_probability < SURE_ENOUGH_TO_CUT:
            how += " Measure the clearance over fret 1 first: this is not certain."
        text = f"{how} {SLACKEN}"
        steps.append(_step(bench, "nut_height", text, string=estimate.string, move=move, u=estimate.u))
    return steps


def _saddles_and_nut(
    bench: _Bench, causes: Sequence[PossibleCause], *, enough: float, style: SaddleStyle, move_nut: bool
) -> list[Correction]:
    before = bench.worst(bench.theta)
    if before <= enough:
        return []
    found_nut = [one for one in causes if one.estimate.cause == "nut_position"]
    options = [
        (name, _saddle_columns(bench, name)) for name in (("straight", "slanted", "per_string") if style == "any" else (style,))
    ]
    nut = [column for column in (bench.column("nut_position"),) if column is not None]
    solved = {name: _minimax(bench, columns) for name, columns in options}
    best = min(bench.worst(theta) for theta in solved.values())
    use_nut = False
    if best > enough and nut and move_nut:
        with_nut = {name: _minimax(bench, [*columns, _whole(bench, nut[0])]) for name, columns in options}
        best_with = min(bench.worst(theta) for theta in with_nut.values())
        if best - best_with > HELPS_CENTS or found_nut:
            solved, best, use_nut = with_nut, best_with, True
    if before - best < HELPS_CENTS:
        return []
    chosen = next(
        name
        for name, _ in options
        if bench.worst(solved[name]) <= max(best + HELPS_CENTS, enough if style == "any" else 0.0) or name == options[-1][0]
    )
    target = solved[chosen]
    steps = _saddle_steps(bench, chosen, target)
    if use_nut:
        steps += _nut_step(bench, target, nut[0])
    bench.theta = target
    return steps


def _whole(bench: _Bench, column: int) -> Reals:
    direction = np.zeros(len(bench.theta))
    direction[column] = 1.0
    return direction


def _saddle_columns(bench: _Bench, style: str) -> list[Reals]:
    """Directions in θ in which the saddles can be moved."""
    bridge, slant = bench.column("bridge"), bench.column("saddle_slant")
    if style == "per_string":
        own = [bench.column("saddle", number) for number in bench.strings]
        directions = [_whole(bench, column) for column in own if column is not None]
        if directions:
            return directions
    assert bridge is not None
    directions = [_whole(bench, bridge)]
    if style == "slanted" and slant is not None:
        directions.append(_whole(bench, slant))
    return directions


def _minimax(bench: _Bench, directions: Sequence[Reals]) -> Reals:
    """θ after the moves along `directions` that make the worst steering note least, two tangent steps."""
    from scipy.optimize import linprog

    theta = bench.theta.copy()
    cells = np.flatnonzero(bench.steering)
    strings = bench.posterior.design.string[cells]
    _, group = np.unique(strings, return_inverse=True)
    groups, moves = int(group.max()) + 1, len(directions)
    for _ in range(2):
        slope = bench.model.jacobian(theta)[cells] @ np.array(directions).T
        now = bench.model.cents(theta)[cells]
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


def _saddle_at(bench: _Bench, theta: Reals, string: int) -> float:
    value = 0.0
    side = float(bench.posterior.design.side[string - 1])
    for kind, number, factor in (("bridge", None, 1.0), ("saddle_slant", None, side), ("saddle", string, 1.0)):
        column = bench.column(kind, number)
        if column is not None:
            value += factor * float(theta[column])
    return value


def _saddle_steps(bench: _Bench, style: str, target: Reals) -> list[Correction]:
    moves = {number: _saddle_at(bench, target, number) - _saddle_at(bench, bench.theta, number) for number in bench.strings}
    moves = {number: move for number, move in moves.items() if abs(move) >= LEAST_MOVE_MM}
    if not moves:
        return []
    steps: list[Correction] = []
    if style == "per_string":
        for number, move in moves.items():
            column = bench.column("saddle", number)
            if column is None:
                column = bench.column("bridge")
            bench.theta[column] += move
            text = f"Move the saddle of string {number} {millimetres(move)} {_way(move)}."
            if not steps:
                text += f" {SLACKEN}"
            steps.append(_step(bench, "saddle", text, string=number, move=move, u=saddle_move_u(bench.posterior, number)))
        return steps
    first, last = min(moves), max(moves)
    for kind in ("bridge", "saddle_slant"):
        column = bench.column(kind)
        if column is not None:
            bench.theta[column] = target[column]
    middle = float(np.mean(list(moves.values())))
    u = float(np.mean([saddle_move_u(bench.posterior, number) for number in moves]))
    if style == "straight" or first == last:
        text = f"Move the whole saddle {millimetres(middle)} {_way(middle)}, keeping its slant. {SLACKEN}"
    else:
        text = (
            f"Set the saddle anew: {millimetres(moves[first])} {_way(moves[first])} at string {first}, "
            f"{millimetres(moves[last])} {_way(moves[last])} at string {last}, straight between. {SLACKEN}"
        )
    return [_step(bench, "saddle", text, move=middle, u=u)]


def _nut_step(bench: _Bench, target: Reals, column: int) -> list[Correction]:
    move = float(target[column] - bench.theta[column])
    if abs(move) < LEAST_MOVE_MM:
        return []
    bench.theta[column] = target[column]
    if move > 0:
        how = f"Bring the nut's front edge {millimetres(move)} toward the bridge (a shelf under the strings, or a new nut)."
    else:
        how = f"Bring the nut's front edge {millimetres(move)} away from the bridge (file its front back, or a new nut)."
    how += " The saddle moves above count on this one." if bench.posterior.parameters.column("bridge") is not None else ""
    u = float(np.sqrt(bench.posterior.covariance[column, column]))
    return [_step(bench, "nut", f"{how} {SLACKEN}", move=move, u=u)]


def _frets(bench: _Bench, causes: Sequence[PossibleCause]) -> list[Correction]:
    steps = []
    for one in causes:
        estimate = one.estimate
        if estimate.cause not in ("fret_position", "fret_tilt") or one.judged_probability < SURE_ENOUGH_TO_CUT:
            continue
        column = bench.posterior.parameters.faults[one.fault].columns[0]
        estimate = given_the_fault(bench.posterior, one)
        move = -estimate.value
        bench.theta[column] = 0.0
        last = len(bench.posterior.design.neck.strings)
        if estimate.cause == "fret_position":
            how = f"Move fret {estimate.fret}'s crown {millimetres(move)} {_way(move)}"
        else:
            how = (
                f"Square fret {estimate.fret}: its crown {millimetres(move)} {_way(move)} under string 1, "
                f"as much {_way(-move)} under string {last}"
            )
        if abs(move) <= 0.5:
            how += ": recrown it off its middle if it is wide enough, else fill the slot and cut it anew"
        else:
            how += ": fill the slot and cut it anew"
        text = (
            f"{how}. Do this last: a fret once moved or filed is not put back. Measure its place by hand first, mask the board, "
            "and wear eye protection when cutting or filing."
        )
        steps.append(_step(bench, "fret", text, fret=estimate.fret, move=move, u=estimate.u))
    return steps


def _way(move: float) -> str:
    return "toward the bridge" if move > 0 else "toward the nut"


def saddle_move_u(posterior: Posterior, string: int) -> float:
    """Standard uncertainty of the move a saddle needs, known far better than its absolute place.

    The move answers to the notes it can change: u follows from the posterior of the string's deviations by least squares.
    """
    cells = np.flatnonzero(posterior.design.string == string - 1)
    jacobian = posterior.model.jacobian(posterior.mean)[cells]
    column = posterior.parameters.column("bridge")
    assert column is not None
    slope = jacobian[:, column]
    weights = slope / float(slope @ slope)
    row = weights @ jacobian
    return float(np.sqrt(row @ posterior.covariance @ row))


def _step(
    bench: _Bench,
    part: str,
    text: str,
    *,
    string: int | None = None,
    fret: int | None = None,
    move: float | None = None,
    u: float | None = None,
) -> Correction:
    return Correction(
        part=part,  # type: ignore[arg-type]
        string=string,
        fret=fret,
        move_mm=move,
        u_mm=u,
        text=text,
        worst_after_cents=bench.worst_to_expect(),
    )
