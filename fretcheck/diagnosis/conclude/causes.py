"""Every possible cause with its value, uncertainty and the probability that it matters.

Conventions: a cause is a linear function of θ. Saddles are quoted in whole (bridge, slant and the string's own part together),
slots and skew of the nut on top of the nut's common height and place: (nut_position, string 1) is the skew, (nut_height, string
n) what slot n has beyond the rest, (saddle_position, no string) the bridge as a whole; a slant of the saddle shows in those of
the strings, and is a cause of its own (what string 1's end has beyond the middle; of a straight saddle that was to have a place
for each string, the string furthest out). A false string is quoted at the fret where it is worst, worn crowns at the note where
they are, finger pressure as the mean sharpening of the notes played, tuning drift as how sharp the open note was taken.
"""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.diagnosis.infer.posterior import Posterior
from fretcheck.diagnosis.model.parameters import Parameters
from fretcheck.diagnosis.model.stopped_string import partials
from fretcheck.diagnosis.result import CauseEstimate
from fretcheck.diagnosis.settings import DiagnosisSettings

IN_CENTS = ("string", "tuning_drift", "finger_pressure")
MEAN_OF = {"bridge": "saddle", "nut_height": "slot_height"}  # Common parts, and the strings' own whose mean belongs to them


@dataclass(frozen=True, kw_only=True)
class PossibleCause:
    """A cause, and the linear function of θ that is its value."""

    estimate: CauseEstimate
    row: Reals
    offset: float  # The value is row·θ + offset
    fault: int  # Number of the fault in the table that it is judged by
    kind: str  # The parameter's kind: tells skew from place
    judged_probability: float  # That the fault's own part exceeds the practical size; for a saddle this leaves out the bridge's


@dataclass(frozen=True, kw_only=True)
class _Row:
    """A cause as a linear function of θ, and the part of it by which it is judged."""

    fret: int | None
    string: int | None
    whole: Reals
    judged: Reals
    offset: float = 0.0


def possible_causes(posterior: Posterior, settings: DiagnosisSettings) -> tuple[PossibleCause, ...]:
    """All causes of this neck, in the order of the table of faults."""
    faults = posterior.parameters.faults
    drafts = [_row(posterior, number) for number in range(len(faults))]
    units: list[Literal["mm", "cents"]] = ["cents" if one.cause in IN_CENTS else "mm" for one in faults]
    sizes = [float(getattr(settings, f"{one.cause}_{unit}")) for one, unit in zip(faults, units, strict=True)]
    own_mm = posterior.design.neck.tolerance_mm  # the practical size of a fret's place is the neck's own where it has one
    if own_mm is not None:
        sizes = [own_mm if one.cause == "fret_position" else size for one, size in zip(faults, sizes, strict=True)]
    size, offset = np.array(sizes), np.array([draft.offset for draft in drafts])
    whole = posterior.of(np.array([draft.whole for draft in drafts]))
    own = posterior.of(np.array([draft.judged for draft in drafts]))
    beyond = 1.0 - whole.below(size - offset) + whole.below(-size - offset)
    judged = 1.0 - own.below(size - offset) + own.below(-size - offset)
    low, high = whole.quantile(0.05) + offset, whole.quantile(0.95) + offset
    mean, u = whole.mean + offset, whole.u
    return tuple(
        PossibleCause(
            estimate=CauseEstimate(
                cause=faults[n].cause,
                fret=draft.fret,
                string=draft.string,
                value=float(mean[n]),
                u=float(u[n]),
                interval_90=(float(low[n]), float(high[n])),
                probability=float(beyond[n]),
                practical_size=float(size[n]),
                unit=units[n],
            ),
            row=draft.whole,
            offset=draft.offset,
            fault=n,
            kind=faults[n].key.kind,
            judged_probability=float(judged[n]),
        )
        for n, draft in enumerate(drafts)
    )


def _off_its_place(parameters: Parameters, row: Reals) -> Reals:
    """A row on saddles, with those set by ear counted from where their strings would be in tune."""
    return row - sum((row[column] * change for column, change in parameters.made_up.items()), np.zeros(len(row)))


def _row(posterior: Posterior, number: int) -> _Row:
    parameters, design = posterior.parameters, posterior.design
    fault = parameters.faults[number]
    column = fault.columns[0]
    judged = np.zeros(len(parameters.keys))
    judged[column] = 1.0
    row, offset = judged.copy(), 0.0
    fret, string = fault.key.fret, fault.key.string
    if fault.key.kind == "nut_skew":
        string = 1
    elif fault.key.kind == "saddle":
        assert string is not None
        cell = np.flatnonzero(design.string == string - 1)[0]
        for other in parameters.of_saddle:
            row[other] = parameters.patterns[other][cell]
    elif fault.key.kind in ("string", "wear", "saddle_straight"):
        shifts = np.array([parameters.patterns[one] for one in fault.columns]).T
        worst = int(np.argmax(np.abs(shifts @ posterior.mean[list(fault.columns)])))
        row[list(fault.columns)] = shifts[worst]
        judged = row
        fret = int(design.fret[worst]) if fault.key.kind == "string" else None
    elif fault.key.kind == "pressure":
        row, offset = _pressure(posterior)
        judged = row
    elif fault.key.kind in MEAN_OF:
        for index in range(len(design.side)):
            _add(posterior, row, MEAN_OF[fault.key.kind], 1.0 / len(design.side), string=index + 1)
    elif fault.key.kind == "saddle_slant":
        for index, side in enumerate(design.side.tolist()):
            _add(posterior, row, "saddle", side / float(design.side @ design.side), string=index + 1)
    whole, judged = _off_its_place(parameters, row), _off_its_place(parameters, judged)
    return _Row(fret=fret, string=string, whole=whole, judged=judged, offset=offset)


def _add(posterior: Posterior, row: Reals, kind: str, factor: float, *, string: int | None = None) -> None:
    column = posterior.parameters.column(kind, string=string)
    if column is not None:
        row[column] += factor


def _pressure(posterior: Posterior) -> tuple[Reals, float]:
    """Mean sharpening by the finger's depth, at the low frets and on every string, as tangent at the mean: row and offset."""
    theta, parameters = posterior.mean, posterior.parameters
    columns = [number for kind in ("pressure", "finger_low", "own_pressure") for number in parameters.columns(kind)]
    slope = partials(posterior.model.stop(theta))["depth"]
    row, light = np.zeros(len(theta)), theta.copy()
    row[columns] = np.mean(slope * parameters.matrix[columns], axis=1)
    light[columns] = 0.0
    sharpening = float(np.mean(posterior.model.cents(theta) - posterior.model.cents(light)))
    return row, sharpening - float(row @ theta)


def given_the_fault(posterior: Posterior, cause: PossibleCause) -> CauseEstimate:
    """The estimate on condition that the fault is there: what it amounts to, apart from whether it is so."""
    marginal = posterior.of(cause.row[None, :], given=cause.fault)
    low, high = float(marginal.quantile(0.05)[0]) + cause.offset, float(marginal.quantile(0.95)[0]) + cause.offset
    return replace(cause.estimate, value=float(marginal.mean[0]) + cause.offset, u=float(marginal.u[0]), interval_90=(low, high))
