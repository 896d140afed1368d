"""Readings laid against the design: deviations from equal temperament, drift taken out.

Conventions: deviations in cents, measured minus target, positive is sharp. A fretted note is judged from its string's own open
note at that moment: open plucks with no fretted note between them are averaged into one reference, and between references the
open pitch is interpolated in time (before the first and after the last it is held). The open note itself is judged against its
nominal pitch.

Uncertainties are those of each pluck's own pitch; that of the open reference is common to all notes of a string, and it is the
diagnosis that counts it. What several plucks of a note come to is said there, too.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.neck.description import Neck
from fretcheck.neck.temperament import cents_between
from fretcheck.pitch.remarks import refuses, sentence
from fretcheck.session.placed_reading import Inspection, Reading, ReadingPart, SoundSetAside

DRIFT_WARNING_CENTS = 2.0

# Open notes further apart than this are not of one tuning: the string has slipped or was retuned. Hands and drift do less.
RETUNED_CENTS = 8.0

NO_OPEN_REFERENCE = "no usable open pluck of this string to judge it from"


class OpenReference:
    """The open pitch of one string over time, in cents from nominal.

    `start_s`, `cents` (shape (n,)): reference points in time order, at least one.
    """

    def __init__(self, start_s: Reals, cents: Reals) -> None:
        self._start_s = start_s
        self._cents = cents

    @classmethod
    def from_notes(cls, notes: Sequence[Reading], nominal_hz: float) -> OpenReference | None:
        """Reference from one string's notes in time order; None when no open pluck is usable."""
        groups: list[list[Reading]] = []
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
        times, values = [], []
        for group in groups:
            cents = np.array([cents_between(_f1(note), nominal_hz) for note in group])
            times.append(float(np.mean([note.start_s for note in group])))
            values.append(float(np.median(cents) if len(group) > 2 else np.mean(cents)))
        return cls(np.array(times), np.array(values))

    def at(self, start_s: float) -> float:
        """Open pitch (cents from nominal) at a moment."""
        return float(np.interp(start_s, self._start_s, self._cents))

    @property
    def drift_cents(self) -> float | None:
        """Last reference minus first; None with fewer than two."""
        return float(self._cents[-1] - self._cents[0]) if self._cents.size > 1 else None


def length_equivalent_error_mm(length_mm: float, cents: float) -> float:
    """Displacement of the stop (mm, positive toward the bridge) that alone makes a deviation: L·(1 − 2^(−cents/1200))."""
    return float(length_mm * (1.0 - 2.0 ** (-cents / 1200.0)))


def read_deviations(neck: Neck, notes: Iterable[Reading]) -> tuple[list[ReadingPart], dict[int, float]]:
    """What all notes come to (order kept) and each string's drift in cents, where two references tell it."""
    notes = list(notes)
    by_string: dict[int, list[Reading]] = defaultdict(list)
    for note in notes:
        by_string[note.string].append(note)
    references: dict[int, OpenReference | None] = {}
    drifts: dict[int, float] = {}
    for string, own in by_string.items():
        own.sort(key=lambda note: note.start_s)
        reference = OpenReference.from_notes(own, neck.open_hz(string))
        references[string] = reference
        if reference is not None and reference.drift_cents is not None:
            drifts[string] = reference.drift_cents
    return [_laid_against(neck, note, references[note.string]) for note in notes], drifts


def inspection_from(
    neck: Neck,
    notes: Iterable[Reading],
    *,
    planned: Iterable[tuple[int, int]],
    set_aside: Sequence[SoundSetAside] = (),
    plan: str = "full",
    source: str = "recording",
    sample_rate_hz: float | None = None,
    warnings: Sequence[str] = (),
) -> Inspection:
    """The inspection that readings make; live sessions and recordings both end here.

    `planned` (string, fret): what was asked for; notes of it that no usable pluck gave are named as missing.
    """
    readings, drifts = read_deviations(neck, notes)
    heard = {(r.string, r.fret) for r in readings if r.used}
    missing = tuple(cell for cell in dict.fromkeys(planned) if cell not in heard)
    return Inspection(
        neck=neck,
        readings=tuple(readings),
        missing=missing,
        set_aside=tuple(set_aside),
        plan=plan,
        source=source,
        sample_rate_hz=sample_rate_hz,
        drift_cents=drifts,
        warnings=(*warnings, *_warnings(readings, drifts, missing)),
    )


def _f1(note: Reading) -> float:
    assert note.note.f1_hz is not None
    return note.note.f1_hz


def _laid_against(neck: Neck, reading: Reading, reference: OpenReference | None) -> ReadingPart:
    string, fret, note = reading.string, reading.fret, reading.note
    nominal_hz, steps = neck.open_hz(string), neck.cents_above_open(string, fret) / 100.0
    length_mm = neck.speaking_length_mm(string, fret)
    deviation: float | None = None
    why_not = next((sentence(remark) for remark in note.remarks if refuses(remark)), None)
    if note.f1_hz is None:
        why_not = why_not or "no pitch could be read"
    else:
        from_nominal = cents_between(note.f1_hz, nominal_hz)
        if fret == 0:
            deviation = from_nominal
        elif reference is None:
            why_not = why_not or NO_OPEN_REFERENCE
        else:
            deviation = from_nominal - 100.0 * steps - reference.at(reading.start_s)
    return ReadingPart(
        string=string,
        fret=fret,
        f1_hz=note.f1_hz,
        target_hz=nominal_hz * 2.0 ** (steps / 12.0),
        deviation_cents=deviation,
        u_cents=note.u_cents if deviation is not None else None,
        length_expected_mm=length_mm,
        length_equivalent_error_mm=None if deviation is None else length_equivalent_error_mm(length_mm, deviation),
        start_s=reading.start_s,
        used=why_not is None and deviation is not None,
        flags=[remark.value for remark in note.remarks],
        why_not_used=why_not,
        press=reading.ask.press,
        inharmonicity=note.inharmonicity,
        u_inharmonicity=note.u_inharmonicity,
        snr_db=note.snr_db,
        partials=note.partials,
        glide_cents=note.glide_cents,
        sound_file=reading.sound_file,
    )


def _warnings(readings: Sequence[ReadingPart], drifts: Mapping[int, float], missing: Sequence[tuple[int, int]]) -> list[str]:
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
