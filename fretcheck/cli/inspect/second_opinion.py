"""A second opinion on each pluck by an independent pitch estimator, librosa's pyin, after the inspection.

It tells which fret a note is, never how well it sits: its grid is 10 cents and its bias several; so only a disagreement
over 30 cents is named (M. Mauch and S. Dixon, "pYIN", ICASSP 2014, for the method).
"""

from collections import defaultdict
from pathlib import Path

import numpy as np
import soundfile
from rich.progress import track

from fretcheck.cli.shared_options import console
from fretcheck.inspection.document import InspectionDocument
from fretcheck.session.placed_reading import ReadingPart

DISAGREEMENT_CENTS = 30.0
ATTACK_S = 0.15
LISTEN_S = 0.5


def disagreements(document: InspectionDocument, folder: Path, *, quiet: bool = False) -> list[str]:
    """Sentences naming the notes on which the second estimator differs by more than 30 cents, or could not tell."""
    by_string: dict[int, list[ReadingPart]] = defaultdict(list)
    for reading in document.readings:
        if reading.f1_hz is not None and reading.used:
            by_string[reading.string].append(reading)
    lines: list[str] = []
    what = "Asking for a second opinion"
    for string, readings in track(sorted(by_string.items()), what, console=console(stderr=True), transient=True, disable=quiet):
        lines += _one_string(folder, string, readings)
    return lines


def _one_string(folder: Path, string: int, readings: list[ReadingPart]) -> list[str]:
    import librosa

    path = folder / (readings[0].sound_file or "")
    lines: list[str] = []
    with soundfile.SoundFile(path) as file:
        for reading in readings:
            assert reading.f1_hz is not None
            file.seek(int((reading.start_s + ATTACK_S) * file.samplerate))
            samples = file.read(int(LISTEN_S * file.samplerate), always_2d=True).mean(axis=1)
            # a frame holds four periods of the lowest note asked for, an octave below what was read
            frame = max(2048, 1 << int(np.ceil(np.log2(8.0 * file.samplerate / reading.f1_hz))))
            samples = np.pad(samples, (0, max(0, frame - samples.size)))
            pitch, voiced, _ = librosa.pyin(
                samples, fmin=reading.f1_hz / 2.2, fmax=reading.f1_hz * 2.2, sr=file.samplerate, frame_length=frame
            )
            heard = pitch[voiced & np.isfinite(pitch)]
            place = f"String {string}, fret {reading.fret}, at {reading.start_s:.1f} s"
            difference = 1200.0 * float(np.log2(np.median(heard) / reading.f1_hz)) if heard.size else 0.0
            if heard.size == 0:
                lines.append(f"{place}: the second estimator found no pitch.")
            elif abs(difference) > DISAGREEMENT_CENTS:
                lines.append(f"{place}: the second estimator reads {difference:+.0f} cents from this one; pluck it again.")
    return lines
