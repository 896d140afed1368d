"""What puts a found cause right: the repairs, each cut to what its part allows.

Conventions: as in `piece_of_work`. A repair undoes the finding: it moves the part back by the finding's value.
"""

from collections.abc import Sequence

import numpy as np

from fretcheck.diagnosis.conclude.bench import Bench
from fretcheck.diagnosis.conclude.causes import given_the_fault
from fretcheck.diagnosis.conclude.findings import Findings
from fretcheck.diagnosis.conclude.piece_of_work import Fault, Key, Work, saddle_set, straight_saddle
from fretcheck.diagnosis.infer.posterior import Posterior
from fretcheck.diagnosis.result import Finding
from fretcheck.diagnosis.settings import DiagnosisSettings, SaddleStyle

WORN_MM = 0.1  # Off the crown's middle, about what a loupe shows (common practice, no source)
LEAST_FILING_MM = 0.03  # Less than a bench can file on purpose
# Causes that no single part puts right: saddles, another reading, a lighter finger, a new board do
IMMOVABLE = ("scale_length", "tuning_drift", "finger_pressure", "layout_rule")


def faults_of(posterior: Posterior, found: Findings) -> list[Fault]:
    """The found causes beside what is said of them."""
    by_cause = {(one.cause, one.fret, one.string): one for one in found.findings}
    faults = []
    for cause in found.causes:
        estimate = given_the_fault(posterior, cause)
        finding: Finding | None = by_cause.get((estimate.cause, estimate.fret, estimate.string))
        if finding is not None and estimate.cause not in IMMOVABLE:
            faults.append(Fault(cause=cause, value=estimate.value, u=estimate.u, finding=finding))
    return faults


def repairs_of(bench: Bench, fault: Fault, *, style: SaddleStyle | None, settings: DiagnosisSettings) -> tuple[Work, ...]:
    """What puts one finding right: one work, of a bridge whose saddles are set one by one one a string, or none that can be."""
    columns = tuple(bench.posterior.parameters.faults[fault.cause.fault].columns)
    match fault.finding.cause:
        case "string":
            return (Work(how="string", cost=settings.cost_string, renewed=columns, string=fault.finding.string, fault=fault),)
        case "nut_height":
            return _slots(bench, fault, settings)
        case "saddle_position" | "saddle_slant":
            return _saddles(bench, fault, style, settings)
        case "nut_position":
            mm = float(np.clip(-fault.value, -settings.most_nut_mm, settings.most_nut_mm))
            shifts = ((columns[0], round(mm, 2)),)
            own = fault.finding.string if fault.cause.kind == "own_nut" else None
            return (Work(how="nut", cost=settings.cost_nut, shifts=shifts, string=own, u_mm=fault.u, fault=fault),)
        case "fret_wear":
            return (Work(how="fret", cost=settings.cost_fret, renewed=columns, worn=_worn(bench, columns), fault=fault),)
        case _:
            shifts = ((columns[0], round(-fault.value, 2)),)
            fret = fault.finding.fret
            return (Work(how="fret", cost=settings.cost_fret, shifts=shifts, fret=fret, u_mm=fault.u, fault=fault),)


def _worn(bench: Bench, columns: Sequence[int]) -> tuple[int, ...]:
    """The frets whose crowns are worn to one side by what can be seen."""
    parameters, design = bench.posterior.parameters, bench.posterior.design
    shift = np.abs(np.mean(bench.theta[:, list(columns)], axis=0) @ parameters.matrix[list(columns)])
    return tuple(sorted(set(design.fret[shift >= min(WORN_MM, float(np.max(shift)))].tolist())))


def _slots(bench: Bench, fault: Fault, settings: DiagnosisSettings) -> tuple[Work, ...]:
    own = fault.finding.string
    strings = tuple(bench.slotted) if own is None else (own,)
    if not set(strings) & set(bench.slotted):
        return ()
    room = np.mean([np.mean(bench.clearances_mm(bench.theta, one)) - bench.least_clearance_mm(one) for one in strings])
    filed = min(fault.value, float(room) / bench.above_nut)
    if fault.value > 0.0 and filed < LEAST_FILING_MM:
        return ()
    return (Work(how="slots", cost=settings.cost_slots, slots=strings, filed_mm=round(filed, 2), u_mm=fault.u, fault=fault),)


def _saddles(bench: Bench, fault: Fault, style: SaddleStyle | None, settings: DiagnosisSettings) -> tuple[Work, ...]:
    """A saddle by the screw of its string where it has one, else in one piece, else by its seat."""
    most, value = settings.most_saddle_mm, -fault.value
    own = fault.finding.string
    slanted = fault.finding.cause == "saddle_slant" or fault.cause.kind == "saddle_slant"
    if fault.cause.kind == "saddle_straight" and style != "per_string":
        return ()  # straight where the description has a place for each string
    if own is not None and not slanted:
        if style not in (None, "per_string") or bench.saddle_column(own) is None:
            return ()
        mm = float(np.clip(value, -most, most))
        return (saddle_set(bench, own, mm, cost=settings.cost_saddle, u_mm=fault.u, fault=fault),)
    if style == "per_string":
        places = {string: -value * (bench.side[string] if slanted else 1.0) for string in bench.strings}
        if fault.cause.kind == "saddle_straight":
            column = bench.posterior.parameters.faults[fault.cause.fault].columns[0]
            off = float(np.mean(bench.theta[:, column])) * bench.posterior.parameters.matrix[column]
            places = {cell.string: mm for cell, mm in zip(bench.posterior.design.cells, off.tolist(), strict=True)}
        moves = {string: float(np.clip(-places[string], -most, most)) for string in bench.strings}
        works = [saddle_set(bench, one, mm, cost=settings.cost_saddle, u_mm=fault.u, fault=fault) for one, mm in moves.items()]
        return tuple(one for one in works if one.mm)
    treble = float(np.clip(value, -most, most))
    seat = style == "none" or (slanted and style == "whole")
    return (
        straight_saddle(
            bench,
            treble,
            -treble if slanted else treble,
            how="seat" if seat else "straight_saddle",
            cost=settings.cost_seat if seat else settings.cost_saddle,
            u_mm=fault.u,
            fault=fault,
        ),
    )


def joined(works: Sequence[Work]) -> list[Work]:
    """Works on the same part made one: what is put right and set further is moved once."""
    answer: dict[Key, Work] = {}
    for one in works:
        known = answer.get(one.key)
        answer[one.key] = one if known is None else known.beside(one)
    return [one for one in answer.values() if one.renewed or one.mm or one.bass_mm]
