"""Readings laid against the design: deviations from equal temperament, drift taken out.

Conventions: deviations in cents, measured minus target, positive is sharp. A fretted note is judged from its string's own open
note at that moment: open plucks with no fretted note between them are averaged into one reference, and between references the
open pitch is interpolated in time (before the first and after the last it is held). The open note itself is judged against its
nominal pitch.

Uncertainties are those of each pluck's own pitch; that of the open reference is common to all notes of a string, and it is the
diagnosis that counts it. What several plucks of a note come to is said there, too.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from fretcheck.arrays import Reals
from fretcheck.neck.description import Neck
from fretcheck.neck.temperament import cents_between
from fretcheck.session.placed_reading import Inspection, Reading, ReadingPart, SoundSetAside

DRIFT_WARNING_CENTS = 2.0

# Open notes further apart than this are not of one tuning: the string has slipped or was retuned. Hands and drift do less.
RETUNED_CENTS = 8.0

NO_OPEN_REFERENCE = "no usable open pluck of this string to judge it from"


def _open_reference(readings: Sequence[Reading], nominal_hz: float) -> tuple[Reals, Reals] | None:
    """When (s) and where (cents from nominal) one string's open note was; None when no open pluck is usable."""
    groups: list[list[tuple[float, float]]] = []
    fretted = True
    for one in sorted(readings, key=lambda one: one.start_s):
        if one.fret != 0:
            fretted = True
        elif one.note.usable and one.note.f1_hz is not None:
            cents = cents_between(one.note.f1_hz, nominal_hz)
            if fretted or abs(cents - groups[-1][-1][1]) > RETUNED_CENTS:
                groups.append([])
            fretted = False
            groups[-1].append((one.start_s, cents))
    if not groups:
        return None
    return np.array([np.mean(group, axis=0)[0] for group in groups]), np.array([np.median(group, axis=0)[1] for group in groups])


def length_equivalent_error_mm(length_mm: float, cents: float) -> float:
    """Displacement of the stop (mm, positive toward the bridge) that alone makes a deviation: L·(1 − 2^(−cents/1200))."""
    return float(length_mm * (1.0 - 2.0 ** (-cents / 1200.0)))


def read_deviations(neck: Neck, readings: Sequence[Reading]) -> tuple[list[ReadingPart], dict[int, float]]:
    """What all readings come to (order kept), and each string's drift in cents, where two references tell it."""
    references = {
        string: _open_reference([one for one in readings if one.string == string], neck.open_hz(string))
        for string in dict.fromkeys(one.string for one in readings)
    }
    drifts = {string: float(one[1][-1] - one[1][0]) for string, one in references.items() if one is not None and len(one[1]) > 1}
    return [_laid_against(neck, one, references[one.string]) for one in readings], drifts


def inspection_from(
    neck: Neck,
    heard: Sequence[Reading],
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
    readings, drifts = read_deviations(neck, heard)
    used = {(one.string, one.fret) for one in readings if one.used}
    missing = tuple(cell for cell in dict.fromkeys(planned) if cell not in used)
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


def _laid_against(neck: Neck, reading: Reading, reference: tuple[Reals, Reals] | None) -> ReadingPart:
    string, fret, note = reading.string, reading.fret, reading.note
    nominal_hz, steps = neck.open_hz(string), neck.cents_above_open(string, fret) / 100.0
    length_mm = neck.speaking_length_mm(string, fret)
    deviation: float | None = None
    why_not = note.complaint
    if note.f1_hz is not None:
        from_nominal = cents_between(note.f1_hz, nominal_hz)
        if fret == 0:
            deviation = from_nominal
        elif reference is None:
            why_not = why_not or NO_OPEN_REFERENCE
        else:
            deviation = from_nominal - 100.0 * steps - float(np.interp(reading.start_s, *reference))
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
    for string in sorted({string for string, _ in missing}):
        words = [f"fret {fret}" if fret else "open" for own, fret in missing if own == string]
        lines.append(f"String {string} has no usable pluck of: {_and(words)}.")
    return lines


def _and(items: Sequence[object]) -> str:
    words = [str(item) for item in items]
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]
