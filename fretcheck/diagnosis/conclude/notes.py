"""Every note of a neck, read off the joint draws: its value, its uncertainty, what it is made of, and whether it is out.

Conventions: Cents. Expected, caused and unexplained are rounded to `DIGITS` decimals and the deviation is their sum, so that it
adds up to the last digit. An open note is what its string was tuned to; its draws are the plucks' mean less the reference's
error.
"""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fretcheck.arrays import Reals
from fretcheck.diagnosis.infer.draws import JointDraws
from fretcheck.diagnosis.infer.posterior import Posterior
from fretcheck.diagnosis.infer.scatter import robust_mean
from fretcheck.diagnosis.model.stopped_string import sharpness_cents
from fretcheck.diagnosis.observation import Observation
from fretcheck.diagnosis.result import Decision, Note
from fretcheck.diagnosis.settings import DiagnosisSettings
from fretcheck.errors import UsageError
from fretcheck.neck.description import Neck

Place = tuple[int, int]  # String and fret

DIGITS = 4


@dataclass(frozen=True, kw_only=True)
class DrawnNotes:
    """The notes of a neck and their draws, in the same order."""

    notes: tuple[Note, ...]
    draws: Reals  # What each may truly be, shape (draws, notes)

    def of(self, places: Collection[Place]) -> NDArray[np.bool_]:
        """Which of the notes lie at these places."""
        return np.array([(one.string, one.fret) in places for one in self.notes], dtype=bool)


def drawn_notes(
    posterior: Posterior,
    draws: JointDraws,
    observations: Sequence[Observation],
    asked: Collection[Place],
    *,
    limit_cents: float,
    settings: DiagnosisSettings,
) -> DrawnNotes:
    """All notes that were heard or asked for, ordered by string and fret."""
    plucks: dict[Place, list[float]] = defaultdict(list)
    for one in observations:
        if one.press is None:
            plucks[one.string, one.fret].append(one.cents)
    design = posterior.design
    expected = sharpness_cents(design.stop)
    cells = {(cell.string, cell.fret): n for n, cell in enumerate(design.cells) if cell.press is None}
    gauge = 0.0 if settings.gauge_repeatability_cents is None else settings.gauge_repeatability_cents
    places = [place for place in sorted({*plucks, *asked}) if place[1] > 0 or place in plucks]
    scales = posterior.scatter.cents
    plucked = {place: robust_mean(heard, scale=scales.get(place[0], 0.0)) for place, heard in plucks.items()}
    values = np.empty((len(places), len(draws.notes)))
    for row, (string, fret) in zip(values, places, strict=True):
        if fret == 0:
            references = [posterior.parameters.column("open_note", string=one) for one in (string, None)]
            row[:] = plucked[string, 0] - np.sum(draws.theta[:, [one for one in references if one is not None]], axis=1)
        else:
            row[:] = draws.notes[:, cells[string, fret]]
    means, u_cents = np.mean(values, axis=1).tolist(), np.hypot(np.std(values, axis=1), gauge).tolist()
    if gauge:
        values += gauge * np.random.default_rng(len(draws.notes)).standard_normal(values.shape)
    outs = np.mean(np.abs(values) > limit_cents, axis=1).tolist()
    notes = []
    for place, mean, u, out in zip(places, means, u_cents, outs, strict=True):
        string, fret = place
        of_design, left = (0.0, 0.0) if fret == 0 else (float(expected[cells[place]]), float(draws.unexplained[cells[place]]))
        in_sum, caused, unexplained = (round(part, DIGITS) for part in (of_design, mean - of_design - left, left))
        deviation = in_sum + caused + unexplained
        notes.append(
            Note(
                string=string,
                fret=fret,
                deviation_cents=deviation,
                u_cents=u,
                expected_cents=in_sum,
                caused_cents=caused,
                unexplained_cents=unexplained,
                plucked_cents=plucked.get(place),
                probability_out=out,
                decision=note_decision(deviation, out, limit_cents=limit_cents, settings=settings),
                plucks=len(plucks.get(place, [])),
            )
        )
    return DrawnNotes(notes=tuple(notes), draws=values.T)


def note_decision(value: float, probability_out: float, *, limit_cents: float, settings: DiagnosisSettings) -> Decision:
    """Whether one note by itself is out or within beyond the risk, or beyond the guard band where there is one."""
    band = settings.guard_band_cents
    if band is not None:
        return "pass" if abs(value) <= limit_cents - band else "fail" if abs(value) > limit_cents + band else "undecided"
    return "pass" if probability_out <= settings.risk else "fail" if probability_out >= 1.0 - settings.risk else "undecided"


def asked_notes(
    neck: Neck, observations: Sequence[Observation], asked: Collection[Place] | None, *, judge_open_notes: bool
) -> frozenset[Place]:
    """The notes that the verdict is about: as given, or all of the strings and frets observed.

    Raises UsageError for a note that this neck has not got.
    """
    frets_of = {
        number: (*([0] if judge_open_notes else []), *neck.frets_of(number)) for number in range(1, len(neck.strings) + 1)
    }
    if asked is not None:
        for string, fret in asked:
            if string not in frets_of or (fret != 0 and fret not in frets_of[string]):
                raise UsageError(f"string {string}, fret {fret} was asked for: this neck has no such note")
        return frozenset(place for place in asked if place[1] in frets_of[place[0]])
    played = [one for one in observations if one.press is None]
    strings, frets = {one.string for one in played if one.fret > 0}, {one.fret for one in played}
    return frozenset((string, fret) for string in strings for fret in frets_of[string] if fret in frets)
