"""What to do: the moves that bring the worst note lowest, in the order in which a repairer tries them.

A new string first, then the nut's height, the saddles, the nut's place, and single frets last, since a fret once moved or filed
is not put back. A nut or saddle is moved only when the parts before it do not bring all notes well within the limit and it helps.

Conventions
-----------
mm, positive toward the bridge, except heights: positive is up. Moves are chosen by the posterior mean of every note; the worst
note afterwards is the mean over what the notes may truly be, since the worst of many uncertain notes is worse than the worst of
their means. The hand's scatter is left out. Notes at frets that are to be moved do not steer the saddles.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fretcheck.diagnosis.bench import Bench
from fretcheck.diagnosis.causes import SINGLE_FRETS, PossibleCause, given_the_fault
from fretcheck.diagnosis.layout_rules import DESIGNED
from fretcheck.diagnosis.posterior import Posterior
from fretcheck.diagnosis.result import Correction, Move, Part, Predicted
from fretcheck.diagnosis.settings import DiagnosisSettings, SaddleStyle
from fretcheck.diagnosis.words import millimetres

Reals = NDArray[np.float64]

HELPS_CENTS = 0.3
"""A move of a nut or saddle that betters the worst note by less is not worth the work."""
WELL_WITHIN = 0.67
"""Share of the limit below which the next part is left alone."""
LEAST_MOVE_MM = 0.1
SURE_ENOUGH_TO_CUT = 0.9
"""A fret less surely out of place is left alone until it has been measured by hand."""
SLACKEN = "Slacken the strings before working at it, and keep the face away from strings under tension."


@dataclass(frozen=True, kw_only=True)
class Plan:
    """Moves in order, and the neck once all are done."""

    corrections: tuple[Correction, ...]
    predicted: Predicted


def plan(
    posterior: Posterior,
    causes: Sequence[PossibleCause],
    *,
    limit_cents: float,
    settings: DiagnosisSettings,
    move_nut: bool = True,
) -> Plan:
    """Moves for a neck with the given found causes; without `move_nut` (too few strings read) the nut stays where it is."""
    bad_frets = {one.estimate.fret: one for one in causes if one.estimate.cause in SINGLE_FRETS}
    bench = Bench(posterior, limit_cents=limit_cents, bad_frets=frozenset(fret for fret in bad_frets if fret is not None))
    enough = WELL_WITHIN * limit_cents
    steps: list[Correction] = []
    steps += _strings(bench, causes)
    if posterior.rule.name != DESIGNED:
        steps += _layout(bench)
        return Plan(corrections=tuple(steps), predicted=bench.predicted())
    steps += _heights(bench, causes)
    steps += _saddles_and_nut(bench, causes, enough=enough, style=settings.saddle, move_nut=move_nut)
    steps += _frets(bench, causes)
    return Plan(corrections=tuple(steps), predicted=bench.predicted())


def _strings(bench: Bench, causes: Sequence[PossibleCause]) -> list[Correction]:
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


def _heights(bench: Bench, causes: Sequence[PossibleCause]) -> list[Correction]:
    steps = []
    for one in causes:
        if one.estimate.cause != "nut_height":
            continue
        estimate = given_the_fault(bench.posterior, one)
        column = bench.posterior.parameters.faults[one.fault].columns[0]
        move = -estimate.value
        bench.theta[column] += move
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
    bench: Bench, causes: Sequence[PossibleCause], *, enough: float, style: SaddleStyle, move_nut: bool
) -> list[Correction]:
    before = bench.worst(bench.theta)
    if before <= enough:
        return []
    found_nut = [one for one in causes if one.estimate.cause == "nut_position"]
    options = [
        (name, bench.saddle_directions(name)) for name in (("straight", "slanted", "per_string") if style == "any" else (style,))
    ]
    nut = [column for column in (bench.column("nut_position"),) if column is not None]
    solved = {name: bench.least_worst(columns) for name, columns in options}
    best = min(bench.worst(theta) for theta in solved.values())
    use_nut = False
    if best > enough and nut and move_nut:
        with_nut = {name: bench.least_worst([*columns, bench.alone(nut[0])]) for name, columns in options}
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


def _saddle_steps(bench: Bench, style: str, target: Reals) -> list[Correction]:
    moves = {number: bench.saddle_at(target, number) - bench.saddle_at(bench.theta, number) for number in bench.strings}
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
            steps.append(_step(bench, "saddle", text, string=number, move=move, u=bench.saddle_move_u(number)))
        return steps
    first, last = min(moves), max(moves)
    for kind in ("bridge", "saddle_slant"):
        column = bench.column(kind)
        if column is not None:
            bench.theta[column] = target[column]
    middle = float(np.mean(list(moves.values())))
    u = float(np.mean([bench.saddle_move_u(number) for number in moves]))
    if style == "straight" or first == last:
        text = f"Move the whole saddle {millimetres(middle)} {_way(middle)}, keeping its slant. {SLACKEN}"
    else:
        text = (
            f"Set the saddle anew: {millimetres(moves[first])} {_way(moves[first])} at string {first}, "
            f"{millimetres(moves[last])} {_way(moves[last])} at string {last}, straight between. {SLACKEN}"
        )
    return [_step(bench, "saddle", text, move=middle, u=u)]


def _nut_step(bench: Bench, target: Reals, column: int) -> list[Correction]:
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


def _frets(bench: Bench, causes: Sequence[PossibleCause]) -> list[Correction]:
    steps = []
    for one in causes:
        estimate = one.estimate
        if estimate.cause not in SINGLE_FRETS or one.judged_probability < SURE_ENOUGH_TO_CUT:
            continue
        column = bench.posterior.parameters.faults[one.fault].columns[0]
        estimate = given_the_fault(bench.posterior, one)
        move = -estimate.value
        bench.theta[column] += move
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


def _layout(bench: Bench) -> list[Correction]:
    """A fretboard marked out by a wrong rule is beyond single moves, and nut and saddle are set only once it is right."""
    bench.model = replace(bench.model, fret_shift_mm=None)
    bench.theta[bench.posterior.parameters.columns("fret_position")] = 0.0
    text = (
        f"The layout itself is out ({bench.posterior.rule.name}): nut and saddle could only share the error out. The cure is a "
        "new fretboard, or all slots filled and cut anew from the nut line; check a few frets by rule before deciding, since it "
        "is not undone. Slacken and take off the strings first, and mind the saw. Nut and saddle come after a new reading."
    )
    return [_step(bench, "fret", text)]


def _way(move: float) -> str:
    return "toward the bridge" if move > 0 else "toward the nut"


def _step(
    bench: Bench,
    part: Part,
    text: str,
    *,
    string: int | None = None,
    fret: int | None = None,
    move: float | None = None,
    u: float | None = None,
) -> Correction:
    return Correction(
        kind="repair",
        moves=(Move(part=part, string=string, fret=fret, move_mm=move, u_mm=u),),
        predicted=bench.step(),
        text=text,
    )
