"""How well the diagnosis finds what is wrong: necks from the independent synthesis, one table of targets against results.

    python -m tests.benchmarks.diagnosis --necks 100

Every scenario draws its own necks: all parts a little out by chance (frets 0.03 mm, tilt 0.02 mm, heights 0.03 mm, nut 0.05 mm,
saddles 0.1 mm, hand 0.5–1 cent, drift), the fault on top, its place and sign by chance. The synthesis shares no code with the
forward model. Coverage counts every cause of a kind on all necks, sound and faulty; beside it stands that of the fault itself.
What the synthesis leaves perfect is given a scatter here: the open note that the frets are counted from (0.12 cent), the nut's
skew (0.03 mm), the fretboard's scale (0.05 mm) and the evenness of sound strings (0.3 cent at the worst note).
"""

from __future__ import annotations

import argparse
import time
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from multiprocessing import get_context
from typing import Any

import numpy as np

from fretcheck.diagnosis.diagnose import diagnose
from fretcheck.diagnosis.result import CauseEstimate, Diagnosis, Finding
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.neck.description import Measurement
from fretcheck.workers import use_one_thread
from tests.diagnosis.necks import SCALE_MM, observed, steel_neck
from tests.synth.false_string import random_profile
from tests.synth.layout_mistake import rule_of_18
from tests.synth.perfect_listener import sampled_deviations, sampled_press_test
from tests.synth.random_neck import random_built_neck
from tests.synth.strung_neck import BuiltNeck

FRETS = 20
OPEN_ERROR_CENTS = 0.12
NUT_SKEW_MM = 0.03
SCALE_ERROR_MM = 0.05
UNEVEN_CENTS = 0.3
"""What the synthesis leaves perfect, so that these causes too have a truth: open note, skew, scale, evenness of sound strings."""

Part = tuple[str, int | None, int | None]
"""Cause, fret, string."""


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One fault: what the synthesis is given, and the finding it should lead to."""

    build: dict[str, Any]
    part: Part
    size: float | None
    """Signed, in the finding's unit; None where it is not one number."""


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """One row of the table."""

    name: str
    faults: Callable[[np.random.Generator], tuple[Fault, ...]]
    target: str
    press_test: bool = False
    calliper: bool = False
    clearance: bool = False


def _sign(rng: np.random.Generator) -> float:
    return float(rng.choice([-1.0, 1.0]))


def _fret(size: float) -> Callable[[np.random.Generator], tuple[Fault, ...]]:
    def draw(rng: np.random.Generator) -> tuple[Fault, ...]:
        fret, out = int(rng.integers(2, 18)), size * _sign(rng)
        return (Fault(build={"frets_mm": {fret: out}}, part=("fret_position", fret, None), size=out),)

    return draw


def _tilt(rng: np.random.Generator) -> tuple[Fault, ...]:
    fret, out = int(rng.integers(2, 18)), 0.35 * _sign(rng)
    return (Fault(build={"fret_tilts_mm": {fret: out}}, part=("fret_tilt", fret, None), size=out),)


def _nut_height(rng: np.random.Generator) -> tuple[Fault, ...]:
    return (Fault(build={"nut_height_mm": 0.4}, part=("nut_height", None, None), size=0.4),)


def _nut(rng: np.random.Generator) -> tuple[Fault, ...]:
    out = 0.9 * _sign(rng)
    return (Fault(build={"nut_mm": out}, part=("nut_position", None, None), size=out),)


def _saddle(rng: np.random.Generator) -> tuple[Fault, ...]:
    string, out = int(rng.integers(1, 7)), 2.5 * _sign(rng)
    return (Fault(build={"saddle_mm": {string: out}}, part=("saddle_position", None, string), size=out),)


def _false_string(rng: np.random.Generator) -> tuple[Fault, ...]:
    string = int(rng.integers(1, 7))
    profile = random_profile(9.0, rng, frets=FRETS)
    return (Fault(build={"false_strings": {string: profile}}, part=("string", None, string), size=None),)


def _rule_of_18(rng: np.random.Generator) -> tuple[Fault, ...]:
    return (
        Fault(
            build={"layout_mm": rule_of_18(scale_length_mm=SCALE_MM, frets=FRETS)}, part=("layout_rule", None, None), size=None
        ),
    )


def _two(rng: np.random.Generator) -> tuple[Fault, ...]:
    kinds = [_fret(0.40), _tilt, _nut_height, _nut, _saddle, _false_string]
    first, second = rng.choice(len(kinds), size=2, replace=False)
    return (*kinds[int(first)](rng), *kinds[int(second)](rng))


SCENARIOS = (
    Scenario(name="one fret 0.40 mm out (2–17)", faults=_fret(0.40), target="top ≥ 95 %, rmse ≤ 0.08 mm"),
    Scenario(name="one fret 0.25 mm out", faults=_fret(0.25), target="top ≥ 80 %"),
    Scenario(name="one fret tilted ±0.35 mm", faults=_tilt, target="top ≥ 90 %"),
    Scenario(name="nut slots 0.4 mm high, clearance", faults=_nut_height, target="top ≥ 97 %", clearance=True),
    Scenario(name="nut slots 0.4 mm high, sound", faults=_nut_height, target="nut or finger, nothing sure"),
    Scenario(name="nut 0.9 mm out, sound alone", faults=_nut, target="top ≥ 70 %"),
    Scenario(name="nut 0.9 mm out, press test", faults=_nut, target="top ≥ 95 %", press_test=True),
    Scenario(name="nut 0.9 mm out, calliper", faults=_nut, target="top ≥ 95 %", calliper=True),
    Scenario(name="one saddle 2.5 mm out", faults=_saddle, target="top ≥ 97 %, move within 0.3 mm"),
    Scenario(name="a false string (±9 cents)", faults=_false_string, target="top ≥ 90 %"),
    Scenario(name="rule-of-18 layout", faults=_rule_of_18, target="top ≥ 99 %"),
    Scenario(name="sound neck", faults=lambda rng: (), target="any finding ≤ 5 %"),
    Scenario(name="two faults at once", faults=_two, target="both in top three ≥ 80 %", clearance=True),
)


@dataclass(kw_only=True)
class Outcome:
    """What one neck gave."""

    findings: int
    top_right: bool = False
    in_top_three: bool = False
    errors: list[float] = field(default_factory=list)
    covered: list[tuple[str, bool, bool]] = field(default_factory=list)
    """Kind of cause, whether its interval holds the truth, whether it is the fault itself."""
    saddle_left_mm: float | None = None
    """How far the faulty saddle still sits from its described place."""
    layout_posterior: float | None = None
    worst_predicted: float | None = None
    worst_true: float | None = None
    first: str = ""
    seconds: float = 0.0


def matches(finding: Finding, fault: Fault) -> bool:
    """Whether a finding names the fault's part, and its direction."""
    cause, fret, string = fault.part
    if finding.cause != cause or (cause != "string" and finding.fret != fret) or finding.string != string:
        return False
    value = finding.value_mm if finding.value_mm is not None else finding.value_cents
    return fault.size is None or value is None or value * fault.size > 0


@dataclass(frozen=True, kw_only=True)
class Truth:
    """The neck as it was built, and what was wrong beside."""

    built: BuiltNeck
    open_errors: Sequence[float]
    scale_error: float

    def of(self, estimate: CauseEstimate) -> float:
        """The true value of a cause."""
        built, string, fret = self.built, estimate.string, estimate.fret
        if estimate.cause == "string":
            clean = replace(built, false_strings={})
            return built.deviation_cents(string or 0, fret or 0) - clean.deviation_cents(string or 0, fret or 0)
        if estimate.cause == "finger_pressure":
            light = replace(built, finger_depth_mm=0.0)
            return float(np.nanmean((built.deviations_cents - light.deviations_cents)[:, 1:]))
        if estimate.cause == "saddle_position":
            return float(np.mean(list(built.saddle_mm.values()))) if string is None else built.saddle_mm[string]
        sides = [built.side(number) for number in range(1, len(built.neck.strings) + 1)]
        slant = sum(side * built.saddle_mm.get(number, 0.0) for number, side in enumerate(sides, start=1))
        table: dict[str, float] = {
            "fret_position": built.frets_mm.get(fret or 0, 0.0),
            "fret_tilt": built.fret_tilts_mm.get(fret or 0, 0.0),
            "fret_wear": 0.0,
            "saddle_slant": slant / sum(side**2 for side in sides),
            "nut_position": built.nut_mm if string is None else built.nut_skew_mm,
            "nut_height": built.nut_height_mm if string is None else built.nut_heights_mm.get(string, 0.0),
            "scale_length": self.scale_error,
            "tuning_drift": self.open_errors[(string or 1) - 1],
        }
        return table[estimate.cause]


def corrected(built: BuiltNeck, diagnosis: Diagnosis) -> BuiltNeck:
    """The true neck after the moves that the diagnosis asks for."""
    saddle, frets, tilts = dict(built.saddle_mm), dict(built.frets_mm), dict(built.fret_tilts_mm)
    nut, height, slots, false = built.nut_mm, built.nut_height_mm, dict(built.nut_heights_mm), dict(built.false_strings)
    for move in [move for one in diagnosis.corrections for move in one.moves]:
        by = move.move_mm or 0.0
        if move.part == "string" and move.string is not None:
            false.pop(move.string, None)
        elif move.part == "nut_height" and move.string is None:
            height += by
        elif move.part == "nut_height" and move.string is not None:
            slots[move.string] += by
        elif move.part == "nut":
            nut += by
        elif move.part == "saddle":
            for string in saddle if move.string is None else [move.string]:
                side = {"treble": built.side(string), "bass": -built.side(string)}.get(move.end or "", 1.0)
                saddle[string] += by * 0.5 * (1.0 + side)
        elif move.part == "fret" and move.fret is not None:
            if move.end is None:
                frets[move.fret] += by
            elif move.end == "treble":
                tilts[move.fret] += by
    return replace(
        built,
        saddle_mm=saddle,
        frets_mm=frets,
        fret_tilts_mm=tilts,
        nut_mm=nut,
        nut_height_mm=height,
        nut_heights_mm=slots,
        false_strings=false,
    )


def run_one(job: tuple[int, int, int]) -> tuple[int, Outcome]:
    """One neck of one scenario."""
    number, seed, base = job
    scenario, neck = SCENARIOS[number], steel_neck()
    rng = np.random.default_rng([base, number, seed])
    faults = scenario.faults(rng)
    build: dict[str, Any] = {}
    for fault in faults:
        for key, value in fault.build.items():
            build[key] = {**build[key], **value} if isinstance(value, dict) and key in build else value
    scale_error = SCALE_ERROR_MM * float(rng.standard_normal())
    stretched = scale_error * (1.0 - 2.0 ** (-np.arange(1, FRETS + 1) / 12.0))
    build["layout_mm"] = tuple((np.array(build.get("layout_mm", np.zeros(FRETS))) + stretched).tolist())
    uneven = {
        string: random_profile(UNEVEN_CENTS * abs(float(rng.standard_normal())), rng, frets=FRETS) for string in range(1, 7)
    }
    build["false_strings"] = {**uneven, **build.get("false_strings", {})}
    build["nut_skew_mm"] = NUT_SKEW_MM * float(rng.standard_normal())
    built = random_built_neck(neck, rng, **build)
    open_errors = (OPEN_ERROR_CENTS * rng.standard_normal(len(neck.strings))).tolist()
    heard = list(sampled_deviations(built, rng))
    if scenario.press_test:
        heard += sampled_press_test(built, rng, string=3)
    if scenario.calliper:
        true_mm = float(np.mean([built.fret_x_mm(s)[0] for s in range(1, 7)])) - built.nut_mm
        first = Measurement(what="nut_to_fret", fret=1, mm=true_mm + 0.1 * rng.standard_normal(), u_mm=0.1)
        neck = replace(neck, measured=(first,))
    if scenario.clearance:
        nut, saddle = (np.mean([ends(s)[1] for s in range(1, 7)]) for ends in (built.nut_xy_mm, built.saddle_xy_mm))
        gap = float(nut + (saddle - nut) * (1.0 - 2.0 ** (-1.0 / 12.0)) - np.mean([built.crowns_y_mm(s)[0] for s in range(1, 7)]))
        measured = Measurement(what="first_fret_clearance", mm=gap + 0.03 * rng.standard_normal(), u_mm=0.03)
        neck = replace(neck, measured=(*neck.measured, measured))
    observations = [replace(one, cents=one.cents - (open_errors[one.string - 1] if one.fret else 0.0)) for one in observed(heard)]
    start = time.process_time()
    truth = Truth(built=built, open_errors=open_errors, scale_error=scale_error)
    diagnosis = diagnose(neck, observations, settings=DiagnosisSettings(saddle="per_string"))
    outcome = Outcome(findings=len(diagnosis.findings), seconds=time.process_time() - start)
    _score(outcome, diagnosis, truth, faults)
    return number, outcome


def _score(outcome: Outcome, diagnosis: Diagnosis, truth: Truth, faults: tuple[Fault, ...]) -> None:
    findings = diagnosis.findings
    outcome.first = " ".join(str(x) for x in (findings[0].cause, findings[0].fret, findings[0].string)) if findings else "none"
    if faults:
        outcome.top_right = bool(findings) and any(matches(findings[0], fault) for fault in faults)
        outcome.in_top_three = all(any(matches(one, fault) for one in findings[:3]) for fault in faults)
    layout = any(fault.part[0] == "layout_rule" for fault in faults)
    for estimate in diagnosis.causes:
        if layout:
            continue
        value = truth.of(estimate)
        part: Part = (estimate.cause, estimate.fret if estimate.cause != "string" else None, estimate.string)
        is_fault = any(part == fault.part for fault in faults)
        low, high = estimate.interval_90
        outcome.covered.append((estimate.cause, low <= value <= high, is_fault))
        if is_fault:
            outcome.errors.append(estimate.value - value)
    after = corrected(truth.built, diagnosis)
    if not layout:  # a new fretboard is no move that could be made here
        outcome.worst_predicted = diagnosis.predicted.worst_cents
        outcome.worst_true = float(np.nanmax(np.abs(after.deviations_cents[:, 1:])))
    for fault in faults:
        cause, _, string = fault.part
        if cause == "saddle_position" and string is not None and len(faults) == 1:
            outcome.saddle_left_mm = after.saddle_mm[string]


def report(outcomes: dict[int, list[Outcome]]) -> str:
    """The table as text."""
    lines = [f"{'neck':30} {'target':32} {'top':>6} {'top 3':>6} {'any':>6} {'rmse':>7} {'s':>6}  most other first findings"]
    for number, scenario in enumerate(SCENARIOS):
        rows = outcomes.get(number, [])
        if not rows:
            continue
        errors = np.array([error for row in rows for error in row.errors])
        rmse = f"{np.sqrt(np.mean(errors**2)):7.3f}" if len(errors) else "      –"
        top, three = np.mean([row.top_right for row in rows]), np.mean([row.in_top_three for row in rows])
        found = np.mean([row.findings > 0 for row in rows])
        wrong: dict[str, int] = defaultdict(int)
        for row in rows:
            if not row.top_right:
                wrong[row.first] += 1
        others = ", ".join(f"{name} ×{count}" for name, count in sorted(wrong.items(), key=lambda pair: -pair[1])[:3])
        seconds = np.median([row.seconds for row in rows])
        lines.append(
            f"{scenario.name:30} {scenario.target:32} {top:6.1%} {three:6.1%} {found:6.1%} {rmse} {seconds:6.2f}  {others}"
        )
        left = np.array([row.saddle_left_mm for row in rows if row.saddle_left_mm is not None])
        if len(left):
            lines.append(
                f"    its move: within 0.3 mm on {np.mean(np.abs(left) <= 0.3):.1%}, rms {np.sqrt(np.mean(left**2)):.2f} mm"
            )
    everything = [row for rows in outcomes.values() for row in rows]
    lines += ["", "coverage of the 90 % intervals (target 86–94 %)      all          the fault itself"]
    kinds = sorted({kind for row in everything for kind, _, _ in row.covered})
    for kind in kinds:
        hits = [(hit, fault) for row in everything for one, hit, fault in row.covered if one == kind]
        of_fault = [hit for hit, fault in hits if fault]
        own = f"{np.mean(of_fault):6.1%} of {len(of_fault)}" if of_fault else ""
        lines.append(f"  {kind:40} {np.mean([hit for hit, _ in hits]):6.1%} of {len(hits):6}   {own}")
    pairs = [
        (row.worst_predicted, row.worst_true)
        for row in everything
        if row.worst_predicted is not None and row.worst_true is not None
    ]
    difference = np.array([true - predicted for predicted, true in pairs])
    lines.append("")
    if len(difference):
        low, middle, high = np.quantile(difference, [0.05, 0.5, 0.95])
        spread = f"median {middle:+.2f}, 90 % in {low:+.2f} to {high:+.2f} cents"
        lines.append(f"worst note after the moves, true minus predicted: {spread}")
    seconds = [row.seconds for row in everything]
    lines.append(f"time a neck (target ≤ 0.5 s): median {np.median(seconds):.2f} s, 95 % {np.quantile(seconds, 0.95):.2f} s")
    return "\n".join(lines)


def main() -> None:
    """Run the scenarios on two processes and print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--necks", type=int, default=100, help="necks a scenario")
    parser.add_argument("--seed", type=int, default=20260, help="first entry of every neck's seed")
    parser.add_argument("--only", type=int, nargs="*", help="numbers of scenarios")
    parser.add_argument("--processes", type=int, default=2)
    options = parser.parse_args()
    chosen = options.only if options.only else range(len(SCENARIOS))
    jobs = [(number, seed, options.seed) for number in chosen for seed in range(options.necks)]
    outcomes: dict[int, list[Outcome]] = defaultdict(list)
    with get_context("spawn").Pool(options.processes, initializer=use_one_thread) as pool:
        for number, outcome in pool.imap_unordered(run_one, jobs, chunksize=4):
            outcomes[number].append(outcome)
    print(report(outcomes))


if __name__ == "__main__":
    main()
