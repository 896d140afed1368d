"""Does the diagnosis hold on instruments it was not made for? Necks of `tests.worlds`, one row a world and fault.

    python -m tests.benchmarks.worlds --necks 40 [--worlds own mild …] [--rows sound fret.40 …] [--observer] [--as-sound]

Columns of a sound row, in per cent of necks: `any` finding; `alone`, one without a rival that shares its signature; `sure`, one
of at least 95 %; `false`, one whose part is truly within half its practical size or wrongly signed; `layout`, a layout rule. Of a
faulty row: `top`, the first finding is the fault's part and direction; `top 3`, all faults are among the first three. Below:
cover of the 90 % intervals by kind of cause over all rows of a world, and time. `--as-sound` reads every pluck from its sound
(ten seconds a neck) instead of taking the session's word.

`--observer` prints what the ideal observer names right: it knows each world's spreads (covariance of the mean readings over drawn
sound necks, so Gaussian) and each fault's size, and names the one fault of largest likelihood ratio if that exceeds a threshold
that lets it find something on the stated share of sound necks (J. Neyman & E. S. Pearson, Phil. Trans. R. Soc. A 231, 289, 1933,
from memory).
"""

from __future__ import annotations

import time
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from fretcheck.diagnosis.diagnose import diagnose
from fretcheck.diagnosis.result import Finding
from tests.benchmarks.processes import each, options, share
from tests.worlds.as_sound import observations_as_sound
from tests.worlds.case import Case, draw
from tests.worlds.faults import Fault
from tests.worlds.kinds import WORLDS
from tests.worlds.observer import DetectionRow, observe

PRACTICAL = {
    "fret_position": 0.10, "fret_tilt": 0.10, "fret_wear": 0.10, "nut_position": 0.25, "nut_height": 0.15,
    "saddle_position": 0.5, "saddle_slant": 0.5, "scale_length": 0.5, "string": 3.0, "finger_pressure": 5.0,
}  # fmt: skip
SURE = 0.95
ONE = tuple(name for name, world in WORLDS.items() if name not in ("own", "mild", "hard"))


@dataclass(frozen=True, kw_only=True)
class Row:
    """What is drawn, and how it is described."""

    name: str
    faults: tuple[str, ...] = ()
    clearance: bool = False
    press_test: bool = False
    heights: bool = False
    setbacks: bool = True
    instrument: str = "steel"


ROWS = {
    row.name: row
    for row in (
        Row(name="sound"),
        Row(name="fret.40", faults=("fret.40",)),
        Row(name="fret.25", faults=("fret.25",)),
        Row(name="tilt.35", faults=("tilt.35",)),
        Row(name="saddle2.5", faults=("saddle2.5",)),
        Row(name="slant1.2", faults=("slant1.2",)),
        Row(name="nut+clear", faults=("nutheight.4",), clearance=True),
        Row(name="nut+press", faults=("nutheight.4",), press_test=True),
        Row(name="nut", faults=("nutheight.4",)),
        Row(name="two", faults=("fret.40", "saddle2.5")),
        Row(name="two-nut", faults=("fret.40", "nutheight.4"), clearance=True),
        Row(name="sound-noset", setbacks=False),
        Row(name="saddle-noset", faults=("saddle2.5",), setbacks=False),
        Row(name="sound+heights", heights=True),
        Row(name="sound+clear", clearance=True),
        Row(name="sound+press", press_test=True),
        Row(name="string6", faults=("string6",)),
        Row(name="nutplace.9", faults=("nutplace.9",)),
        Row(name="rule18", faults=("rule18",)),
        Row(name="wear", faults=("wear",)),
        *(
            Row(name=f"sound-{name}", instrument=name)
            for name in ("nylon", "bass", "ukulele", "banjo", "mandolin", "three", "fanned", "frets24")
        ),
        Row(name="bass-fret.40", faults=("fret.40",), instrument="bass"),
    )
}
SOUND_ONLY = ("sound",)
USUAL = ("sound", "fret.40", "fret.25", "tilt.35", "saddle2.5", "nut+clear", "nut+press")
MORE = (
    "slant1.2",
    "nut",
    "two",
    "two-nut",
    "sound-noset",
    "saddle-noset",
    "sound+clear",
    "string6",
    "nutplace.9",
    "rule18",
    "wear",
)
OTHERS = tuple(name for name, row in ROWS.items() if row.instrument != "steel")


def rows_of(world: str) -> tuple[str, ...]:
    """Rows that are asked of a world where none are named."""
    if world == "own":
        return (*USUAL, *MORE, *OTHERS)
    if world == "mild":
        return (*USUAL, *MORE)
    if world in ("finger2", "finger4", "body1", "body3", "action", "hard"):
        return USUAL
    return SOUND_ONLY


@dataclass(kw_only=True)
class Outcome:
    """One neck."""

    world: str
    row: str
    causes: list[str] = field(default_factory=list)
    """Causes of the findings, first first."""
    alone: bool = False
    sure: bool = False
    false: bool = False
    layout: bool = False
    top: bool = False
    top_three: bool = False
    first: str = "none"
    covered: list[tuple[str, bool]] = field(default_factory=list)
    seconds: float = 0.0


def value_of(finding: Finding) -> float | None:
    """In its unit."""
    return finding.value_mm if finding.value_mm is not None else finding.value_cents


def names(finding: Finding, fault: Fault) -> bool:
    """Whether a finding names the fault's part, and its direction."""
    same_string = finding.string == fault.string or (fault.cause == "nut_height" and fault.string is None)
    same_fret = finding.fret == fault.fret or fault.cause in ("string", "fret_wear")
    if finding.cause != fault.cause or not same_string or not same_fret:
        return fault.cause == "fret_wear" and finding.cause == "fret_wear"
    value = value_of(finding)
    return fault.size is None or value is None or value * fault.size > 0


def is_false(case: Case, finding: Finding, *, setbacks: bool) -> bool:
    """Within half the practical size, or of the other sign; what the generator has no number for is false."""
    if any(names(finding, fault) for fault in case.faults):
        return False
    if finding.cause == "saddle_slant" or (finding.cause == "saddle_position" and finding.string is None):
        # said of several saddles at once: false only if none of them is out
        return bool(np.all(np.abs(case.saddle_error_mm(setbacks=setbacks)) < 0.5 * PRACTICAL["saddle_position"]))
    if finding.cause == "finger_pressure":  # heavy at the low frets is heavy: its part at fret 1 counts, not the mean of all
        light = case.built.true_cents(case.hand.pressed(-case.hand.depth_mm))
        return bool(np.nanmean((case.true_cents() - light)[:, 0]) < 0.5 * PRACTICAL["finger_pressure"])
    true, value = case.true_mm(finding.cause, finding.fret, finding.string, setbacks=setbacks), value_of(finding)
    if true is None:
        return True
    wrong_way = value is not None and value * true < 0
    return wrong_way or abs(true) < 0.5 * PRACTICAL[finding.cause]


def run_one(job: tuple[str, str, int, int], *, as_sound: bool = False) -> Outcome:
    """One neck of one row."""
    world, name, base, number = job
    row = ROWS[name]
    case = draw(world, row.faults, seed=(base, number), instrument=row.instrument)
    neck = case.neck(setbacks=row.setbacks, clearance=row.clearance, heights=row.heights)
    heard = observations_as_sound(case) if as_sound else case.observations(press_test=row.press_test)
    start = time.process_time()
    result = diagnose(neck, heard)
    outcome = Outcome(world=world, row=name, seconds=time.process_time() - start)
    findings = result.findings
    outcome.causes = [one.cause for one in findings]
    outcome.alone = any(not getattr(one, "rivals", ()) for one in findings)
    outcome.sure = any(one.probability >= SURE for one in findings)
    outcome.false = any(is_false(case, one, setbacks=row.setbacks) for one in findings)
    outcome.layout = "layout_rule" in outcome.causes and "rule18" not in row.faults
    if findings:
        outcome.first = " ".join(str(x) for x in (findings[0].cause, findings[0].fret, findings[0].string) if x is not None)
    if case.faults:
        outcome.top = bool(findings) and any(names(findings[0], fault) for fault in case.faults)
        outcome.top_three = all(any(names(one, fault) for one in findings[:3]) for fault in case.faults)
    if "rule18" not in row.faults:
        slanted = False
        for cause in result.causes:
            name = "saddle_straight" if cause.cause == "saddle_slant" and slanted else cause.cause
            slanted = slanted or cause.cause == "saddle_slant"  # the slant comes first, then the straight saddle
            true = case.true_mm(name, cause.fret, cause.string, setbacks=row.setbacks)
            if true is not None:
                low, high = cause.interval_90
                kind = name if cause.string is None or name == "string" else f"{name} by string"
                outcome.covered.append((kind, low <= true <= high))
    return outcome


def report(outcomes: list[Outcome]) -> str:
    """Tables as text."""
    heads = ("n", "any", "alone", "sure", "false", "layout", "top", "top3")
    lines = [f"{'world':12}{'neck':14}" + "".join(f"{head:>7}" for head in heads) + "   first, where it is not the fault"]
    table: dict[tuple[str, str], list[Outcome]] = defaultdict(list)
    for one in outcomes:
        table[one.world, one.row].append(one)
    for world, row in sorted(table, key=lambda key: (list(WORLDS).index(key[0]), list(ROWS).index(key[1]))):
        rows = table[world, row]
        faulty = bool(ROWS[row].faults)
        wrong = Counter(" ".join(one.first.split()[:1]) for one in rows if one.causes and not one.top)
        keys = ("causes", "alone", "sure", "false", "layout", *(("top", "top_three") if faulty else ()))
        cells = [str(len(rows)), *(share([bool(getattr(one, key)) for one in rows]) for key in keys)]
        others = ", ".join(f"{name} {count}" for name, count in wrong.most_common(4))
        blank = "" if faulty else " " * 14
        lines.append(f"{world:12}{row:14}" + "".join(f"{cell:>7}" for cell in cells) + f"{blank}   {others}")
    worlds = [name for name in WORLDS if any(one.world == name for one in outcomes)]
    cover: dict[str, dict[str, list[bool]]] = defaultdict(lambda: defaultdict(list))
    for one in outcomes:
        for kind, hit in one.covered:
            cover[kind][one.world].append(hit)
    lines += ["", "cover of 90 % intervals, %", " " * 28 + "".join(f"{name[:9]:>10}" for name in worlds)]
    lines += [f"{kind:28}" + "".join(f"{share(cover[kind][name]):>10}" for name in worlds) for kind in sorted(cover)]
    seconds = [one.seconds for one in outcomes]
    lines += ["", f"seconds a neck: median {np.median(seconds):.2f}, 95 % {np.quantile(seconds, 0.95):.2f}"]
    return "\n".join(lines)


def observer_report(rows: list[DetectionRow]) -> str:
    """Its table."""
    lines = ["", "ideal observer", f"{'world':12}{'fault':14}{'sound named':>12}{'right %':>9}"]
    lines += [f"{row.world:12}{row.fault:14}{100 * row.sound_named:11.0f}%{100 * row.right:8.0f}%" for row in rows]
    return "\n".join(lines)


def main() -> None:
    """Run and print."""
    parser = options(__doc__, necks=40, worlds=list(WORLDS))
    parser.add_argument("--rows", nargs="*", choices=list(ROWS))
    parser.add_argument("--observer", action="store_true")
    parser.add_argument("--as-sound", action="store_true")
    asked = parser.parse_args()
    if asked.observer:
        rows = [(world, asked.seed, asked.necks) for world in asked.worlds]
        print(observer_report([row for found in each(observe, rows, processes=asked.jobs) for row in found]))
        return
    jobs = [
        (world, row, asked.seed, number)
        for world in asked.worlds
        for row in (asked.rows or rows_of(world))
        for number in range(asked.necks)
    ]
    print(report(list(each(partial(run_one, as_sound=asked.as_sound), jobs, processes=asked.jobs))))


if __name__ == "__main__":
    main()
