"""How well and how fast pitch is read: this estimator against general-purpose trackers and the Cramér–Rao bound.

Run as ``python -m tests.benchmarks.pitch`` (``--quick`` for a few minutes' sample of it, ``--only TEXT`` for some conditions).

Conventions
-----------
Errors are in cents of partial 1 of the settled string, estimate minus truth. `rmse` covers all notes but gross errors, which are
counted: those over 50 cents, and notes not read. `ratio` is the root mean square of error over bound, note by note, for
conditions whose model the bound knows; `in 2u` is the share of notes with |error| < 2·u. Trackers get the same sound from 50 ms
after the onset on and give the median over their voiced frames. Nothing is asserted here: the tests assert, the benchmark prints.
"""

from __future__ import annotations

import argparse
import importlib.util
import subprocess
import sys
import time
import zlib
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from fretcheck.pitch.reader import read_pluck
from tests.benchmarks.pitch_bound import sd_f1_hz
from tests.benchmarks.pitch_conditions import NOTES, QUICK_NOTES, RATE, Condition, Sample, conditions
from tests.synth.pluck import Mode, modes, pluck_sound, warped_time

CENTS = 1200.0 / np.log(2.0)
GROSS_CENTS = 50.0
LOWEST_HZ, HIGHEST_HZ = 29.0, 1400.0  # a little beyond the benchmark's notes
Tracker = Callable[[np.ndarray, float], float]


@dataclass
class Tally:
    """What one estimator did on one condition."""

    errors: list[float] = field(default_factory=list)
    u_cents: list[float] = field(default_factory=list)
    bounds: list[float] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)
    flags: dict[str, int] = field(default_factory=dict)

    def line(self) -> str:
        """Accuracy, calibration and time."""
        errors = np.array(self.errors)
        read = np.isfinite(errors)
        gross = int(np.sum(~read | (np.abs(np.where(read, errors, 0.0)) > GROSS_CENTS)))
        fine = errors[read & (np.abs(np.where(read, errors, 0.0)) <= GROSS_CENTS)]
        if not len(fine):
            return f"{'no note read':>40}   gross {gross}"
        text = f"bias {np.mean(fine):+9.5f}  rmse {np.sqrt(np.mean(fine**2)):9.5f}  p95 {np.quantile(np.abs(fine), 0.95):9.5f}"
        text += f"  gross {gross:3d}  {1e3 * np.median(self.seconds):7.1f} ms"
        if self.u_cents:
            u = np.array(self.u_cents)
            text += f"  in 2u {100 * np.mean(np.abs(errors[read]) < 2 * u[read]):5.1f} %"
        if self.bounds:
            text += f"  ratio {np.sqrt(np.mean((errors[read] / np.array(self.bounds)[read]) ** 2)):5.2f}"
        return text


def main(arguments: list[str] | None = None) -> None:
    """Print the benchmark."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="five notes, one repeat, trackers on 1 s at 40 dB only")
    parser.add_argument("--only", default="", help="conditions whose name contains this")
    parser.add_argument("--repeats", type=int, default=None, help="plucks of each note")
    parser.add_argument("--seed", type=int, default=0, help="other plucks than those the estimator's constants were chosen on")
    parser.add_argument("--alone", action="store_true", help="without the other trackers")
    chosen = parser.parse_args(arguments)
    notes = QUICK_NOTES if chosen.quick else NOTES
    repeats = chosen.repeats or (1 if chosen.quick else 3)
    print(f"{len(notes)} notes from B0 to E6, {repeats} plucks each, {RATE:g} Hz; errors in cents of partial 1")
    trackers = {} if chosen.alone else available_trackers()
    for condition in conditions():
        if chosen.only not in condition.name:
            continue
        peers = condition.name == "clean 1 s 40 dB" if chosen.quick else not condition.name.startswith("clean 3")
        run(condition, notes, repeats, trackers if peers else {}, seed=chosen.seed)
    speed()


def run(condition: Condition, notes: tuple[int, ...], repeats: int, trackers: dict[str, Tracker], *, seed: int = 0) -> None:
    """Print one condition."""
    own = Tally()
    others = {name: Tally() for name in trackers}
    for midi in notes:
        note_hz = 440.0 * 2.0 ** ((midi - 69) / 12.0)
        for repeat in range(repeats):
            sample = condition.make(note_hz, zlib.crc32(f"{condition.name}/{midi}/{repeat}/{seed}".encode()))
            began = time.perf_counter()
            reading = read_pluck(sample.sound, RATE)
            own.seconds.append(time.perf_counter() - began)
            own.errors.append(_cents(reading.f1_hz, sample.f1_hz))
            own.u_cents.append(np.nan if reading.u_cents is None else reading.u_cents)
            for remark in reading.remarks:
                own.flags[remark.value] = own.flags.get(remark.value, 0) + 1
            if condition.bounded:
                own.bounds.append(bound_cents(sample))
            if repeat == 0:
                for name, tracker in trackers.items():
                    began = time.perf_counter()
                    found = tracker(sample.sound[round(0.05 * RATE) :], note_hz)
                    others[name].seconds.append(time.perf_counter() - began)
                    others[name].errors.append(_cents(found, sample.f1_hz))
    print(f"\n{condition.name}   (target: rmse {condition.target})")
    print(f"  {'fretcheck':12s} {own.line()}" + (f"   flags {own.flags}" if own.flags else ""), flush=True)
    for name, tally in others.items():
        print(f"  {name:12s} {tally.line()}", flush=True)


def bound_cents(sample: Sample) -> float:
    """Cramér–Rao bound of one pluck, in cents of f1."""
    spec = sample.spec
    parts = modes(spec, sample_rate=RATE, rng=np.random.default_rng(sample.seed))
    scale = _played_scale(sample, parts)
    return (
        CENTS
        / spec.f1_hz
        * sd_f1_hz(
            [replace(one, amplitude=one.amplitude * scale) for one in parts],
            f1_hz=spec.f1_hz,
            inharmonicity=spec.inharmonicity,
            sigma=sample.sigma,
            sample_rate=RATE,
            duration_s=spec.duration_s,
            glide_cents=spec.glide_cents,
            tau_s=spec.tau_s,
        )
    )


def _played_scale(sample: Sample, parts: list[Mode]) -> float:
    """By how much the synthesis scaled its modes to reach the peak level: the clean sound against their sum."""
    spec = sample.spec
    clean = pluck_sound(replace(spec, attack_noise_db=None), sample_rate=RATE, rng=np.random.default_rng(sample.seed))
    index = np.arange(round(0.005 * RATE), round(0.04 * RATE))
    at = warped_time(index / RATE, glide_cents=spec.glide_cents, tau_s=spec.tau_s)
    raw = sum(
        one.amplitude * np.exp(-one.decay_per_s * index / RATE) * np.cos(2 * np.pi * one.frequency_hz * at + one.phase)
        for one in parts
    )
    return float(raw @ clean[index] / (raw @ raw))


def _cents(found_hz: float | None, true_hz: float) -> float:
    if found_hz is None or not found_hz > 0.0:
        return float("nan")
    return float(CENTS * np.log(found_hz / true_hz))


def available_trackers() -> dict[str, Tracker]:
    """General-purpose trackers that are installed, told the range within an octave of the note unless their name says not."""
    found: dict[str, Tracker] = {"librosa.yin": _librosa_yin, "librosa.pyin": _librosa_pyin, "pyin, untold": _pyin_untold}
    if importlib.util.find_spec("parselmouth"):
        found["praat"] = _praat
    if importlib.util.find_spec("pyworld"):
        found["pyworld"] = _pyworld
    tone = np.sin(2 * np.pi * 220.0 / RATE * np.arange(round(0.5 * RATE)))
    for tracker in found.values():
        tracker(tone, 220.0)  # compiled and loaded before anything is timed
    return found


def _frame(note_hz: float) -> int:
    return max(2048, 1 << int(np.ceil(np.log2(8.0 * RATE / note_hz))))


def _librosa_yin(sound: np.ndarray, note_hz: float) -> float:
    import librosa

    return float(np.median(librosa.yin(sound, fmin=note_hz / 2, fmax=note_hz * 2, sr=RATE, frame_length=_frame(note_hz))))


def _librosa_pyin(sound: np.ndarray, note_hz: float) -> float:
    import librosa

    pitch, voiced, _ = librosa.pyin(
        sound, fmin=note_hz / 2, fmax=note_hz * 2, sr=RATE, frame_length=_frame(note_hz), hop_length=512
    )
    heard = pitch[voiced & np.isfinite(pitch)]
    return float(np.median(heard)) if len(heard) else float("nan")


def _pyin_untold(sound: np.ndarray, note_hz: float) -> float:
    """As `_librosa_pyin`, but told no more of the note than `read_pluck` is: that it lies between B0 and E6."""
    import librosa

    pitch, voiced, _ = librosa.pyin(sound, fmin=LOWEST_HZ, fmax=HIGHEST_HZ, sr=RATE, frame_length=8192, hop_length=512)
    heard = pitch[voiced & np.isfinite(pitch)]
    return float(np.median(heard)) if len(heard) else float("nan")


def _praat(sound: np.ndarray, note_hz: float) -> float:
    import parselmouth

    pitch = parselmouth.Sound(sound, RATE).to_pitch_ac(pitch_floor=note_hz / 2, pitch_ceiling=note_hz * 2, very_accurate=True)
    heard = pitch.selected_array["frequency"]
    heard = heard[heard > 0]
    return float(np.median(heard)) if len(heard) else float("nan")


def _pyworld(sound: np.ndarray, note_hz: float) -> float:
    import pyworld

    pitch, times = pyworld.dio(sound, round(RATE), f0_floor=note_hz / 2, f0_ceil=note_hz * 2)
    pitch = pyworld.stonemask(sound, pitch, times, round(RATE))
    heard = pitch[pitch > 0]
    return float(np.median(heard)) if len(heard) else float("nan")


def speed() -> None:
    """Time of one 1.5 s note, warm, and of the first call in a fresh process beyond its imports."""
    print("\none 1.5 s note at 48 kHz, warm, 40 dB: shortest and middle of 30 calls")
    from tests.synth.pluck import PluckSpec, added, white_noise

    for f1_hz, glide_cents in ((30.87, 0.0), (82.41, 0.0), (329.63, 0.0), (1318.5, 0.0), (110.0, 5.0)):
        rng = np.random.default_rng(1)
        spec = PluckSpec(f1_hz=f1_hz, duration_s=1.5, partials=40, glide_cents=glide_cents, glide_tau_s=0.15)
        sound = pluck_sound(spec, sample_rate=RATE, rng=rng)
        sound = added(sound, white_noise(len(sound), rng=rng), relative_db=-40.0, sample_rate=RATE)
        seconds = []
        for _ in range(30):
            began = time.perf_counter()
            read_pluck(sound, RATE)
            seconds.append(time.perf_counter() - began)
        glide = f" with a glide of {glide_cents:g} cents" if glide_cents else ""
        print(f"  {f1_hz:8.2f} Hz{glide}: {1e3 * min(seconds):.1f} ms, {1e3 * np.median(seconds):.1f} ms")
    script = (
        "import time, numpy as np\n"
        "from fretcheck.pitch.reader import read_pluck\n"
        "t = np.arange(72000) / 48000.0\n"
        "x = sum(np.exp(-2 * t) * np.cos(2 * np.pi * 110.0 * n * t) / n for n in range(1, 20))\n"
        "began = time.perf_counter(); read_pluck(x, 48000.0); print(time.perf_counter() - began)\n"
    )
    first = float(subprocess.run([sys.executable, "-c", script], check=True, capture_output=True, text=True).stdout)
    print(f"first call in a fresh process, beyond imports: {1e3 * first:.0f} ms")


if __name__ == "__main__":
    main()
