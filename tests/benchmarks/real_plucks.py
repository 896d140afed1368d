"""How well recorded plucks are read: by instrument, against a plain spectrum, against themselves, and against known intervals.

Run as ``python -m tests.benchmarks.real_plucks`` (Debian: freepats, fluid-soundfont-gm; some minutes).

Conventions
-----------
Cents of partial 1. Agreement: share of pairs that differ by less than twice their joint standard uncertainty. `halves` are the
first and the second half of at most 1.5 s of a note, each read as a note of its own; `odd` and `even` its partials; `plain` is
`tests.real.independent`, its own uncertainty counted. The two constants that widen u (`reader._WIDENED`, `_FLOOR_CENTS`) were
chosen on the instruments of half A (every other by name); those of half B judge them. Instruments marked * are only printed.
"""

from __future__ import annotations

import importlib.util
import time
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

import numpy as np

from fretcheck.pitch import reader
from fretcheck.pitch.coarse import coarse_pitch
from fretcheck.pitch.partials.band import Band
from fretcheck.pitch.reading import NoteReading
from tests.real.independent import plain_pitch
from tests.real.necks import LONGEST_S as LONGEST_PLAYED_S
from tests.real.necks import NOISE_DB, RATE, STRINGS, neck_for, plucks_for, resampled
from tests.real.plucks import RealPluck, real_plucks

GROSS_CENTS = 50.0
LONGEST_S, SHORTEST_HALVED_S = 1.5, 0.6
KNOWN_STRINGS = (("clean guitar F", "6", 0), ("distorted guitar F", "E2", 0), ("steel guitar P", "e", 5))
"""Guitars with several frets of one string, and the fret that the others are held against."""


@dataclass(frozen=True)
class Difference:
    """Two estimates of one pitch."""

    cents: float
    u_cents: float

    @property
    def agrees(self) -> bool:
        """Within twice the joint standard uncertainty."""
        return abs(self.cents) < 2.0 * self.u_cents


@dataclass
class Measured:
    """What the reader did with one pluck."""

    pluck: RealPluck
    note: NoteReading
    seconds: float
    halves: Difference | None = None
    odd_even: Difference | None = None
    plain: Difference | None = None
    praat_cents: float | None = None

    @property
    def off_cents(self) -> float | None:
        """From what it is filed as."""
        return None if self.note.f1_hz is None else _cents(self.note.f1_hz, self.pluck.filed_hz)

    @property
    def gross(self) -> bool:
        """Used, and not the note."""
        return self.note.usable and abs(self.off_cents or 0.0) > GROSS_CENTS


def measure(pluck: RealPluck) -> Measured:
    """Read one pluck in all ways."""
    began = time.process_time()
    note = reader.read_pluck(pluck.sound, pluck.sample_rate)
    found = Measured(pluck, note, time.process_time() - began)
    if not note.usable:
        return found
    frames = round(min(LONGEST_S, pluck.duration_s) / 2 * pluck.sample_rate)
    if 2 * frames >= SHORTEST_HALVED_S * pluck.sample_rate:
        parts = [pluck.sound[:frames], pluck.sound[frames : 2 * frames]]
        found.halves = _difference(*(reader.read_pluck(part, pluck.sample_rate) for part in parts))
    found.odd_even = _difference(*_odd_and_even(pluck))
    if (plain := plain_pitch(pluck.sound, pluck.sample_rate, pluck.filed_hz)) is not None:
        found.plain = Difference(_cents(note.f1_hz, plain[0]), float(np.hypot(note.u_cents, plain[1])))
    if importlib.util.find_spec("parselmouth"):
        found.praat_cents = _cents(note.f1_hz, _praat(pluck))
    return found


def _cents(first_hz: float, second_hz: float) -> float:
    return float(1200.0 * np.log2(first_hz / second_hz))


def _difference(first: NoteReading, second: NoteReading) -> Difference | None:
    """None where one of them could not be read, which a part of a note need not be."""
    if not (first.usable and second.usable):
        return None
    return Difference(_cents(first.f1_hz, second.f1_hz), float(np.hypot(first.u_cents, second.u_cents)))


def _odd_and_even(pluck: RealPluck) -> Iterable[NoteReading]:
    """Readings of the odd and of the even partials alone, of which there must be two each."""
    sound = pluck.sound[: round(LONGEST_S * pluck.sample_rate)]
    band = Band(sound - np.mean(sound), pluck.sample_rate)
    stretch = {"start_s": reader.START_S if band.duration_s >= reader.SHORT_NOTE_S else reader.SHORT_START_S}
    stretch["end_s"] = band.duration_s
    coarse = coarse_pitch(band, **stretch)
    for first in (1, 0):
        numbers = reader.partial_numbers(coarse, pluck.sample_rate)
        numbers = numbers[numbers % 2 == first]
        yield reader.read_partials(band, coarse, numbers, **stretch, noticed=[]) if len(numbers) > 1 else NoteReading()


def _praat(pluck: RealPluck) -> float:
    import parselmouth

    sound = parselmouth.Sound(pluck.sound[: round(LONGEST_S * pluck.sample_rate)], pluck.sample_rate)
    found = sound.to_pitch_ac(pitch_floor=pluck.filed_hz / 1.5, pitch_ceiling=pluck.filed_hz * 1.5, very_accurate=True)
    heard = found.selected_array["frequency"]
    return float(np.median(heard[heard > 0])) if np.any(heard > 0) else float("nan")


@dataclass
class Row:
    """Some plucks together."""

    measured: list[Measured] = field(default_factory=list)

    @property
    def used(self) -> list[Measured]:
        """Those whose reading is used."""
        return [one for one in self.measured if one.note.usable]

    def share(self, what: str) -> float:
        """Of the pairs that could be read, those that agree; percent."""
        agree = [pair.agrees for one in self.used if (pair := getattr(one, what)) is not None]
        return 100.0 * float(np.mean(agree)) if agree else float("nan")

    def quantile(self, what: str, at: float) -> float:
        """Of the sizes of such differences, cents."""
        sizes = [abs(pair.cents) for one in self.used if (pair := getattr(one, what)) is not None]
        return float(np.quantile(sizes, at)) if sizes else float("nan")

    def u(self, at: float) -> float:
        """Quantile of the standard uncertainty, cents."""
        return float(np.quantile([one.note.u_cents for one in self.used], at)) if self.used else float("nan")

    def line(self) -> str:
        """For the table."""
        praat = [abs(one.praat_cents) for one in self.used if one.praat_cents is not None]
        milliseconds = [1e3 * one.seconds for one in self.measured]
        return (
            f"{len(self.measured):4d} {len(self.used):5d} {sum(one.gross for one in self.measured):6d}"
            f" {self.u(0.5):6.2f} {self.u(0.9):5.2f}"
            f" {self.share('halves'):7.0f} {self.quantile('halves', 0.5):5.2f} {self.quantile('halves', 0.9):5.2f}"
            f" {self.share('odd_even'):8.0f} {self.share('plain'):7.0f} {self.quantile('plain', 0.5):5.2f}"
            f" {self.quantile('plain', 0.9):5.2f} {np.median(praat) if praat else np.nan:6.2f}"
            f" {np.median(milliseconds):6.1f} {np.max(milliseconds):5.1f}"
        )


def known_intervals(measured: Iterable[Measured]) -> tuple[list[float], list[float]]:
    """Frets of one string of a guitar: interval less what the collection's tuning says, and less the plain spectrum's."""
    by_place = {(one.pluck.instrument, one.pluck.string, one.pluck.fret): one for one in measured if one.pluck.string}
    to_filed, to_plain = [], []
    for instrument, string, base_fret in KNOWN_STRINGS:
        base = by_place[instrument, string, base_fret]
        for (of, on, fret), one in by_place.items():
            if (of, on) == (instrument, string) and fret != base_fret and one.note.usable and base.note.usable:
                to_filed.append(one.off_cents - base.off_cents)
                to_plain.append(one.plain.cents - base.plain.cents)
    return to_filed, to_plain


@dataclass
class NeckIntervals:
    """Intervals of recorded plucks resampled to the frets of a neck, above the open string's; arrays of one length."""

    fret: np.ndarray
    off_cents: np.ndarray
    u_cents: np.ndarray
    plain_off_cents: np.ndarray
    alike_off_cents: np.ndarray
    """Above the open string where that is heard from and to the same points of its own ringing as the fret."""
    unused: int = 0

    def line(self) -> str:
        """For the table."""
        low = self.fret <= 12
        return (
            f"{len(self.fret):4d} intervals, {self.unused} notes not used; 95 %"
            f" within {np.quantile(np.abs(self.off_cents), 0.95):.2f}"
            f" (to fret 12 {np.quantile(np.abs(self.off_cents[low]), 0.95):.2f}),"
            f" within 2u {100 * np.mean(np.abs(self.off_cents) < 2 * self.u_cents):.0f} %;"
            f" plain spectrum 95 % {np.quantile(np.abs(self.plain_off_cents), 0.95):.2f}"
            f" (to fret 12 {np.quantile(np.abs(self.plain_off_cents[low]), 0.95):.2f});"
            f" open string heard over the same stretch 95 % {np.quantile(np.abs(self.alike_off_cents), 0.95):.2f}"
            f" (to fret 12 {np.quantile(np.abs(self.alike_off_cents[low]), 0.95):.2f})"
        )


NECK_KINDS = ("electric bass", "distorted guitar", "guitar")


def neck_kind(label: str) -> str:
    """Which of the necks of `tests.real.necks` are judged together."""
    return NECK_KINDS[0] if "bass" in label else NECK_KINDS[1] if "distorted" in label else NECK_KINDS[2]


def neck_intervals(kind: str) -> NeckIntervals:
    """Read every fret of every string of the necks of that kind, without cutting or placing."""
    rng = np.random.default_rng(1)
    rows: list[tuple[float, ...]] = []
    unused = 0
    for label in STRINGS:
        if neck_kind(label) != kind:
            continue
        for pluck in plucks_for(label):
            read = []
            for fret in range(neck_for(label).frets + 1):
                ratio = 2.0 ** (fret / 12.0)
                sound = resampled(pluck.sound, pluck.sample_rate, ratio)[: round(LONGEST_PLAYED_S * RATE)]
                sound = sound / (3.0 * np.max(np.abs(sound))) + 10 ** (NOISE_DB / 20) * rng.standard_normal(len(sound))
                note, due_hz = reader.read_pluck(sound, RATE), pluck.filed_hz * ratio
                plain = plain_pitch(sound, RATE, due_hz)
                unused += not note.usable
                off, alike = _cents(note.f1_hz, due_hz), _cents(_heard_alike(pluck, note, ratio), pluck.filed_hz)
                read.append((fret, off, note.u_cents, _cents(plain[0], due_hz), off - alike, note.usable))
            base = read[0]
            rows += [
                (fret, off - base[1], float(np.hypot(u, base[2])), plain - base[3], alike)
                for fret, off, u, plain, alike, usable in read[1:]
                if usable and base[-1]
            ]
    return NeckIntervals(*np.array(rows).T, unused=unused)


def _heard_alike(pluck: RealPluck, note: NoteReading, ratio: float) -> float:
    """The open string's pitch over the stretch of its own ringing that a fret's reading has heard, `ratio` times as fast.

    Nothing but the stretch differs from what `read_pluck` does. No reader could do this: it hears the open string for 1.5 s.
    """
    band = Band(pluck.sound[: round((note.window_s[1] * ratio + 0.1) * pluck.sample_rate)], pluck.sample_rate)
    stretch = {"start_s": reader.START_S * ratio, "end_s": min(note.window_s[1] * ratio, band.duration_s)}
    coarse = coarse_pitch(band, **stretch)
    numbers = reader.partial_numbers(replace(coarse, f0_hz=coarse.f0_hz * ratio), pluck.sample_rate)
    return reader.read_partials(band, coarse, numbers, **stretch, noticed=[]).f1_hz


def half_of(measured: Iterable[Measured]) -> dict[str, Row]:
    """Plucks of the judged instruments by half: A and B."""
    judged = [one for one in measured if one.pluck.judged]
    names = sorted({one.pluck.instrument for one in judged})
    return {
        half: Row([one for one in judged if names.index(one.pluck.instrument) % 2 == index]) for index, half in enumerate("AB")
    }


def main() -> None:
    """Print the tables."""
    measured = [measure(pluck) for pluck in real_plucks()]
    judged = Row([one for one in measured if one.pluck.judged])
    heading = "   n  used  gross    u 50    90  halves    50    90 odd/even   plain    50    90  praat     ms   max"
    print(f"{'':22s}{heading}")
    for name in sorted({one.pluck.instrument for one in measured}):
        row = Row([one for one in measured if one.pluck.instrument == name])
        print(f"{name + ('' if row.measured[0].pluck.judged else ' *'):22s}{row.line()}")
    for half, row in half_of(measured).items():
        print(f"{'half ' + half:22s}{row.line()}")
    print(f"{'all judged':22s}{judged.line()}")
    for one in measured:
        if not one.note.usable or one.gross:
            print(f"not used or gross: {one.pluck}: {', '.join(one.note.remarks)} {one.off_cents}")
    to_filed, to_plain = known_intervals(measured)
    rms = [float(np.sqrt(np.mean(np.square(each)))) for each in (to_filed, to_plain)]
    ninth = np.quantile(np.abs(to_filed), 0.9)
    for kind in NECK_KINDS:
        print(f"resampled necks, {kind}: {neck_intervals(kind).line()}")
    print(f"{len(to_filed)} known intervals: to the tuning filed rms {rms[0]:.2f}, 90 % {ninth:.2f}; to plain rms {rms[1]:.2f}")


if __name__ == "__main__":
    main()
