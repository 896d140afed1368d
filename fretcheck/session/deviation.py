"""Placed notes become readings: deviations from equal temperament, drift taken out, repeats combined.

Conventions
-----------
Deviations in cents, measured minus target, positive is sharp. A fretted note is judged from its string's own open note
at that moment: open plucks with no fretted note between them are averaged into one reference, and between references the
open pitch is interpolated in time (before the first and after the last it is held). The open note itself is judged
against its nominal pitch.

Repeats are combined by Huber's M-estimate of location with the string's own pooled scatter as scale (P. J. Huber,
Ann. Math. Statist. 35, 73 (1964), from memory), so that one bad pluck of three does not carry the note away.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from fretcheck.neck.description import Neck
from fretcheck.neck.temperament import cents_between
from fretcheck.pitch.flags import disqualifies, sentence
from fretcheck.session.placement import PlacedNote, open_target_hz, semitones_above_open
from fretcheck.session.reading import FretResult, Inspection, Reading, SoundSetAside

HUBER_K = 1.345  # 95 % efficiency for normal scatter; Huber 1964, from memory
DRIFT_WARNING_CENTS = 2.0
DEFAULT_SCATTER_FLOOR_CENTS = 0.05
"""No pooled scatter of a hand is believed to be smaller than this."""

RETUNED_CENTS = 8.0
"""Open notes further apart than this are not of one tuning: the string has slipped or was retuned. Hands and drift do less."""

NO_OPEN_REFERENCE = "no usable open pluck of this string to judge it from"


class OpenReference:
    """The open pitch of one string over time, in cents from nominal, with its uncertainty.

    Parameters
    ----------
    start_s, cents, u_cents : arrays, shape (n,)
        Reference points in time order, at least one.
    """

    def __init__(self, start_s: NDArray[np.float64], cents: NDArray[np.float64], u_cents: NDArray[np.float64]) -> None:
        self._start_s = start_s
        self._cents = cents
        self._u_cents = u_cents

    @classmethod
    def from_notes(cls, notes: Sequence[PlacedNote], nominal_hz: float) -> OpenReference | None:
        """Reference from one string's notes in time order; None when no open pluck is usable."""
        groups: list[list[PlacedNote]] = []
        fresh = True
        for note in notes:
            if note.fret != 0:
                fresh = True
                continue
            if not note.note.usable:
                continue
            if fresh or abs(cents_between(_f1(note), _f1(groups[-1][-1]))) > RETUNED_CENTS:
                groups.append([])
                fresh = False
            groups[-1].append(note)
        if not groups:
            return None
        times, values, uncertainties = [], [], []
        for group in groups:
            cents = np.array([cents_between(_f1(note), nominal_hz) for note in group])
            u = np.array([note.note.u_cents or 0.0 for note in group])
            times.append(float(np.mean([note.start_s for note in group])))
            values.append(float(np.median(cents) if len(group) > 2 else np.mean(cents)))
            uncertainties.append(float(np.sqrt(np.sum(u**2)) / len(group)))
        return cls(np.array(times), np.array(values), np.array(uncertainties))

    def at(self, start_s: float) -> tuple[float, float]:
        """Open pitch (cents from nominal) and its standard uncertainty at a moment."""
        cents = float(np.interp(start_s, self._start_s, self._cents))
        return cents, float(np.interp(start_s, self._start_s, self._u_cents))

    @property
    def drift_cents(self) -> float | None:
        """Last reference minus first; None with fewer than two."""
        return float(self._cents[-1] - self._cents[0]) if self._cents.size > 1 else None


def length_equivalent_error_mm(length_mm: float, cents: float) -> float:
    """Displacement of the stop (mm, positive toward the bridge) that alone makes a deviation: L·(1 − 2^(−cents/1200))."""
    return float(length_mm * (1.0 - 2.0 ** (-cents / 1200.0)))


def read_deviations(neck: Neck, notes: Iterable[PlacedNote]) -> tuple[list[Reading], dict[int, float]]:
    """Readings of all notes (order kept) and each string's drift in cents, where two references tell it."""
    notes = list(notes)
    by_string: dict[int, list[PlacedNote]] = defaultdict(list)
    for note in notes:
        by_string[note.string].append(note)
    references: dict[int, OpenReference | None] = {}
    drifts: dict[int, float] = {}
    for string, own in by_string.items():
        own.sort(key=lambda note: note.start_s)
        reference = OpenReference.from_notes(own, open_target_hz(neck, string))
        references[string] = reference
        if reference is not None and reference.drift_cents is not None:
            drifts[string] = reference.drift_cents
    return [_reading(neck, note, references[note.string]) for note in notes], drifts


def combine_repeats(readings: Iterable[Reading]) -> list[FretResult]:
    """One result a string and fret, from the used readings (press-test readings left out), ordered by string and fret.

    The uncertainty holds the plucks' own and the string's pooled scatter between repeats; where a string has no repeats
    at all, only the plucks' own, and the inspection says so.
    """
    cells: dict[tuple[int, int], list[Reading]] = defaultdict(list)
    for reading in readings:
        if reading.press is None:
            cells[reading.string, reading.fret].append(reading)
    used = {cell: [r for r in group if r.used] for cell, group in cells.items()}
    scatter = {
        string: pooled_scatter_cents(
            [[_cents(r) for r in group] for (s, fret), group in used.items() if s == string and fret > 0]
        )
        for string in {s for s, _ in cells}
    }
    return [_combined(cell, used[cell], scatter[cell[0]]) for cell in sorted(cells)]


def pooled_scatter_cents(groups: Sequence[Sequence[float]]) -> float | None:
    """Standard deviation between repeats pooled over cells, by the median so that single bad plucks do not set it.

    Each cell's own variance estimate s² has (n−1) degrees of freedom; for n = 2 its median is 0.4549 σ² (chi-square,
    one degree of freedom). Returns None when no cell has repeats.
    """
    variances = np.array([np.var(group, ddof=1) for group in groups if len(group) > 1])
    if variances.size == 0:
        return None
    freedom = np.array([len(group) - 1 for group in groups if len(group) > 1])
    # median of chi-square/nu, Wilson & Hilferty 1931 (from memory): (1 − 2/(9ν))³; 0.470 for ν = 1
    expected_median = (1.0 - 2.0 / (9.0 * freedom)) ** 3
    if variances.size < 5:
        return max(float(np.sqrt(np.average(variances, weights=freedom))), DEFAULT_SCATTER_FLOOR_CENTS)
    return max(float(np.sqrt(np.median(variances / expected_median))), DEFAULT_SCATTER_FLOOR_CENTS)


def inspection_from(
    neck: Neck,
    notes: Iterable[PlacedNote],
    *,
    planned: Iterable[tuple[int, int]],
    set_aside: Sequence[SoundSetAside] = (),
    plan: str = "full",
    source: str = "recording",
    sample_rate_hz: float | None = None,
    warnings: Sequence[str] = (),
) -> Inspection:
    """The inspection that placed notes make; live sessions and recordings both end here.

    Parameters
    ----------
    planned : iterable of (string, fret)
        What was asked for; notes of it that no usable pluck gave are named as missing.
    """
    readings, drifts = read_deviations(neck, notes)
    heard = {(r.string, r.fret) for r in readings if r.used}
    missing = tuple(cell for cell in dict.fromkeys(planned) if cell not in heard)
    return Inspection(
        neck=neck,
        readings=tuple(readings),
        frets=tuple(combine_repeats(readings)),
        missing=missing,
        set_aside=tuple(set_aside),
        plan=plan,
        source=source,
        sample_rate_hz=sample_rate_hz,
        drift_cents=drifts,
        warnings=(*warnings, *_warnings(readings, drifts, missing)),
    )


def _f1(note: PlacedNote) -> float:
    assert note.note.f1_hz is not None
    return note.note.f1_hz


def _cents(reading: Reading) -> float:
    assert reading.deviation_cents is not None
    return reading.deviation_cents


def _reading(neck: Neck, note: PlacedNote, reference: OpenReference | None) -> Reading:
    nominal_hz = open_target_hz(neck, note.string)
    steps = semitones_above_open(neck, note.string, note.fret)
    length_mm = neck.speaking_length_mm(note.string, note.fret)
    deviation: float | None = None
    u: float | None = None
    why_not = next((sentence(flag) for flag in note.note.flags if disqualifies(flag)), None)
    if note.note.f1_hz is None:
        why_not = why_not or "no pitch could be read"
    else:
        from_nominal = cents_between(note.note.f1_hz, nominal_hz)
        u = note.note.u_cents
        if note.fret == 0:
            deviation = from_nominal
        elif reference is None:
            why_not = why_not or NO_OPEN_REFERENCE
        else:
            open_cents, u_open = reference.at(note.start_s)
            deviation = from_nominal - 100.0 * steps - open_cents
            u = None if u is None else float(np.hypot(u, u_open))
    return Reading(
        string=note.string,
        fret=note.fret,
        note=note.note,
        start_s=note.start_s,
        target_hz=nominal_hz * 2.0 ** (steps / 12.0),
        deviation_cents=deviation,
        u_cents=u if deviation is not None else None,
        length_expected_mm=length_mm,
        length_equivalent_error_mm=None if deviation is None else length_equivalent_error_mm(length_mm, deviation),
        used=why_not is None and deviation is not None,
        why_not_used=why_not,
        press=note.press,
        sound_file=note.sound_file,
    )


def _combined(cell: tuple[int, int], group: Sequence[Reading], scatter: float | None) -> FretResult:
    string, fret = cell
    if not group:
        return FretResult(string=string, fret=fret, deviation_cents=None, u_cents=None, plucks=0)
    cents = np.array([_cents(r) for r in group])
    own = np.array([r.u_cents or 0.0 for r in group])
    count = len(group)
    value = huber_location(cents, scale=max(scatter or 0.0, float(own.max()), DEFAULT_SCATTER_FLOOR_CENTS))
    u_own = float(np.sqrt(np.sum(own**2)) / count)
    if fret == 0:
        # an open note is not pressed: its own spread is the tuning's, which drift correction takes out
        return FretResult(string=string, fret=fret, deviation_cents=value, u_cents=u_own, plucks=count)
    if scatter is None:
        return FretResult(string=string, fret=fret, deviation_cents=value, u_cents=u_own, plucks=count)
    surprise = 1.0
    if count > 1:
        surprise = max(1.0, float(np.std(cents, ddof=1)) / (2.0 * scatter))  # repeats that disagree beyond two sigma widen u
    return FretResult(
        string=string,
        fret=fret,
        deviation_cents=value,
        u_cents=float(np.hypot(u_own, surprise * scatter / np.sqrt(count))),
        plucks=count,
    )


def huber_location(values: NDArray[np.float64], *, scale: float) -> float:
    """Huber's M-estimate of location for a known scale, by reweighting from the median."""
    location = float(np.median(values))
    for _ in range(50):
        residual = np.abs(values - location) / scale
        weight = np.minimum(1.0, HUBER_K / np.maximum(residual, 1e-12))
        moved = float(np.average(values, weights=weight))
        if abs(moved - location) < 1e-9:
            break
        location = moved
    return location


def _warnings(readings: Sequence[Reading], drifts: Mapping[int, float], missing: Sequence[tuple[int, int]]) -> list[str]:
    lines = []
    for string, drift in sorted(drifts.items()):
        if abs(drift) > DRIFT_WARNING_CENTS:
            lines.append(
                f"String {string} drifted by {drift:+.1f} cents between its open plucks; the drift was taken out, "
                "but let the strings settle and record again if it matters."
            )
    without_open = sorted({r.string for r in readings if r.why_not_used == NO_OPEN_REFERENCE})
    if without_open:
        lines.append(f"No usable open pluck on string {_and(without_open)}: its fretted notes could not be judged.")
    if missing:
        by_string: dict[int, list[int]] = defaultdict(list)
        for string, fret in missing:
            by_string[string].append(fret)
        for string, frets in sorted(by_string.items()):
            words = ["open" if fret == 0 else f"fret {fret}" for fret in frets]
            lines.append(f"String {string} has no usable pluck of: {_and(words)}.")
    return lines


def _and(items: Sequence[object]) -> str:
    words = [str(item) for item in items]
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]
